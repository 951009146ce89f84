"""Vessels in rounds: what a square takes out, and what two degrees of freedom cannot tell."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aerobe.records import Arm, Trial
from aerobe.trials import plots_of, randomised
from aerobe.verdicts import BrewResult, call_contrasts, fit_effects, judge, lay_out, lay_out_in_vessels, pair_contrast


def square(arms: int, rounds: int, vessel_sd: float, seed: int, ratio: float = 2.0) -> tuple[Trial, list[BrewResult]]:
    rng = np.random.default_rng(seed)
    trial = Trial(
        key="t",
        name="t",
        question="two recipes" if arms == 2 else "several against a standard",
        arms=tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(arms)),
    )
    day, vessel = rng.normal(0.0, 0.5, rounds), rng.normal(0.0, vessel_sd, arms)
    rows = [
        BrewResult(
            brew=f"b{i}",
            arm=f"r{plot.arm}",
            value=math.exp(3 + day[plot.round] + vessel[plot.place] + math.log(ratio) * (plot.arm == 1) + 0.1 * rng.normal()),
            block=f"d{plot.round}",
            column=f"v{plot.place}",
        )
        for i, plot in enumerate(randomised(plots_of(arms, rounds, arms), arms, rng))
    ]
    return trial, rows


@pytest.mark.parametrize(("arms", "rounds"), [(3, 3), (3, 4), (4, 4), (4, 5), (2, 6), (2, 7)])
def test_unlike_vessels_move_neither_estimate_nor_error(arms: int, rounds: int) -> None:
    found = []
    for vessel_sd in (0.0, 1.5):
        trial, rows = square(arms, rounds, vessel_sd, seed=2)
        comparison = judge(trial, rows, extent="comparisons").comparisons[0]
        found.append((comparison.effect, comparison.error))
    assert found[0] == pytest.approx(found[1], abs=1e-9)


def test_three_by_three_says_what_two_degrees_of_freedom_cannot_tell() -> None:
    trial, rows = square(3, 3, 0.5, seed=2)
    verdict = judge(trial, rows)
    assert verdict.df == 2
    assert any("2 degrees of freedom are left" in rival.words for rival in verdict.rivals)


def test_two_arms_in_few_rounds_keep_the_vessels_in_the_scatter_and_say_so() -> None:
    trial, rows = square(2, 5, 0.0, seed=2)
    verdict = judge(trial, rows)
    assert verdict.df == 4 and any("which is too few" in rival.words for rival in verdict.rivals)


def test_a_square_of_three_is_judged_by_the_analysis_of_variance_of_the_textbook() -> None:
    # Error mean square of a Latin square: (total - rows - columns - treatments) over (k - 1)(k - 2) (fisher-1935), worked
    # out here by sums of squares; the standard error of a difference is sqrt(2 MSE / k).
    trial, rows = square(3, 3, 0.7, seed=5)
    logs = np.log([row.value for row in rows])

    def between(labels: list[str]) -> float:
        return sum(
            sum(label == one for label in labels)
            * (np.mean([v for v, label in zip(logs, labels, strict=True) if label == one]) - logs.mean()) ** 2
            for one in set(labels)
        )

    parts = [between([row.arm for row in rows]), between([row.block for row in rows]), between([row.column for row in rows])]
    mean_square = (float(((logs - logs.mean()) ** 2).sum()) - sum(parts)) / 2
    assert judge(trial, rows).comparisons[0].error == pytest.approx(math.sqrt(2 * mean_square / 3), rel=1e-9)


def test_a_noisy_arm_in_a_square_of_three_makes_no_false_claims() -> None:
    arms = [(i + j) % 3 for i in range(3) for j in range(3)]
    layout = lay_out(arms, [f"{i}" for i in range(3) for _ in range(3)], [f"{j}" for _ in range(3) for j in range(3)])
    three = [Arm(key=key, recipe=key) for key in "abc"]
    rows = np.array([pair_contrast(three, "b", "a").weights, pair_contrast(three, "c", "a").weights])
    rng = np.random.default_rng(1)
    for noisy in (0, 1):
        sd = np.array([3.0 if arm == noisy else 1.0 for arm in arms])
        effects = fit_effects(rng.normal(size=(20000, 9)) * sd, layout, rows)
        calls = call_contrasts(effects, math.log(1.25))
        assert effects.known.all() and (calls.above | calls.below).any(axis=1).mean() < 0.055


@pytest.mark.parametrize(("size", "df"), [(3, 2), (4, 6), (5, 12)])
def test_a_square_leaves_the_degrees_of_freedom_of_the_textbook(size: int, df: int) -> None:
    # Error of a Latin square of k: (k - 1)(k - 2) degrees of freedom (fisher-1935).
    arms = [(i + j) % size for i in range(size) for j in range(size)]
    rows = np.array([[float(arm == other) - float(arm == 0) for arm in range(size)] for other in range(1, size)])
    days = [f"{i}" for i in range(size) for _ in range(size)]
    found = lay_out_in_vessels(arms, days, [f"{j}" for _ in range(size) for j in range(size)], rows)
    assert found.df == df
