"""Brews entered in sets, and brews of one arm that share a day's luck."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, judge

TRIAL = Trial(
    key="t",
    name="t",
    question="two recipes",
    arms=(Arm(key="r0", recipe="r0", is_standard=True), Arm(key="r1", recipe="r1")),
)


def held(rows: list[BrewResult]) -> str:
    return judge(TRIAL, rows, extent="comparisons").comparisons[0].held_by


def arm(name: str, logs: np.ndarray, days: bool = False) -> list[BrewResult]:
    return [
        BrewResult(brew=f"{name}-{i}", arm=name, value=math.exp(3.7 + value), block=f"d{i}" if days else "")
        for i, value in enumerate(logs)
    ]


def test_results_entered_again_and_shaken_are_seen_by_their_order() -> None:
    rng = np.random.default_rng(3)
    seen = 0
    for _ in range(40):
        logs = [rng.normal(0.0, 0.3, 5) for _ in range(2)]
        rows = [
            row
            for name, own in zip(("r0", "r1"), logs, strict=True)
            for row in arm(name, np.repeat(own, 2) + rng.normal(0.0, 0.04, 10))
        ]
        seen += held(rows) == "double entry"
    assert seen >= 36


def test_honest_arms_are_not_held() -> None:
    rng = np.random.default_rng(4)
    wrongly = sum(
        held(arm("r0", rng.normal(0.0, 0.3, n), days) + arm("r1", rng.normal(0.0, 0.3, n), days)) == "double entry"
        for n in (3, 4, 6, 8)
        for days in (False, True)
        for _ in range(15)
    )
    assert wrongly <= 2  # of 120, at some tenths of a per cent each


def days_of(rng: np.random.Generator, luck: float, days: int = 4, each: int = 2) -> list[BrewResult]:
    rows = []
    for day in range(days):
        shared = rng.normal(0.0, 0.5)
        for name in ("r0", "r1"):
            own = rng.normal(0.0, luck)
            for i in range(each):
                value = math.exp(3.7 + shared + own + 0.15 * rng.normal())
                rows.append(BrewResult(brew=f"{name}-{day}-{i}", arm=name, value=value, block=f"d{day}"))
    return rows


def test_brews_that_share_a_days_luck_count_once_a_day() -> None:
    rows = days_of(np.random.default_rng(1), luck=0.6)
    verdict = judge(TRIAL, rows, extent="comparisons")
    # Paired t of scipy on the means of the days.
    logs = np.log([row.value for row in rows]).reshape(4, 2, 2).mean(axis=2)
    paired = stats.ttest_rel(logs[:, 1], logs[:, 0])
    only = verdict.comparisons[0]
    assert only.effect is not None and only.error is not None
    assert only.effect / only.error == pytest.approx(paired.statistic) and only.df == 3.0
    assert any(rival.name == "shared day" for rival in verdict.rivals)


def test_a_days_luck_makes_few_false_claims() -> None:
    rng = np.random.default_rng(2)
    claims = sum(
        judge(TRIAL, days_of(rng, luck=0.3), extent="comparisons").comparisons[0].call in ("better", "worse") for _ in range(150)
    )
    assert claims <= 17  # every brew by itself: 24 % of many; by days 6 % with room for counting 150 trials
