"""Arms made up from another arm's results, and brews that are two vessels of one: held, or judged as what they are."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, judge

ARMS = (Arm(key="r0", recipe="r0", is_standard=True), Arm(key="r1", recipe="r1"))
TRIAL = Trial(key="t", name="t", question="two recipes", arms=ARMS)
THREE = replace(TRIAL, question="several against a standard", arms=(*ARMS, Arm(key="r2", recipe="r2")))


def arm(name: str, logs: np.ndarray, days: bool = False, digits: int = 6) -> list[BrewResult]:
    return [
        BrewResult(brew=f"{name}-{i}", arm=name, value=float(f"{math.exp(value):.{digits}g}"), block=f"d{i}" if days else "")
        for i, value in enumerate(logs)
    ]


def held(rows: list[BrewResult], trial: Trial = TRIAL) -> str:
    return judge(trial, rows, extent="comparisons").comparisons[0].held_by


COPIES: dict[str, Callable[[np.random.Generator, np.ndarray], np.ndarray]] = {
    "times a number": lambda rng, own: own + 0.4,
    "in another order": lambda rng, own: rng.permutation(own) + 0.4,
    "as they are, in another order": lambda rng, own: rng.permutation(own),
    "shifted": lambda rng, own: np.log(np.exp(own) + 15.0),
    "shaken by 1 %": lambda rng, own: own + 0.4 + 0.01 * rng.normal(size=len(own)),
    "one left out": lambda rng, own: rng.permutation(own)[1:] + 0.4,
}


@pytest.mark.parametrize("name", COPIES)
@pytest.mark.parametrize("brews", [5, 6, 8, 12])
def test_an_arm_that_repeats_another_is_held(brews: int, name: str) -> None:
    rng = np.random.default_rng(brews)
    found = [
        held(arm("r0", own, digits=3) + arm("r1", COPIES[name](rng, own), digits=3)) for own in rng.normal(3.7, 0.3, (8, brews))
    ]
    assert found.count("copied arm") >= 7


@pytest.mark.parametrize("name", ["times a number", "shifted", "shaken by 1 %"])
@pytest.mark.parametrize("brews", [3, 4, 6, 10])
def test_a_copy_day_by_day_is_held(brews: int, name: str) -> None:
    rng = np.random.default_rng(brews)
    days = rng.normal(3.7, 0.5, (12, brews))
    found = [held(arm("r0", own, True, 4) + arm("r1", COPIES[name](rng, own), True, 4)) for own in days]
    assert found.count("copied arm") >= (6 if (brews, name) == (3, "shaken by 1 %") else 11)


def test_a_third_arm_that_repeats_the_second_is_held_and_named() -> None:
    rng = np.random.default_rng(2)
    first, second = rng.normal(3.7, 0.3, (2, 5))
    rows = arm("r0", first) + arm("r1", second) + arm("r2", second[::-1] + 0.2)
    verdict = judge(THREE, rows, extent="comparisons")
    assert all(c.held_by == "copied arm" for c in verdict.comparisons)
    assert "results of r2 repeat those of r1" in verdict.headline


@pytest.mark.parametrize("days", [0.0, 0.1, 0.5, 1.2])
def test_honest_arms_are_seldom_taken_for_copies(days: float) -> None:
    rng = np.random.default_rng(3)
    wrongly = 0
    for brews in (3, 4, 6, 8):
        for _ in range(15):
            day = days * rng.normal(size=brews)
            rows = [one for name in ("r0", "r1") for one in arm(name, 3.7 + day + 0.2 * rng.normal(size=brews), days > 0.0, 2)]
            wrongly += held(rows) == "copied arm"
    assert wrongly <= 3  # of 60; of 13,000 with 2 to 7 arms, normal, skewed and heavy-tailed, 0.1 to 0.7 %


def test_results_of_a_sorted_table_are_no_copies_and_come_in_no_sets() -> None:
    rng, wrongly = np.random.default_rng(4), 0
    for brews in (4, 6, 8, 12):
        for _ in range(20):
            rows = arm("r0", np.sort(rng.normal(3.7, 0.3, brews))) + arm("r1", np.sort(rng.normal(3.9, 0.3, brews)))
            verdict = judge(TRIAL, rows, extent="comparisons")
            assert verdict.brews == 2 * brews and not any(
                rival.name in ("double entry", "brews in sets") for rival in verdict.rivals
            )
            wrongly += verdict.comparisons[0].held_by == "copied arm"
    assert wrongly <= 3  # of 80, as of brews in any order


def split(rng: np.random.Generator, brews: int, between: float, within: float) -> list[BrewResult]:
    """Every brew in two vessels, each entered as a brew of its own."""
    rows = []
    for name in ("r0", "r1"):
        for i in range(brews):
            luck = 3.7 + between * rng.normal()
            for vessel in ("left", "right"):
                value = math.exp(luck + within * rng.normal())
                rows.append(BrewResult(brew=f"{name}-{i}-{vessel}", arm=name, value=value, column=vessel))
    return rows


def test_two_vessels_of_one_brew_count_as_one_brew() -> None:
    rows = split(np.random.default_rng(5), 4, 0.4, 0.2)
    verdict = judge(TRIAL, rows, extent="comparisons")
    assert verdict.brews == 8 and any(rival.name == "brews in sets" for rival in verdict.rivals)
    # scipy's Welch test on the means of the sets
    logs = np.log([row.value for row in rows]).reshape(2, 4, 2).mean(axis=2)
    welch = stats.ttest_ind(logs[1], logs[0], equal_var=False)
    only = verdict.comparisons[0]
    assert only.effect is not None and only.error is not None
    assert only.effect / only.error == pytest.approx(welch.statistic)


def test_brews_that_began_together_are_judged_as_one_and_all_results_stay() -> None:
    rng = np.random.default_rng(6)
    rows = [replace(row, column="", began_h=24.0 * (i // 2 % 4)) for i, row in enumerate(split(rng, 4, 0.4, 0.2))]
    mixed = [rows[i] for i in rng.permutation(len(rows))]
    verdict = judge(TRIAL, mixed, extent="comparisons")
    assert verdict.brews == 8 and sum(len(result.points) for result in verdict.results) == 16
    assert any(rival.name == "shared day" for rival in verdict.rivals)


def test_split_brews_make_few_false_claims() -> None:
    rng = np.random.default_rng(7)
    claims = sum(
        judge(TRIAL, split(rng, 3, 0.4, 0.15), extent="comparisons").comparisons[0].call in ("better", "worse")
        for _ in range(100)
    )
    assert claims <= 15  # every vessel by itself: 18 % of many; by sets 8 % with room for counting 100 trials


def test_honest_brews_seldom_come_in_sets() -> None:
    rng = np.random.default_rng(8)
    merged = sum(
        any(
            rival.name == "brews in sets"
            for rival in judge(
                TRIAL, arm("r0", rng.normal(3.7, 0.3, 6)) + arm("r1", rng.normal(3.7, 0.3, 6)), extent="comparisons"
            ).rivals
        )
        for _ in range(100)
    )
    assert merged <= 9  # 3 % of many
