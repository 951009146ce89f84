"""Sparse and lopsided trials: each ends in an answer or in its reason, and never in a fault."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, judge
from aerobe.verdicts._censored import enough_seen
from aerobe.verdicts._layout import lay_out
from aerobe.verdicts._outliers import dead_brew
from aerobe.verdicts._rates import _effects, fit_rates


def trial_of(arms: int, outcome: str = "biomass") -> Trial:
    kinds = tuple(Arm(key=f"r{i}", recipe=f"r{i}", is_standard=i == 0) for i in range(arms))
    return Trial(key="t", name="t", question="several against a standard", arms=kinds, outcome=outcome, margin_ratio=1.25)


def test_all_plants_of_every_arm_are_a_result() -> None:
    """Half a plant more stands for what chance could have left; the variance is that of none of them, by hand."""
    among = [20.0, 20.0, 20.0, 20.0, 5.0, 5.0]
    rows = [BrewResult(brew=f"b{i}", arm=f"r{i // 2}", value=n, of_n=n) for i, n in enumerate(among)]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        verdict = judge(trial_of(3, "plants thriving"), rows)
    assert {item.call for item in verdict.comparisons} == {"can't tell yet"}
    fitted = fit_rates(np.array(among), np.array(among), lay_out([0, 0, 1, 1, 2, 2]), np.array([[-1.0, 1.0, 0.0]]), is_share=True)
    assert fitted.error[0] ** 2 == approx(2 * 40.5 / 40.0**2 * 0.5 / 40.0) and fitted.estimate[0] == 0.0


def test_a_brew_alone_on_its_day_is_no_dead_brew() -> None:
    arms = [0, 1, 2, 0, 2, 0, 2, 0, 1, 2, 0, 2, 0, 1, 2]
    days = [0, 1, 1, 2, 2, 3, 3, 4, 4, 4, 5, 5, 6, 6, 6]
    rng = np.random.default_rng(2)
    for _ in range(40):
        assert dead_brew(0.1 * rng.normal(size=15), lay_out(arms, [f"d{day}" for day in days])) is None


def test_brews_at_limits_are_judged_by_the_arms_that_can_be_compared() -> None:
    """The third arm, of which one brew reads within range, alone would leave enough to know the scatter."""
    arms, days = [0, 1, 0, 1, 2, 2, 2], ["a", "a", "b", "b", "a", "b", "b"]
    side = np.array([0, 0, 0, 0, 0, -1, -1])
    layout, rows = lay_out(arms, days), np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])
    assert layout.subset(side == 0).df == 1 and enough_seen(layout, rows, side).tolist() == [False, False]
    more = lay_out([*arms, 0, 1], [*days, "c", "c"])
    assert enough_seen(more, rows, np.array([*side, 0, 0])).tolist() == [True, False]


def test_values_beyond_all_reach_are_judged_in_words() -> None:
    rows = [BrewResult(brew=f"b{i}", arm=f"r{i % 2}", value=10.0 ** (-200 + 400 * (i // 2))) for i in range(4)]
    verdict = judge(replace(trial_of(2), question="two recipes"), rows)
    assert "(9.9e-305 to 1.0e+304) times" in verdict.comparisons[0].because
    assert any(rival.words.startswith("Arms r0 and r1 have two brews") for rival in verdict.rivals)


def test_what_rounding_leaves_below_nothing_is_not_known() -> None:
    covariance = np.array([[-1e-18, 0.0], [0.0, 0.04]])
    layout = lay_out([0, 0, 1, 1])
    found = _effects(np.zeros(2), covariance, np.full(2, 2.0), layout, np.ones(2, dtype=bool), np.ones(2))
    assert found.known.tolist() == [False, True] and found.error[1] == approx(0.2)
    assert found.correlation == approx(np.eye(2))


@pytest.mark.parametrize("seed", range(2))
def test_trials_drawn_at_random_never_end_in_a_fault(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for _ in range(8):
        arms = int(rng.integers(3, 6))
        rows = [
            BrewResult(
                brew=f"b{arm}-{i}",
                arm=f"r{arm}",
                value=math.exp(float(rng.normal())),
                block=f"d{rng.integers(3)}",
                at_limit=bool(rng.random() < 0.15),
            )
            for arm in range(arms)
            for i in range(int(rng.integers(1, 4)))
        ]
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            verdict = judge(trial_of(arms), rows, extent="comparisons")
        for item in verdict.comparisons:
            assert item.low is None or item.high is None or item.effect is None or item.low <= item.effect <= item.high


def test_a_layout_that_many_share_is_made_once_and_cannot_be_written_to() -> None:
    shared = lay_out([0, 0, 1, 1], ["a", "b", "a", "b"])
    assert lay_out([0, 0, 1, 1], ("a", "b", "a", "b")) is shared and lay_out([0, 1, 0, 1], ["a", "b", "a", "b"]) is not shared
    assert shared.inverse @ shared.matrix == approx(np.eye(3)) and (shared.rank, shared.df) == (3, 1)  # by hand
    for held in (shared.matrix, shared.inverse):
        with pytest.raises(ValueError, match="read-only"):
            held[0, 0] = 2.0
