"""A scatter that grows with the level (Rocke and Lorenzato 1995): by scipy, or on paper."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import optimize, stats

from aerobe.assay import Study, StudyReading, fit_two_component, fit_variances
from aerobe.assay._characterise import _outliers, _precision
from aerobe.assay._scale import Notes
from aerobe.assay._two_component import _moments
from aerobe.errors import NotEnoughData, UnusableReading

MEANS, DF = np.array([0.0, 10.0, 40.0, 90.0]), np.array([2.0, 5.0, 3.0, 4.0])


def triple(mean: float, variance: float) -> list[float]:
    return [mean - math.sqrt(variance), mean, mean + math.sqrt(variance)]


def test_a_scatter_that_does_not_grow_is_pooled() -> None:
    # On paper: pooled by degrees of freedom, and the likelihood of one variance, -n/2 (log s^2 + 1).
    variances = np.array([7.0, 5.0, 4.0, 2.0])
    pooled = float((DF * variances).sum() / 14.0)
    constant, squared_cv, height = fit_variances(MEANS, variances, DF)
    assert (constant, squared_cv, height) == approx((pooled, 0.0, -7.0 * (math.log(pooled) + 1.0)))
    assert squared_cv == 0.0


def test_a_scatter_in_proportion_has_no_constant_part() -> None:
    # On paper: the mean of the squared ratios by degrees of freedom; a group below the background counts as at nought.
    means, shares = MEANS[1:], np.array([0.008, 0.0102, 0.011])
    constant, squared_cv, height = fit_variances(means, shares * means**2, DF[1:])
    share = float((DF[1:] * shares).sum() / 12.0)
    assert constant == 0.0 and squared_cv == approx(share)
    assert height == approx(-6.0 * (math.log(share) + 1.0) - float((DF[1:] * np.log(means)).sum()))
    with_blank = np.array([0.3, *(shares * means**2)])
    below, at = (fit_variances(np.array([blank, *means]), with_blank, DF) for blank in (-20.0, 0.0))
    assert [float(item) for item in below] == [float(item) for item in at] and below[0] > 0.1


def test_each_of_many_studies_has_its_own_answer() -> None:
    variances = np.array([[1.0, 3.0, 17.0, 70.0], [4.0, 2.0, 9.0, 16.0]])
    together = fit_variances(np.array([MEANS, MEANS + 5.0]), variances, np.array([DF, DF + 1.0]))
    for i, (means, df) in enumerate(((MEANS, DF), (MEANS + 5.0, DF + 1.0))):
        assert [item[i] for item in together] == approx([float(item) for item in fit_variances(means, variances[i], df)])


def test_at_one_level_the_parts_share_the_interval_of_one_variance() -> None:
    # scipy's roots: n (m / v - 1 - log(m / v)) has risen by the quantile of chi-square; either part may be all of it, or none.
    groups = [triple(20.0, 9.0), triple(20.0, 4.0), triple(20.0, 2.0), triple(20.0, 5.0)]
    for level in (0.5, 0.9):
        found = fit_two_component(groups, level=level)
        highest = optimize.brentq(
            lambda v, level=level: 8.0 * (5.0 / v - 1.0 - math.log(5.0 / v)) - stats.chi2.ppf(level, 1), 5.0, 500.0
        )
        assert (found.constant_low, found.proportional_low) == (0.0, 0.0)
        assert (found.constant_high, found.proportional_high) == approx((math.sqrt(highest), math.sqrt(highest) / 20.0), rel=1e-6)
        assert found.constant_sd**2 + (20.0 * found.proportional_cv) ** 2 == approx(5.0) and found.df == 8
        assert found.log_likelihood == approx(-4.0 * (math.log(5.0) + 1.0)) and found.level == level


def test_both_parts_and_their_ends_are_those_of_a_search_over_the_other() -> None:
    # scipy's minimisers and roots, on a plain likelihood; the background is taken off the levels.
    groups = [triple(8.0, 1.2), triple(15.0, 2.0), triple(60.0, 30.0), triple(110.0, 140.0), triple(300.0, 600.0)]
    found = fit_two_component(groups, background=5.0, level=0.8)
    x, variances = np.array([3.0, 10.0, 55.0, 105.0, 295.0]) ** 2, np.array([1.2, 2.0, 30.0, 140.0, 600.0])

    def deviance(a: float, b: float) -> float:
        return float(2.0 * (np.log(a + b * x) + variances / (a + b * x)).sum())

    best = optimize.minimize(lambda p: deviance(*np.exp(p)), [0.0, -4.0], method="Nelder-Mead", options={"xatol": 1e-9})
    assert (found.constant_sd, found.proportional_cv) == approx(tuple(np.exp(best.x / 2.0)), rel=1e-5)
    rise = best.fun + stats.chi2.ppf(0.8, 1)

    def of_constant(sd: float) -> float:
        return float(optimize.minimize_scalar(lambda p: deviance(sd**2, math.exp(p)), (-8.0, -3.0)).fun) - rise

    def of_share(cv: float) -> float:
        return float(optimize.minimize_scalar(lambda p: deviance(math.exp(p), cv**2), (-2.0, 3.0)).fun) - rise

    for gap, at, ends in (
        (of_constant, found.constant_sd, (found.constant_low, found.constant_high)),
        (of_share, found.proportional_cv, (found.proportional_low, found.proportional_high)),
    ):
        roots = optimize.brentq(gap, 0.2 * at, at), optimize.brentq(gap, at, 5.0 * at)
        assert ends == approx(roots, rel=1e-5)


def test_the_unit_of_the_readings_changes_the_constant_part_alone() -> None:
    groups = [[5.0] * 4, [7.0, 8.5, 8.0], [60.0, 66.0, 61.5, 63.0], [20.0, 20.0, 20.5]]
    plain = fit_two_component(groups, background=5.0)
    for unit in (1e-3, 1e4):
        found = fit_two_component([[unit * value for value in group] for group in groups], background=5.0 * unit)
        shares = (found.proportional_low, found.proportional_cv, found.proportional_high)
        assert shares == approx((plain.proportional_low, plain.proportional_cv, plain.proportional_high), rel=1e-5)
        sizes = (found.constant_low, found.constant_sd, found.constant_high)
        assert sizes == approx((unit * plain.constant_low, unit * plain.constant_sd, unit * plain.constant_high), rel=1e-5)


def test_blanks_that_read_alike_hide_only_what_the_scale_hides() -> None:
    # Sheppard: a step of 0.5 hides a variance of 0.5^2 / 12; without it the likelihood would be boundless at no scatter at
    # nought, and all of the scatter would be put to the proportional part.
    groups = [[5.0] * 4, [7.0, 8.5, 8.0], [60.0, 66.0, 61.5, 63.0], [20.0, 20.0, 20.0]]
    found = fit_two_component(groups, background=5.0)
    means = np.array([0.0, np.mean(groups[1]) - 5.0, np.mean(groups[2]) - 5.0, 15.0])
    variances = np.array([0.25 / 12.0, np.var(groups[1], ddof=1), np.var(groups[2], ddof=1), 0.25 / 12.0])
    a, b, height = fit_variances(means, variances, np.array([3.0, 2.0, 3.0, 2.0]))
    assert (found.constant_sd, found.proportional_cv) == approx((math.sqrt(a), math.sqrt(b)))
    assert found.log_likelihood == approx(float(height)) and found.constant_low > 0.0
    # A scatter of a tenth, and of one at nought, is found again from blanks to whole numbers that read 5 by chance.
    rng = np.random.default_rng(3)
    drawn = [[5.0] * 4, *([*np.round(5.0 + mean + np.hypot(1.0, 0.1 * mean) * rng.normal(size=8))] for mean in (2, 9, 50, 200))]
    assert fit_two_component(drawn, background=5.0).proportional_cv == approx(0.1, abs=0.03)


def test_a_group_with_some_below_the_scale_scatters_as_its_likelihood_says() -> None:
    # scipy's fit of a normal law to censored data; its variance with n - 1, its degrees of freedom of those that were read.
    seen, below = np.array([4.0, 5.5, 7.0, 4.0, 9.1]), np.array([False, False, False, True, False])
    mean, sd = stats.norm.fit(stats.CensoredData(uncensored=seen[~below], left=seen[below]))
    assert _moments(seen, below) == approx((mean, sd**2 * 5.0 / 4.0, 3.0), rel=1e-3)
    assert _moments(seen, below & False) == approx((seen.mean(), seen.var(ddof=1), 4.0))
    # Two alike and one below the same mark: all that is hidden is hidden by the scale.
    assert _moments(np.array([6.0, 5.0, 5.0]), np.array([True, False, False])) == (5.0, 0.0, 1.0)


def test_what_shows_no_growth_is_refused_in_words() -> None:
    strong, weak = triple(30.0, 4.0), triple(4.0, 1.0)
    assert fit_two_component([strong, weak]).df == 4
    for few in ([strong], [strong, [1.0, 2.0]], [strong, [7.0], [8.0]]):
        with pytest.raises(NotEnoughData, match="Too few repeated"):
            fit_two_component(few)
    # One read and one below the scale are no pair: two read are needed.
    marks = [[False] * 3, [False] * 3, [True, False]]
    assert fit_two_component([strong, weak, [4.0, 9.0]], below=marks).df == 4
    with pytest.raises(NotEnoughData, match="reads above the background"):
        fit_two_component([strong, weak], background=30.0)
    with pytest.raises(NotEnoughData, match="hidden by rounding"):
        fit_two_component([[5.0, 5.0, 5.0], [9.0, 9.0, 9.0]])
    with pytest.raises(UnusableReading, match="confidence"):
        fit_two_component([strong, weak], level=90.0)


@pytest.mark.parametrize("factor", ["day", "sample", "operator", "kit_lot"])
def test_what_days_and_samples_add_is_in_the_scatter_of_one_test(factor: str) -> None:
    # On paper, of logs above the background: squares between three days and within them, their difference over the four of a day;
    # people and kit lots are told beside it. Readings within three constant scatters of the background do not count.
    rng = np.random.default_rng(8)
    logs = np.log(400.0) + np.repeat([0.0, 0.35, -0.3], 4) + 0.05 * rng.normal(size=12)
    scatter = fit_two_component([triple(20.0, 9.0), triple(300.0, 900.0)], background=20.0)
    strong = [
        replace(StudyReading(role="sample", signal=20.0 + math.exp(log), unit="x", what="tea"), **{factor: str(i // 4)})  # type: ignore[arg-type]
        for i, log in enumerate(logs)
    ]
    near = 20.0 + 2.9 * scatter.constant_sd
    weak = [replace(strong[0], signal=near, **{factor: str(i)}) for i in (0, 1, 2)]  # type: ignore[arg-type]
    study, notes = Study(name="s", method="m", readings=(*strong, *weak)), Notes([])
    found = _precision(study, scatter, 20.0, 0.9, notes)
    groups = logs.reshape(3, 4)
    added = 4.0 * np.var(groups.mean(axis=1), ddof=1) - np.mean(np.var(groups, axis=1, ddof=1))
    share = math.sqrt(added / 4.0)
    told = {"day": found.day_cv, "sample": found.sample_cv, "operator": found.operator_log_sd, "kit_lot": found.lot_log_sd}
    assert told == approx({name: share if name == factor else 0.0 for name in told}, rel=1e-4)
    counts = share if factor in ("day", "sample") else 0.0
    assert found.single_cv == approx(math.hypot(scatter.proportional_cv, counts), rel=1e-4)
    assert sum(words.startswith("Share of the") for words in notes.missing) == 3
    # Four strong readings are enough for a try, three are not.
    for count, told_few in ((4, False), (3, True)):
        few = Notes([])
        _precision(Study(name="s", method="m", readings=tuple(strong[:count])), scatter, 20.0, 0.9, few)
        assert any("too few readings well above" in words for words in few.missing) is told_few


def test_odd_readings_are_looked_for_among_three_and_odd_groups_by_their_relative_scatter() -> None:
    def group(what: str, role: str, *signals: float) -> tuple[tuple[object, ...], list[StudyReading]]:
        key = (role, what, 1.0, 0.0, 0.0, "", "", "", "")
        return key, [StudyReading(role=role, signal=signal, unit="x", what=what) for signal in signals]

    found = _outliers(dict([group("tea", "sample", 10.0, 11.0, 12.0), group("slurry", "sample", 100.0, 120.0)]))
    assert [item.test.split()[0] for item in found] == ["Grubbs", "Cochran"]
    # On paper: Cochran's share is the largest variance of the relative readings over their sum.
    first, second = np.var(np.array([10.0, 11.0, 12.0]) / 11.0, ddof=1), np.var(np.array([100.0, 120.0]) / 110.0, ddof=1)
    assert found[1].statistic == approx(second / (first + second))
    assert len(_outliers(dict([group("tea", "sample", 10.0, 11.0), group("slurry", "killed control", 100.0, 120.0)]))) == 0
    assert len(_outliers(dict([group("tea", "sample", 10.0, 10.0, 10.0), group("slurry", "sample", 9.0, 9.0)]))) == 0
