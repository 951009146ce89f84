"""Numbers of the checks beside a verdict and of its ranking: by scipy, or on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.records import Arm
from aerobe.verdicts import FULL, BrewResult, lay_out, outcome, pair_contrast
from aerobe.verdicts._check import check_comparisons
from aerobe.verdicts._evidence import Evidence
from aerobe.verdicts._layout import Layout
from aerobe.verdicts._ranking import rank_arms

KEYS = ("a", "b", "c")
ARMS = tuple(Arm(key=key, recipe=key, is_standard=key == "a") for key in KEYS)
FIRST, SECOND, THIRD = np.array([1.0, 1.4, 0.7, 1.2]), np.array([2.1, 1.6, 2.0, 2.4]), np.array([1.5, 1.1, 1.9, 1.4])


def brews(*groups: np.ndarray, block: bool = False, points: tuple[float, ...] = (0.0,)) -> tuple[list[BrewResult], np.ndarray]:
    results = [
        BrewResult(
            brew=f"{key}{i}",
            arm=key,
            value=math.exp(value),
            block=str(i) if block else "",
            points=tuple(math.exp(value + off) for off in points),
        )
        for key, group in zip(KEYS, groups, strict=False)
        for i, value in enumerate(group)
    ]
    return results, np.concatenate(groups)


def test_two_arms_are_checked_by_the_linear_model_and_by_welch() -> None:
    # scipy: the pooled t test, and Welch's; intervals of 90 %.
    results, values = brews(FIRST, SECOND)
    linear, welch = check_comparisons([pair_contrast(ARMS[:2], "b", "a")], KEYS[:2], results, values, "ratio")
    for found, test in (
        (linear, stats.ttest_ind(SECOND, FIRST)),
        (welch, stats.ttest_ind(SECOND, FIRST, equal_var=False)),
    ):
        interval = test.confidence_interval(0.90)
        assert found.estimate == approx(SECOND.mean() - FIRST.mean()) and found.p == approx(test.pvalue, rel=1e-3)
        assert (found.low, found.high) == approx((interval.low, interval.high), abs=1e-4)
    assert linear.method == "linear model (Satterthwaite 6.0 degrees of freedom)"
    turned = check_comparisons([pair_contrast(ARMS[:2], "a", "b")], KEYS[:2], results, values, "ratio")
    assert [check.estimate for check in turned] == approx([-linear.estimate] * 2)


def test_several_tests_of_a_brew_or_brews_in_blocks_go_to_the_mixed_model() -> None:
    # On paper: where each brew has the same number of tests, brew means tell all: the pooled t test on them.
    results, values = brews(FIRST, SECOND, points=(-0.05, 0.05))
    mixed, _ = check_comparisons([pair_contrast(ARMS[:2], "b", "a")], KEYS[:2], results, values, "ratio")
    test = stats.ttest_ind(SECOND, FIRST)
    assert mixed.method.startswith("mixed model, brew random") and mixed.p == approx(test.pvalue, rel=2e-3)
    assert mixed.estimate == approx(SECOND.mean() - FIRST.mean())
    # In whole blocks the paired t test.
    days = np.array([0.0, 1.0, -1.0, 2.0])
    results, values = brews(FIRST + days, SECOND + days, block=True)
    (blocked,) = check_comparisons([pair_contrast(ARMS[:2], "b", "a")], KEYS[:2], results, values, "ratio")
    paired = stats.ttest_rel(SECOND + days, FIRST + days)
    assert blocked.method.startswith("mixed model, block random (Satterthwaite 3.0") and blocked.p == approx(
        paired.pvalue, rel=2e-3
    )


def test_brews_that_do_not_scatter_have_no_model() -> None:
    results, values = brews(np.full(3, 0.5), np.full(3, 1.5), np.full(3, 0.2), block=True)
    assert check_comparisons([pair_contrast(ARMS, "b", "a")], KEYS, results, values, "ratio") == ()
    alone, few = brews(FIRST[:1], SECOND[:1])
    assert check_comparisons([pair_contrast(ARMS[:2], "b", "a")], KEYS[:2], alone, few, "ratio") == ()


def test_three_arms_are_checked_by_dunnett_or_by_tukey() -> None:
    # scipy's own tests of both names.
    results, values = brews(FIRST, SECOND, THIRD)
    with_standard = [pair_contrast(ARMS, "b", "a"), pair_contrast(ARMS, "c", "a")]
    dunnett = check_comparisons(with_standard, KEYS, results, values, "ratio")[2:]
    exact = stats.dunnett(SECOND, THIRD, control=FIRST, rng=np.random.default_rng(1))
    assert [check.method for check in dunnett] == ["Dunnett's test on brew means"] * 2
    assert [check.p for check in dunnett] == approx(list(exact.pvalue), abs=2e-3)
    assert [check.estimate for check in dunnett] == approx([(SECOND - FIRST).mean(), (THIRD - FIRST).mean()])
    pairs = [*with_standard, pair_contrast(ARMS, "c", "b")]
    tukey = check_comparisons(pairs, KEYS, results, values, "ratio")[3:]
    range_test = stats.tukey_hsd(FIRST, SECOND, THIRD)
    assert [check.p for check in tukey] == approx([range_test.pvalue[i, j] for i, j in ((1, 0), (2, 0), (2, 1))])
    low = range_test.confidence_interval(0.90).low
    assert [check.low for check in tukey] == approx([low[i, j] for i, j in ((1, 0), (2, 0), (2, 1))])


def evidence(layout: Layout, values: np.ndarray, arms: tuple[int, ...]) -> Evidence:
    results = tuple(
        BrewResult(brew=f"b{i}", arm=KEYS[arm], value=math.exp(v)) for i, (arm, v) in enumerate(zip(arms, values, strict=True))
    )
    return Evidence(kind=outcome("biomass"), results=results, arms=arms, values=values, layout=layout)


@pytest.mark.parametrize("higher", [True, False])
def test_arms_in_order_with_the_places_that_they_may_hold(higher: bool) -> None:
    # On paper: two arms lie within a tenth of each other and the third ten scatters above both.
    values = np.concatenate([FIRST, FIRST + 0.1, FIRST + 6.0])
    arms = (0,) * 4 + (1,) * 4 + (2,) * 4
    found = rank_arms(KEYS, evidence(lay_out(arms), values, arms), higher_is_better=higher, allowance=FULL)
    off = {"a": -6.1 / 3.0, "b": -5.8 / 3.0, "c": 11.9 / 3.0}
    assert {place.arm: place.against_average for place in found} == approx(off)
    assert [place.arm for place in found] == (["c", "b", "a"] if higher else ["a", "b", "c"])
    ends = {place.arm: (place.best_place, place.worst_place) for place in found}
    assert ends == ({"c": (1, 1), "a": (2, 3), "b": (2, 3)} if higher else {"c": (3, 3), "a": (1, 2), "b": (1, 2)})
    # Of the two alike the chance is that of their difference: 0.1 over root(2 x scatter / 4), on the degrees that are lent.
    best = {place.arm: place.probability_best for place in found}
    scatter = math.sqrt(FIRST.var(ddof=1) / 2.0)
    if higher:
        assert best == approx({"a": 0.0, "b": 0.0, "c": 1.0})
    else:
        assert best["a"] == approx(stats.t.cdf(0.1 / scatter, 9), abs=0.01) and best["c"] == 0.0


def test_arms_that_cannot_be_told_apart_have_no_order() -> None:
    # The third arm stands alone in its block; and three single brews leave no scatter.
    arms = (0, 1, 0, 1, 2, 2)
    layout = lay_out(arms, ["x", "x", "y", "y", "z", "z"])
    values = np.array([1.0, 2.0, 1.3, 2.1, 4.0, 4.2])
    assert rank_arms(KEYS, evidence(layout, values, arms), higher_is_better=True, allowance=FULL) == ()
    single = lay_out((0, 1, 2))
    assert rank_arms(KEYS, evidence(single, values[:3], (0, 1, 2)), higher_is_better=True, allowance=FULL) == ()
    # Three brews of the third arm on a day of its own: each arm's scatter is known, and the third against the others is not.
    apart = (0, 0, 0, 1, 1, 1, 2, 2, 2)
    layout = lay_out(apart, ["x"] * 6 + ["y"] * 3)
    values = np.concatenate([FIRST[:3], SECOND[:3], THIRD[:3]])
    assert rank_arms(KEYS, evidence(layout, values, apart), higher_is_better=True, allowance=FULL) == ()
