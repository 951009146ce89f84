"""Brews entered in sets, and brews of one arm that share a day's luck."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, LostBrew, judge
from aerobe.verdicts._days import days_begun

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
    assert claims <= 14  # every brew by itself: 24 % of many; now 6 % with room for counting 150 trials


def test_two_days_always_count_as_two_and_that_is_said() -> None:
    rng = np.random.default_rng(3)
    found = [judge(TRIAL, days_of(rng, luck=0.3, days=2, each=3), extent="comparisons") for _ in range(60)]
    assert sum(verdict.comparisons[0].call in ("better", "worse") for verdict in found) <= 8  # 20 % by each brew
    assert all("Two days" in rival.words for verdict in found for rival in verdict.rivals if rival.name == "shared day")
    assert all(verdict.comparisons[0].df == 1.0 for verdict in found)


def test_brews_of_one_day_speak_of_it_alone() -> None:
    rows = days_of(np.random.default_rng(3), luck=0.3, days=1, each=4)
    for given in (rows, [replace(row, block="", began_h=float(i)) for i, row in enumerate(rows)]):
        assert any(rival.name == "one day" for rival in judge(TRIAL, given, extent="comparisons").rivals)
    apart = [replace(row, block="", began_h=30.0 * i) for i, row in enumerate(rows)]
    assert not any(rival.name == "one day" for rival in judge(TRIAL, apart, extent="comparisons").rivals)


def test_a_lost_brew_moves_the_mean_of_its_day() -> None:
    """Put at the end of its arm's brews it is one more brew of that day, not one more day: by hand, with scipy's paired test."""
    rows = days_of(np.random.default_rng(1), luck=0.6, days=5)
    gone = next(i for i, row in enumerate(rows) if row.arm == "r1" and row.block == "d2")
    kept = [row for i, row in enumerate(rows) if i != gone]
    only = judge(TRIAL, kept, lost=[LostBrew(arm="r1", block="d2")], extent="comparisons").comparisons[0]
    ends = []
    of_arm = sorted(math.log(row.value) for row in kept if row.arm == "r1")
    for put in (None, of_arm[0], of_arm[-1]):
        cells: dict[tuple[str, str], list[float]] = {}
        for row in kept:
            cells.setdefault((row.arm, row.block), []).append(math.log(row.value))
        if put is not None:
            cells["r1", "d2"].append(put)
        days = [f"d{i}" for i in range(5)]
        means = [[float(np.mean(cells[arm, day])) for day in days] for arm in ("r0", "r1")]
        within = stats.ttest_rel(means[1], means[0]).confidence_interval(0.9)
        ends.append((within.low, within.high))
    assert only.low == pytest.approx(min(low for low, _ in ends)) and only.high == pytest.approx(max(high for _, high in ends))


def begun_together(rng: np.random.Generator, luck: float = 0.4) -> list[BrewResult]:
    """Two brews in a morning, one recipe after the other from week to week, and no day was written down."""
    rows = []
    for week in range(8):
        own = rng.normal(0.0, luck)
        for i in range(2):
            value, began_h = math.exp(3.7 + own + 0.15 * rng.normal()), 168.0 * week + 1.5 * i
            rows.append(BrewResult(brew=f"{week}-{i}", arm=f"r{week % 2}", value=value, began_h=began_h))
    return rows


def test_brews_begun_together_count_once_though_no_day_was_written_down() -> None:
    rows = begun_together(np.random.default_rng(2))
    only = judge(TRIAL, rows, extent="comparisons").comparisons[0]
    logs = np.log([row.value for row in rows]).reshape(4, 2, 2).mean(axis=2)
    welch = stats.ttest_ind(logs[:, 1], logs[:, 0], equal_var=False)  # of scipy, on the means of the mornings
    assert only.effect is not None and only.error is not None
    assert only.effect / only.error == pytest.approx(welch.statistic)
    spread = [replace(row, began_h=24.0 * i) for i, row in enumerate(rows)]
    assert not any(rival.name == "shared day" for rival in judge(TRIAL, spread, extent="comparisons").rivals)
    rng = np.random.default_rng(5)
    found = [judge(TRIAL, begun_together(rng), extent="comparisons").comparisons[0].call for _ in range(100)]
    assert sum(call in ("better", "worse") for call in found) <= 11  # 15 to 20 % where each brew counts


def test_a_lost_brew_of_no_known_day_is_a_day_of_its_own() -> None:
    rows = begun_together(np.random.default_rng(2))
    only = judge(TRIAL, rows, lost=[LostBrew(arm="r1")], extent="comparisons").comparisons[0]
    logs = np.log([row.value for row in rows]).reshape(4, 2, 2)
    brews, means = logs[:, 1].ravel(), logs.mean(axis=2)
    ends = []
    for put in ([], [brews.min()], [brews.max()]):
        within = stats.ttest_ind([*means[:, 1], *put], means[:, 0], equal_var=False).confidence_interval(0.9)
        ends.append((within.low, within.high))
    assert only.low == pytest.approx(min(low for low, _ in ends)) and only.high == pytest.approx(max(high for _, high in ends))


def test_days_are_told_by_when_brews_began() -> None:
    hours = [30.0, 0.0, 12.0, 13.0, 41.0, 43.0]
    assert days_begun(hours) == [f"begun at {first} h" for first in (30, 0, 0, 13, 30, 43)]
    assert days_begun([1.0, None]) == ["", ""] and days_begun([]) == []


def counted_days(rng: np.random.Generator, luck: float, days: int = 4, each: int = 3) -> list[BrewResult]:
    """Pots of two arms in blocks, whose counts are of chance alone but for a luck that an arm has in a block."""
    rows = []
    for day in range(days):
        shared = rng.normal(0.0, 0.5)
        for name in ("r0", "r1"):
            rate = 20.0 * math.exp(shared + rng.normal(0.0, luck))
            for i in range(each):
                rows.append(BrewResult(brew=f"{name}-{day}-{i}", arm=name, value=float(rng.poisson(rate)), block=f"d{day}"))
    return rows


def test_counts_that_share_a_blocks_luck_count_once_a_block() -> None:
    rows = counted_days(np.random.default_rng(1), luck=0.6)
    verdict = judge(TRIAL, rows, outcome_key="growth count", extent="comparisons")
    # Paired t of scipy on the logs of the sums.
    sums = np.log(np.array([row.value for row in rows]).reshape(4, 2, 3).sum(axis=2))
    paired = stats.ttest_rel(sums[:, 1], sums[:, 0])
    only = verdict.comparisons[0]
    assert only.effect is not None and only.error is not None
    assert only.effect / only.error == pytest.approx(paired.statistic) and only.df == 3.0
    assert [(row.value, row.of_n) for row in verdict.results][:1] == [(sum(row.value for row in rows[:3]), 3.0)]


def test_blocks_luck_makes_few_false_claims_of_counts_and_shares() -> None:
    rng = np.random.default_rng(2)
    claims = {"growth count": 0, "plants thriving": 0}
    for _ in range(80):
        rows = counted_days(rng, luck=0.5)
        shares = [replace(row, value=min(row.value, 110.0), of_n=120.0) for row in rows]
        for key, given in (("growth count", rows), ("plants thriving", shares)):
            claims[key] += judge(TRIAL, given, outcome_key=key, extent="comparisons").comparisons[0].call in ("better", "worse")
    assert max(claims.values()) <= 10  # each pot by itself: 31 and 38 of 80; now 6 % with room for counting 80 trials


def test_counts_of_chance_alone_are_never_better_known_than_chance_allows() -> None:
    # Sums of 60 and 90 in each of two blocks, without any scatter left: the error of a log ratio of 120 to 180 is that of chance.
    rows = [
        BrewResult(brew=f"{name}-{day}-{i}", arm=name, value=value, block=f"d{day}")
        for day in range(2)
        for name, value in (("r0", 20.0), ("r1", 30.0))
        for i in range(3)
    ]
    only = judge(TRIAL, rows, outcome_key="growth count", extent="comparisons").comparisons[0]
    assert only.error == pytest.approx(math.sqrt(1.0 / 120.0 + 1.0 / 180.0), rel=0.02) and only.df == 1.0


def test_days_at_limits_count_once_too() -> None:
    rows = days_of(np.random.default_rng(1), luck=0.6, days=6)
    low = sorted(row.value for row in rows)[3]
    limited = [replace(row, value=max(row.value, low), at_limit=row.value < low) for row in rows]
    found = judge(TRIAL, limited, lost=[LostBrew(arm="r1", block="d2")], extent="comparisons")
    only, whole = found.comparisons[0], judge(TRIAL, rows, extent="comparisons").comparisons[0]
    assert any(rival.name == "shared day" for rival in found.rivals) and sum(row.at_limit for row in found.results) == 2
    assert only.df is not None and only.df <= 5.0 and only.low is not None and whole.low is not None and only.low < whole.low
