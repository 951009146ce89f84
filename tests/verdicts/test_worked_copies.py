"""Numbers behind copies, sets and a drift: edges found by scipy and statsmodels, or counted by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from pytest import approx
from scipy import optimize, stats

from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, judge, lay_out
from aerobe.verdicts._copies import (
    _bound,
    _Days,
    _differ_by_one_number,
    _follows,
    _same_sizes,
)
from aerobe.verdicts._drift import _chance, take_out_drift
from aerobe.verdicts._entered_again import in_sets

CHANCE, ONE_IN_1000 = 0.01, 0.001  # of honest trials: held by likeness of sizes, and in each of the other ways
FIRST = np.array([0.1, 0.9, 0.4, 1.6, 0.7])


@pytest.mark.parametrize("count", [4, 5])
def test_arms_follow_each_other_by_the_test_of_a_correlation(count: int) -> None:
    """The noise at which scipy's correlation is just as unlikely as allowed parts those that are told from those that are not."""
    own, noise = FIRST[:count], np.array([0.3, -0.5, 0.2, 0.4, -0.6])[:count]

    def beyond(share: float) -> float:
        return float(stats.pearsonr(own, own + share * noise).pvalue) * 2 - ONE_IN_1000

    edge = optimize.brentq(beyond, 1e-6, 1.0)
    assert _follows(own, own + 0.98 * edge * noise, 0.0, 2) and not _follows(own, own + 1.02 * edge * noise, 0.0, 2)
    assert not _follows(own[:3], own[:3], 0.0, 2)


def test_the_bound_of_alike_sizes_is_shared_by_all_that_is_tried() -> None:
    """All five brews are one way, four of five against four of five are 25 (counted by hand)."""
    own = np.sort(FIRST)
    for other, count, ways in ((own, 5, 1), (np.append(own[:4], 9.0), 4, 25)):
        pattern = np.array([1.0, -1.0, -1.0, 1.0, 0.0])[: len(other)]
        for scale, told in ((0.6, True), (1.7, False)):
            scatter = math.sqrt(0.5 * (np.var(own[:count], ddof=1) + np.var(other[:count], ddof=1)))
            shake = pattern / pattern[:count].std(ddof=1) * scale * _bound(count, CHANCE / (3 * ways)) * scatter
            assert (_same_sizes(own, other + 2.0 + shake, 0.0, 3) is not None) is told


def test_days_follow_where_their_differences_are_far_too_alike() -> None:
    """The lower tail of chi-squared, of scipy: two pairs of arms tried."""
    first, pattern = np.array([0.0, 1.0, 2.2, 3.1, 4.5]), np.array([1.0, -1.0, 1.0, -1.0, 0.0])

    def chance(share: float) -> float:
        second = first + share * pattern
        scatter = math.sqrt(0.5 * (first.var(ddof=1) + second.var(ddof=1)))
        return float(stats.chi2.cdf(4 * ((second - first).std(ddof=1) / (0.1 * scatter)) ** 2, 4)) * 2 - ONE_IN_1000

    edge = optimize.brentq(chance, 1e-6, 0.5)
    assert _differ_by_one_number(_Days(first, first + 0.99 * edge * pattern, 1.0), 0.0, 2, 0.0)
    assert not _differ_by_one_number(_Days(first, first + 1.01 * edge * pattern, 1.0), 0.0, 2, 0.0)


def test_the_step_of_the_scale_counts_in_the_scatter_within_sets() -> None:
    """A step adds its square over twelve for each degree of freedom (Sheppard): by the F test of scipy, two arms in twos."""
    values = np.array([0.0, 0.02, 1.0, 1.03, 0.5, 0.49, 0.2, 0.22, 1.3, 1.28, 0.7, 0.73])
    layout = lay_out([0] * 6 + [1] * 6)
    rows = values.reshape(6, 2)
    within = float(((rows - rows.mean(axis=1, keepdims=True)) ** 2).sum())
    assert in_sets(values, layout, 0.001) == (0, 1)

    def told(step: float) -> bool:
        return in_sets(values, layout, step) is not None

    edge = optimize.brentq(lambda step: told(step) - 0.5, 0.001, 3.0, xtol=1e-6)
    ways = []  # each arm in twos, in threes, in a second round; and both arms together
    for group in (slice(0, 3), slice(3, 6), slice(0, 6)):
        own = rows[group]
        arms = [own] if len(own) == 3 else [own[:3], own[3:]]
        between = 2.0 * sum(float(((arm.mean(axis=1) - arm.mean()) ** 2).sum()) for arm in arms)
        inside = float(((own - own.mean(axis=1, keepdims=True)) ** 2).sum()) + len(own) * edge**2 / 12.0
        free, groups = len(own), len(own) - len(arms)
        ways.append(float(stats.f.sf(between / groups / (inside / free), groups, free)))
    assert within < edge**2 and min(ways) * 9 == approx(ONE_IN_1000, rel=0.01)


def test_a_drift_is_seen_by_the_t_test_of_its_slope_beside_the_arms() -> None:
    rng = np.random.default_rng(4)
    arms, along = [0, 0, 1, 0, 1, 1, 0, 1, 1], np.linspace(-1.5, 1.5, 9)
    values = 0.3 * rng.normal(size=9) + 0.2 * along + 0.5 * np.array(arms)
    layout = lay_out(arms)
    fit = sm.OLS(values, np.column_stack([layout.matrix, along])).fit()
    assert _chance(layout, along, values) == approx(float(fit.pvalues[2]), rel=1e-9)
    steep = values + 0.8 * along
    assert _chance(layout, along, steep) < 0.1
    results = [BrewResult(brew=f"b{i}", arm=f"r{arm}", value=1.0, began_h=300.0 * i) for i, arm in enumerate(arms)]
    found, said = take_out_drift(layout, np.array([[-1.0, 1.0]]), results, steep)
    assert said is not None and found.df == layout.df - 1


def test_a_pair_that_nobody_planned_may_claim_more_where_the_planned_question_is_told() -> None:
    """A fixed sequence: fish lies as far from kelp both times, and is told only beside a plan that told something."""
    arms = tuple(Arm(key=key, recipe=key, is_standard=key == "plain") for key in ("plain", "kelp", "fish"))
    trial = Trial(key="t", name="t", question="several against a standard", arms=arms)

    def calls(apart: float) -> list[str]:
        logs = {"plain": (0.0, 1.31, 0.47, 0.92), "kelp": (0.21 + apart, 0.55 + apart, 0.3 + apart, 0.03 + apart)}
        logs["fish"] = (1.35 + apart, 1.11 + apart, 1.64 + apart, 1.48 + apart)
        rows = [
            BrewResult(brew=f"{arm}{i}", arm=arm, value=math.exp(value))
            for arm, own in logs.items()
            for i, value in enumerate(own)
        ]
        return [item.call for item in judge(trial, rows, also=[("fish", "kelp")], extent="comparisons").comparisons]

    assert calls(0.0) == ["can't tell yet"] * 3
    assert calls(4.0) == ["better"] * 3
