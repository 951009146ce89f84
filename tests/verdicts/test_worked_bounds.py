"""Where an arm is taken for another's, and where a drift is taken out: counted anew, by scipy, or on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy import optimize, stats

from aerobe.verdicts import BrewResult, lay_out
from aerobe.verdicts._copies import (
    _bound,
    _by_day,
    _Days,
    _differ_by_one_number,
    _follows,
    _same_sizes,
    copied_arm,
)
from aerobe.verdicts._drift import _chance, _share_along, take_out_drift

# What is said of honest trials: held by likeness of sizes, with days, by days, and by days where the least scatter is unknown.
CHANCE, CHANCE_IN_DAYS, CHANCE_BY_DAY, CHANCE_UNKNOWN = 0.01, 0.003, 0.005, 0.001
FIRST = np.array([0.1, 0.9, 0.4, 1.6, 0.7])
SHAKE = np.array([1.0, -1.0, -1.0, 1.0, 0.0])
# What one pair of normal arms in 1,000 and in 10,000 goes below: numpy, 1,500,000 pairs of each number of brews, drawn anew.
COUNTED = {
    3: (0.0265, 0.0087),
    4: (0.0595, 0.0277),
    5: (0.0853, 0.0453),
    6: (0.1032, 0.0623),
    7: (0.1157, 0.0760),
    8: (0.1233, 0.0836),
    9: (0.1286, 0.0914),
    10: (0.1320, 0.0973),
    11: (0.1339, 0.1012),
    12: (0.1345, 0.1020),
    15: (0.1345, 0.1071),
    20: (0.1300, 0.1070),
}


@pytest.mark.parametrize("brews", COUNTED)
def test_the_bound_of_likeness_is_the_one_counted(brews: int) -> None:
    one_in_1000, one_in_10000 = COUNTED[brews]
    assert _bound(brews, 0.001) == approx(one_in_1000, rel=0.06 if brews == 3 else 0.015)
    assert _bound(brews, 0.0001) == approx(one_in_10000, rel=0.1 if brews < 12 else 0.065)


def sd_of(values: np.ndarray) -> float:
    return float(np.std(values, ddof=1))


def scatter_of(first: np.ndarray, second: np.ndarray) -> float:
    return math.sqrt(0.5 * (np.var(first, ddof=1) + np.var(second, ddof=1)))


def test_two_arms_are_tried_as_logs_and_as_they_are() -> None:
    # Logs so near each other that both scales tell the same; two pairs of patterns are tried.
    own, order = 0.01 * np.sort(FIRST), [3, 0, 4, 1, 2]
    for factor, told in ((0.97, (0, 1)), (1.03, None)):
        shake = SHAKE / sd_of(SHAKE) * factor * _bound(5, CHANCE / 2.0) * scatter_of(own, own)
        values = np.concatenate([own[[2, 4, 0, 3, 1]], (own + shake + 0.002)[order]])
        assert copied_arm(values, lay_out([0] * 5 + [1] * 5), 1e-9, are_logs=True, of_microbes=True) == told


def test_all_pairs_of_arms_share_what_is_tried_and_each_has_three_brews() -> None:
    own = 0.01 * np.sort(FIRST)
    shake = SHAKE / sd_of(SHAKE) * _bound(5, 0.01 / 6.0) * scatter_of(own, own)
    third = 0.05 + 0.01 * np.array([0.0, 1.0, 0.2, 3.0, 0.4])
    for factor, told in ((0.97, (0, 1)), (1.03, None)):
        values = np.concatenate([own[[2, 4, 0, 3, 1]], (own + factor * shake + 0.002)[[3, 0, 4, 1, 2]], third])
        assert copied_arm(values, lay_out([0] * 5 + [1] * 5 + [2] * 5), 1e-9, are_logs=True, of_microbes=True) == told
    # An arm of two is compared with none: of three arms one pair is tried.
    shake = SHAKE / sd_of(SHAKE) * 0.97 * _bound(5, 0.01 / 2.0) * scatter_of(own, own)
    values = np.concatenate([own[[2, 4, 0, 3, 1]], (own + shake + 0.002)[[3, 0, 4, 1, 2]], third[:2]])
    assert copied_arm(values, lay_out([0] * 5 + [1] * 5 + [2] * 2), 1e-9, are_logs=True, of_microbes=True) == (0, 1)


def test_patterns_are_compared_on_either_scale_where_it_is_defined() -> None:
    # Shifted as they are, and far from alike as logs; times a number, and far from alike as they are; below nought no logs.
    own, order = np.array([0.2, 1.0, 2.5, 6.0, 11.0]), [3, 0, 4, 1, 2]
    layout = lay_out([0] * 5 + [1] * 5)
    for other in (own + 3.0, 40.0 * own):
        both = np.concatenate([own, other[order]])
        assert copied_arm(both, layout, 1e-6, are_logs=False, of_microbes=False) == (0, 1)
        assert copied_arm(np.log(both), layout, 1e-6, are_logs=True, of_microbes=False) == (0, 1)
    below = np.concatenate([own - 5.0, (own + 3.0)[order]])
    assert copied_arm(below, layout, 1e-6, are_logs=False, of_microbes=False) == (0, 1)
    assert (
        copied_arm(np.concatenate([own - 5.0, 40.0 * (own[order] - 5.0)]), layout, 1e-6, are_logs=False, of_microbes=False)
        is None
    )


def test_living_brews_of_days_differ_by_a_tenth_as_logs_only() -> None:
    # scipy's chi-square: differences by day of two brews that differ by a tenth each; on days so wide apart that likeness by the
    # days alone is told by neither. Brews of oxygen, or as they are, may be so even.
    days, pattern = np.array([0.0, 0.3, 0.66, 0.93, 1.35]), np.array([1.0, -1.0, 1.0, -1.0, 0.0])
    layout = lay_out([0] * 5 + [1] * 5, [f"d{i}" for i in (*range(5), *range(5))])
    edge = 0.1 * math.sqrt(2.0 * stats.chi2.ppf(CHANCE_BY_DAY, 4) / 4.0) / sd_of(pattern)
    for factor, told in ((0.97, (0, 1)), (1.03, None)):
        values = np.concatenate([days, days + 0.3 + factor * edge * pattern])
        assert copied_arm(values, layout, 1e-9, are_logs=True, of_microbes=True) == told
        assert copied_arm(values, layout, 1e-9, are_logs=True, of_microbes=False) is None
        assert copied_arm(values + 1.0, layout, 1e-9, are_logs=False, of_microbes=False) is None


def test_three_brews_are_enough_and_on_days_all_must_be_alike() -> None:
    own = np.array([0.0, 1.0, 0.3])
    assert copied_arm(np.concatenate([own, own[::-1] + 0.2]), lay_out([0] * 3 + [1] * 3), 1e-9, are_logs=True, of_microbes=True)
    first = np.array([0.0, 0.1, 0.5, 0.9, 1.3])
    second = np.array([0.5, 0.0, 0.1, 0.9, 3.0])  # four of the five, on other days
    layout = lay_out([0] * 5 + [1] * 5, [f"d{i}" for i in (*range(5), *range(5))])
    assert copied_arm(np.concatenate([first, second]), layout, 1e-9, are_logs=True, of_microbes=False) is None
    assert _same_sizes(first, second, 1e-9, 2) is not None


def test_the_step_of_the_scale_is_one_of_the_logs_at_the_middle_result() -> None:
    # Five times a number is alike as logs alone; a step hides it from the bound on, over the median of all ten.
    own = 100.0 * np.exp(0.3 * FIRST)
    values = np.concatenate([own, 5.0 * own[[3, 0, 4, 1, 2]]])
    edge = _bound(5, CHANCE / 2.0) * sd_of(np.log(own)) * math.exp(float(np.median(np.log(values))))
    for factor, told in ((0.99, (0, 1)), (1.01, None)):
        assert copied_arm(values, lay_out([0] * 5 + [1] * 5), factor * edge, are_logs=False, of_microbes=False) == told


def test_the_likeness_told_is_that_of_the_most_alike() -> None:
    # On paper: the four of five that are alike to nought, beside all five, which are nearly so.
    other = np.append(np.sort(FIRST)[:4], 1.62)
    whole = sd_of(np.array([0.0, 0.0, 0.0, 0.0, 0.02]))
    assert _same_sizes(np.sort(FIRST), other, 0.0, 2) == approx(whole)
    assert _same_sizes(np.sort(FIRST), np.append(other[:4], 9.0), 0.0, 2) == approx(0.0, abs=1e-12)
    assert _same_sizes(FIRST[:4], np.append(FIRST[:4], 9.0), 0.0, 2) == approx(0.0, abs=1e-12)


def test_arms_on_one_step_or_without_scatter_do_not_follow_each_other() -> None:
    own = np.array([0.0, 3.0, 1.0, 2.0, 5.0, 4.0])
    assert _follows(own, own + 1.0, 4.9, 2) and not _follows(own, own + 1.0, 5.1, 2)
    assert not _follows(own, 0.1 * own, 0.6, 2) and _follows(own, 0.1 * own, 0.4, 2)
    still = np.array([1.0, 1.0 + 1e-17, 1.0, 1.0, 1.0, 1.0])
    assert not _follows(own, still, 0.0, 2)
    assert not _follows(np.sort(own), np.sort(own), 0.0, 2) and not _follows(own, own[::-1][:5], 0.0, 2)


def test_of_many_subsets_none_is_tried() -> None:
    # On paper: five of 11 and five of 6 are 462 x 6 = 2,772 ways; five of 12 and five of 6 are 792 x 6 = 4,752, beyond 4,000.
    few, many = np.array([0.0, 1.0, 3.0, 7.0, 12.0, 50.0]), np.array([0.0, 1.0, 3.0, 7.0, 12.0, 90, 120, 160, 210, 300, 420, 560])
    assert _same_sizes(few, many[:11], 0.0, 1) is not None and _same_sizes(few, many, 0.0, 1) is None
    assert _same_sizes(many[:11], few, 0.0, 1) is not None and _same_sizes(many, few, 0.0, 1) is None


def test_of_whole_arms_on_days_four_and_as_many_are_asked() -> None:
    for other, told in ((FIRST, True), (FIRST[:4], False)):
        assert (_same_sizes(FIRST, other + 2.0, 0.0, 2, whole=True) is not None) is told
    assert _same_sizes(FIRST[:3], FIRST[:3], 0.0, 2, whole=True) is None
    # Three against three are asked, and three against four not.
    assert _same_sizes(FIRST[:3], FIRST[:3], 0.0, 2) is not None and _same_sizes(FIRST[:3], FIRST[:4], 0.0, 2) is None
    # A step as coarse as the bound hides all likeness.
    bound = _bound(5, CHANCE / 2.0) * sd_of(FIRST)
    assert (
        _same_sizes(FIRST, FIRST + 1.0, 0.99 * bound, 2) is not None and _same_sizes(FIRST, FIRST + 1.0, 1.01 * bound, 2) is None
    )
    bound = _bound(5, CHANCE_IN_DAYS / 2.0) * sd_of(FIRST)
    assert _same_sizes(FIRST, FIRST, 0.99 * bound, 2, whole=True) is not None
    assert _same_sizes(FIRST, FIRST, 1.01 * bound, 2, whole=True) is None


def test_days_do_not_explain_sizes_that_are_alike_in_another_order() -> None:
    """The same results on other days: differences by day five times those by size."""
    own = 0.01 * np.array([0.0, 0.1, 0.5, 0.9, 1.3])

    def other(shake: float) -> np.ndarray:
        return (own + 0.01 * shake * SHAKE)[[1, 0, 2, 3, 4]]

    edge = optimize.brentq(lambda s: sd_of(other(s) - own) - 5.0 * sd_of(np.sort(other(s)) - own), 1e-4, 0.05)
    layout = lay_out([0] * 5 + [1] * 5, [f"d{i}" for i in (*range(5), *range(5))])
    for factor, told in ((0.95, (0, 1)), (1.05, None)):
        values = np.concatenate([own, other(factor * edge)])
        assert copied_arm(values, layout, 1e-9, are_logs=True, of_microbes=False) == told


def test_days_are_compared_by_their_means() -> None:
    # On paper: the first arm twice on day a, once on b and c; the second on a, b, c and d, which the first has not.
    layout = lay_out([0, 0, 0, 0, 1, 1, 1, 1], ["a", "a", "b", "c", "c", "b", "a", "d"])
    values = np.array([1.0, 3.0, 5.0, 7.0, 8.0, 6.0, 4.0, 99.0])
    found = _by_day(layout, values, np.arange(4), np.arange(4, 8))
    assert found is not None
    assert list(found.first) == [2.0, 5.0, 7.0] and list(found.second) == [4.0, 6.0, 8.0] and found.each == approx(7.0 / 6.0)
    assert _by_day(layout, values, np.arange(3), np.arange(4, 8)) is None  # two days shared


def test_days_must_differ_by_more_than_the_scale_and_living_brews_by_a_tenth() -> None:
    first = np.array([0.0, 1.0, 2.2, 3.1, 4.5])
    scatter = sd_of(first)
    assert _differ_by_one_number(_Days(first, first + 1.0, 1.0), 0.99 * 0.1 * scatter / 2.0, 2, 0.0)
    assert not _differ_by_one_number(_Days(first, first + 1.0, 1.0), 1.01 * 0.1 * scatter / 2.0, 2, 0.0)
    # scipy's chi-square: means of three brews of each arm differ by at least a tenth times root(2 / 3); two pairs tried.
    pattern = np.array([1.0, -1.0, 1.0, -1.0, 0.0])
    edge = 0.1 * math.sqrt(2.0 / 3.0 * stats.chi2.ppf(CHANCE_BY_DAY / 2.0, 4) / 4.0)
    wide = 40.0 * first  # days so far apart that the likeness by the days alone is told by neither
    for factor, told in ((0.98, True), (1.02, False)):
        shaken = factor * edge / sd_of(pattern) * pattern
        days = _Days(0.1 * first, 0.1 * first + shaken, 3.0)
        assert _differ_by_one_number(days, 0.0, 2, 0.1) is told
        assert _differ_by_one_number(_Days(wide, wide + shaken, 3.0), 0.0, 2, 0.1)
        assert not _differ_by_one_number(days, 0.0, 2, 0.0)


# --- a drift ----------------------------------------------------------------------------------------------------------


def dated(arms: list[int], hours: list[float | None], blocks: tuple[str, ...] = ("",)) -> list[BrewResult]:
    return [
        BrewResult(brew=f"b{i}", arm=f"r{arm}", value=1.0, began_h=hour, block=blocks[i % len(blocks)])
        for i, (arm, hour) in enumerate(zip(arms, hours, strict=True))
    ]


ARMS = [0, 0, 0, 1, 0, 1, 1, 1]
STEEP = np.array([0.0, 0.11, 0.18, 0.33, 0.42, 0.48, 0.61, 0.7])
PAIR = np.array([[-1.0, 1.0]])


def test_the_share_of_a_contrast_along_the_dates_is_that_of_the_worst() -> None:
    # On paper: arms one after the other have all of their difference along the two halves; side by side, none of it.
    along = np.array([-1.0, -1.0, 1.0, 1.0])
    assert _share_along(lay_out([0, 0, 1, 1]), PAIR, along) == approx(1.0)
    assert _share_along(lay_out([0, 1, 0, 1]), PAIR, along) == approx(0.0)
    # Weights of halves and fourths: (w . d)^2 over w^2 and d^2, for three arms the largest of the contrasts.
    line = np.array([-3.0, -1.0, 1.0, 3.0])
    assert _share_along(lay_out([0, 0, 1, 1]), PAIR, line) == approx(0.8)
    arms, dates = lay_out([0, 1, 1, 0, 2, 2]), np.array([-5.0, -3.0, -1.0, 1.0, 3.0, 5.0])
    rows = np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])
    assert _share_along(arms, rows, dates) == approx(36.0 / 70.0)
    assert _share_along(arms, rows[:1], dates) == approx(0.0, abs=1e-12)


def test_a_drift_is_looked_for_where_brews_are_dated_apart_and_no_day_is_a_block() -> None:
    layout = lay_out(ARMS)
    for span, told in ((19.9, False), (20.1, True)):
        hours = [span * i / 7.0 for i in range(8)]
        found, said = take_out_drift(layout, PAIR, dated(ARMS, [*hours]), STEEP)
        assert (said is not None) is told and found.df == layout.df - told
    week = [168.0 * i for i in range(8)]
    assert take_out_drift(layout, PAIR, dated(ARMS, [*week]), STEEP)[1] is not None
    assert take_out_drift(layout, PAIR, dated(ARMS, [*week], ("x",)), STEEP)[1] is not None
    assert take_out_drift(layout, PAIR, dated(ARMS, [*week], ("x", "y")), STEEP)[1] is None
    assert take_out_drift(layout, PAIR, dated(ARMS, [*week[:7], None]), STEEP)[1] is None
    # The line is that of the dates, standardised; six brews of two arms leave four degrees beside them, five leave three.
    found, _ = take_out_drift(layout, PAIR, dated(ARMS, [*week]), STEEP)
    assert found.matrix[:, -1] == approx(stats.zscore(week))
    for count, told in ((6, True), (5, False)):
        arms = [0, 0, 1, 0, 1, 1][:count]
        assert (take_out_drift(lay_out(arms), PAIR, dated(arms, [*week[:count]]), STEEP[:count])[1] is not None) is told


def test_a_drift_is_taken_out_unseen_where_much_of_a_contrast_lies_along_it() -> None:
    # On paper: eight brews in order, at -3.5 to 3.5 (squares 42), weights of a fourth (squares 1/2): the share of their
    # difference along the dates is the squared sum of the second arm's places over 84.
    flat = np.array([0.1, -0.2, 0.0, 0.2, -0.1, 0.15, -0.05, -0.1])
    week = [168.0 * i for i in range(8)]
    dates = stats.zscore(week)

    def told(arms: list[int], slope: float) -> bool:
        return take_out_drift(lay_out(arms), PAIR, dated(arms, [*week]), flat + slope * dates)[1] is not None

    much, some, little = [0, 0, 1, 0, 0, 1, 1, 1], [0, 1, 0, 0, 0, 1, 1, 1], [1, 0, 0, 1, 0, 0, 1, 1]
    for arms, summed in ((much, 6.0), (some, 5.0), (little, 2.0)):
        assert _share_along(lay_out(arms), PAIR, dates) == approx(summed**2 / 84.0)
    assert told(much, 0.0) and not told(little, 5.0)
    # Between the two, 25/84 here, a drift must be seen: at p under a tenth.
    edge = optimize.brentq(lambda slope: _chance(lay_out(some), dates, flat + slope * dates) - 0.1, 0.03, 1.0)
    assert not told(some, 0.98 * edge) and told(some, 1.02 * edge)
    # Ten brews, squares 82.5, weights of a fifth: 0.16 x 3.5^2 / 33 = 0.059, just more than little.
    arms, ten = [0, 0, 1, 1, 1, 0, 0, 0, 1, 1], [168.0 * i for i in range(10)]
    layout, steep = lay_out(arms), np.append(flat, [0.05, -0.03]) + stats.zscore(ten)
    assert _share_along(layout, PAIR, stats.zscore(ten)) == approx(0.16 * 3.5**2 / 33.0)
    assert take_out_drift(layout, PAIR, dated(arms, [*ten]), steep)[1] is not None


def test_arms_that_stand_apart_in_time_are_not_told_by_a_line() -> None:
    # Arms on two dates, one each: the line would take all of the difference.
    arms = [0, 0, 0, 0, 1, 1, 1, 1]
    layout, hours = lay_out(arms), [0.0] * 4 + [400.0] * 4
    assert take_out_drift(layout, PAIR, dated(arms, [*hours]), STEEP) == (layout, None)
    assert _chance(layout, stats.zscore(hours), STEEP) == 1.0
