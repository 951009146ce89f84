"""Numbers of the verdict, by a reference library or on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy import integrate, stats

from aerobe.records import Arm
from aerobe.verdicts import (
    boundary_levels,
    brews_needed,
    brews_needed_for_sameness,
    critical_values,
    fit_effects,
    is_estimable,
    joint_t,
    lay_out,
    pair_contrast,
    power_of_difference,
    power_of_sameness,
    spent_by,
)
from aerobe.verdicts._simultaneous import all_pairs


@pytest.mark.parametrize(("margin", "brews", "arms"), [(1.5, 8, 2), (2.0, 6, 3), (1.0, 30, 2)])
def test_power_of_sameness_is_the_integral_over_the_scatter(margin: float, brews: int, arms: int) -> None:
    # Independent computation of two one-sided tests (Schuirmann 1987): given the scatter s, the estimate, whose error is
    # root(2/n), must lie within margin - t s root(2/n).
    df = arms * (brews - 1)
    root, bound = math.sqrt(2.0 / brews), stats.t.ppf(0.95, df)

    def inside(s: float) -> float:
        room = (margin - bound * s * root) / root
        density = stats.chi2.pdf(df * s * s, df) * 2.0 * df * s
        return float(max(2.0 * stats.norm.cdf(room) - 1.0, 0.0) * density)

    exact = integrate.quad(inside, 0.0, 4.0, limit=200)[0]
    assert power_of_sameness(margin, brews, arms=arms) == approx(exact, abs=2e-3)


def test_brews_for_sameness_are_the_fewest_that_reach_the_power() -> None:
    found = brews_needed_for_sameness(0.5, 0.5)
    assert found is not None and power_of_sameness(1.0, found) >= 0.8 > power_of_sameness(1.0, found - 1)
    # Large-sample formula of the same test (Chow and others, Sample Size Calculations, 2nd edition 2008, section 3.2; from
    # memory):
    # 2 (z_0.95 + z_0.90)^2 / (margin/sd)^2 = 17.1, a little more with t.
    assert 17 <= found <= 19
    # Cohen 1988, Table 2.4.1 (from memory; R agrees, 25.52): d = 0.8 at 0.80 needs 26 an arm.
    assert brews_needed(1.0, 0.8) == 26 and power_of_difference(0.8, 26) == approx(0.8075, abs=2e-3)
    assert brews_needed(1.0, 0.0) is None and brews_needed_for_sameness(1.0, 0.0) is None


def test_the_spending_of_looks_has_its_printed_values() -> None:
    # Lan and DeMets 1983 (from memory), O'Brien-Fleming type, one-sided 0.025, halfway: 2 - 2 Phi(2.2414 / root 0.5) = 0.00153.
    assert spent_by(0.5, 0.025) == approx(0.00153, abs=2e-5)
    assert spent_by(1.0, 0.025) == approx(0.025) and spent_by(2.0, 0.025) == approx(0.025) and spent_by(0.0, 0.025) == 0.0
    assert spent_by(0.25, 0.05) == approx(2.0 * stats.norm.sf(1.959964 / 0.5), rel=1e-4)


def test_bounds_of_two_and_of_four_looks_are_the_printed_ones() -> None:
    # Jennison and Turnbull 2000, spending of O'Brien and Fleming's type, one-sided 0.025, even looks (from memory): 2.963, 1.969;
    # 4.333, 2.963, 2.359, 2.014.
    for looks, bounds in (((0.5, 1.0), (2.963, 1.969)), ((0.25, 0.5, 0.75, 1.0), (4.333, 2.963, 2.359, 2.014))):
        assert stats.norm.isf(boundary_levels(looks, 0.025)) == approx(bounds, abs=1e-3)


def test_families_with_a_scatter_each_lie_between_one_comparison_and_bonferroni() -> None:
    pairs = all_pairs(3)
    correlation = pairs @ pairs.T / 2.0
    found = critical_values(0.95, correlation, np.array([5.0, 20.0, 1e6]))
    # With scatter known, all pairs of three arms are the studentised range over root 2: 3.314 / 1.414 (Tukey's table, from
    # memory).
    assert found[2] == approx(3.314 / math.sqrt(2.0), rel=0.01)
    # Independent simulation of three comparisons that each have a scatter of their own on 5 degrees.
    rng = np.random.default_rng(5)
    z = rng.normal(size=(200000, 3)) @ pairs.T / math.sqrt(2.0)
    s = np.sqrt(rng.chisquare(5.0, (200000, 3)) / 5.0)
    assert found[0] == approx(np.quantile(np.abs(z / s).max(axis=1), 0.95), rel=0.02)
    # Far out Bonferroni's bound; one comparison the t table.
    assert critical_values(0.999, correlation, np.array([8.0]))[0] == approx(stats.t.ppf(1.0 - 0.0005 / 3.0, 8))
    assert critical_values(0.95, np.eye(1), np.array([8.0]))[0] == approx(stats.t.ppf(0.975, 8))


def test_joint_draws_have_their_margins_and_correlation() -> None:
    draws = joint_t(np.array([[1.0, 0.6], [0.6, 1.0]]), 7.0)
    assert np.quantile(draws[:, 0], [0.05, 0.5, 0.9]) == approx(stats.t.ppf([0.05, 0.5, 0.9], 7), abs=0.03)
    assert stats.spearmanr(draws[:, 0], draws[:, 1]).statistic == approx(0.57, abs=0.03)


def test_contrasts_and_what_can_be_estimated() -> None:
    arms = [Arm(key=key, recipe=key) for key in ("a", "b", "c")]
    assert pair_contrast(arms, "c", "a").weights == (-1.0, 0.0, 1.0)
    # Arm c stands alone in its block: it cannot be told from the block.
    layout = lay_out([0, 1, 0, 1, 2, 2], ["x", "x", "y", "y", "z", "z"])
    assert list(is_estimable(layout, np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]]))) == [True, False]


def test_an_effect_of_unequal_arms_has_the_textbook_error() -> None:
    # On paper: means 2 and 5 of 2 and 3 brews, pooled variance (2 + 8) / 3 = 3.333: s.e. root(3.333 (1/2 + 1/3)) = 1.667.
    found = fit_effects(np.array([1.0, 3.0, 3.0, 5.0, 7.0]), lay_out([0, 0, 1, 1, 1], ["r"] * 5), np.array([[-1.0, 1.0]]))
    assert float(found.mean()[0]) == approx(3.0)
    pooled = math.sqrt(10.0 / 3.0 * (1.0 / 2.0 + 1.0 / 3.0))
    welch = math.sqrt(2.0 / 2.0 + 4.0 / 3.0)
    assert min(abs(float(found.error[0]) - pooled), abs(float(found.error[0]) - welch)) < 1e-9
