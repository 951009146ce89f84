"""Numbers of comparisons: by scipy and statsmodels, by integrals, or on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.verdicts import (
    answer_dose_series,
    fit_effects,
    fit_rates,
    lay_out,
    share_of_later,
    share_of_side_question,
)
from aerobe.verdicts._core import widen
from aerobe.verdicts._dose import turning_point
from aerobe.verdicts._interim import FULL
from aerobe.verdicts._lending import Lending
from aerobe.verdicts._rates import enough_events

ROW = np.array([[-1.0, 1.0]])


def test_shares_of_an_allowance() -> None:
    # On paper: four fifths first, then 1/5 of 1/2, 1/6, 1/12; side questions 1/2, 1/6, 1/12, a tenth of it where the plan is
    # not told.
    half = FULL.shared(0.3)
    assert (half.difference, half.sameness) == approx((0.015, 0.015))
    assert [share_of_later(look) for look in (1, 2, 3, 4)] == approx([0.8, 0.1, 0.2 / 6.0, 0.2 / 12.0])
    assert [share_of_side_question(i, planned_is_told=True) for i in (1, 2, 3)] == approx([1 / 2, 1 / 6, 1 / 12])
    assert share_of_side_question(2, planned_is_told=False) == approx(0.1 / 6.0)


def test_two_arms_of_their_own_scatter_are_welch_s_comparison() -> None:
    # scipy's Welch test; six and seven brews, so that nothing is lent and no caution is due.
    a, b = np.array([1.0, 2.0, 1.5, 3.0, 2.2, 1.1]), np.array([2.0, 4.0, 9.0, 1.0, 6.0, 3.0, 5.0])
    found = fit_effects(np.concatenate([a, b]), lay_out([0] * 6 + [1] * 7), ROW)
    welch = stats.ttest_ind(b, a, equal_var=False)
    assert found.estimate[0] == approx(b.mean() - a.mean()) and found.df[0] == approx(welch.df)
    assert found.estimate[0] / found.error[0] == approx(welch.statistic)
    interval = welch.confidence_interval(0.90)
    assert (found.quantile(0.05)[0], found.quantile(0.95)[0]) == approx((interval.low, interval.high))
    assert 1.0 - found.probability_above(0.0)[0] == approx(welch.pvalue / 2.0)
    assert found.arm_variance == approx([a.var(ddof=1), b.var(ddof=1)]) and found.scatter_df == 11
    assert found.scatter == approx((5.0 * a.var(ddof=1) + 6.0 * b.var(ddof=1)) / 11.0)


def test_arms_side_by_side_are_the_paired_comparison() -> None:
    # scipy's paired t test.
    a, b = np.array([1.0, 2.0, 1.5, 3.0]), np.array([2.0, 4.5, 3.0, 3.5])
    y = np.stack([a, b], axis=1).ravel()
    found = fit_effects(y, lay_out([0, 1] * 4, [str(i // 2) for i in range(8)]), ROW)
    paired = stats.ttest_rel(b, a)
    assert (found.estimate[0] / found.error[0], found.df[0]) == approx((paired.statistic, 3.0))


@pytest.mark.parametrize(
    ("brews", "caution", "least"), [((3, 5), 0.5, 2.0), ((2, 5), 1.0, 1.0), ((2, 4), 0.5, 1.0), ((4, 6), 0.5, 3.0)]
)
def test_few_brews_beside_many_are_promised_less(brews: tuple[int, int], caution: float, least: float) -> None:
    # As told in the room: the geometric mean of Welch's degrees of freedom and, at most, those of the smallest arm; all of it for
    # two beside more than four.
    rng = np.random.default_rng(1)
    a, b = rng.normal(0.0, 1.0, brews[0]), rng.normal(0.0, 0.9, brews[1])
    welch = stats.ttest_ind(b, a, equal_var=False).df
    found = fit_effects(np.concatenate([a, b]), lay_out([0] * brews[0] + [1] * brews[1]), ROW)
    assert found.df[0] == approx(welch ** (1.0 - caution) * min(welch, least) ** caution)


def test_comparisons_with_one_standard_go_along_as_dunnett_says() -> None:
    # Dunnett 1955 (from memory): correlation root(n1 / (n0 + n1) x n2 / (n0 + n2)).
    counts = (6, 4, 3)
    arms = [arm for arm, count in enumerate(counts) for _ in range(count)]
    found = fit_effects(np.arange(13.0) ** 1.5, lay_out(arms), np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]]))
    assert found.correlation[0, 1] == approx(math.sqrt(4.0 / 10.0 * 3.0 / 9.0)) and np.diag(found.correlation) == approx(
        [1.0, 1.0]
    )


def test_a_known_part_widens_an_error_and_its_degrees_of_freedom() -> None:
    # Welch and Satterthwaite: (3^2 + 16) = 5^2; 4 degrees become 4 (25 / 9)^2.
    error, df = widen(np.array([3.0]), np.array([4.0]), np.array([16.0]))
    assert (error[0], df[0]) == approx((5.0, 4.0 * (25.0 / 9.0) ** 2))
    y, layout = np.array([1.0, 2.0, 1.5, 3.0, 2.2, 1.1, 2.0, 4.0, 9.0, 1.0, 6.0, 3.0]), lay_out([0] * 6 + [1] * 6)
    plain, wide = fit_effects(y, layout, ROW), fit_effects(y, layout, ROW, np.array([0.5]))
    assert wide.error[0] == approx(math.sqrt(plain.error[0] ** 2 + 0.5))


def test_days_and_vessels_together_take_the_wider_scatter() -> None:
    # A Latin square of three: two degrees of freedom, and the common scatter from the sum of squares that both leave
    # (statsmodels).
    sm = pytest.importorskip("statsmodels.api")
    arms = [0, 1, 2, 1, 2, 0, 2, 0, 1]
    days, vessels = [str(i // 3) for i in range(9)], [str(i % 3) for i in range(9)]
    y = np.array([5.0, 7.0, 6.5, 8.0, 7.2, 6.1, 9.0, 6.0, 8.8])
    layout = lay_out(arms, days, vessels)
    fit = sm.OLS(y, layout.matrix).fit()
    found = fit_effects(y, layout, np.array([[-1.0, 1.0, 0.0]]))
    assert found.estimate[0] == approx(fit.params[1] - fit.params[0]) and found.df[0] == 2.0 == fit.df_resid
    cov = fit.cov_params()
    assert found.error[0] >= math.sqrt(cov[0, 0] + cov[1, 1] - 2.0 * cov[0, 1]) * (1.0 - 1e-9)
    assert found.scatter == approx(fit.mse_resid)


@pytest.mark.parametrize(
    ("counts", "blocked", "two", "several"),
    [
        ((4, 4), False, True, False),
        ((3, 3), False, False, False),
        ((4, 5), False, False, False),
        ((4, 4), True, False, False),
        ((3, 3, 3), False, False, True),
        ((2, 3, 3), False, False, False),
        ((3, 3, 3), True, False, False),
        ((3, 3, 3, 3), True, False, True),
        ((3, 6, 6), False, False, True),
        ((3, 7, 6), False, False, False),
    ],
)
def test_which_arms_may_lend(counts: tuple[int, ...], blocked: bool, two: bool, several: bool) -> None:
    lending = Lending(counts=np.array(counts, float), blocked=blocked, df=max(sum(counts) - len(counts), 1))
    assert (bool(lending.between_two), lending.between_several) == (two, several)


def test_what_is_lent_on_paper() -> None:
    # Two arms of five: Welch's degrees over 1.4 x 4 take the common eight, others stay.
    two = Lending(counts=np.array([5.0, 5.0]), blocked=False, df=8)
    variance, df = two.lend(np.array([1.0, 1.0]), np.array([5.7, 5.5]), np.array([1.0, 1.0]), np.array([1.0, 1.0]))
    assert list(df) == [8.0, 5.5] and list(variance) == [1.0, 1.0]
    # Three arms of five: the wider of own and common; where own is at most 1.2 of common, 12^0.75 x 4^0.25 degrees.
    three = Lending(counts=np.full(3, 5.0), blocked=False, df=12)
    variance, df = three.lend(np.array([0.5, 1.19, 1.21]), np.full(3, 4.0), np.full(3, 1.0), np.full(3, 1.0))
    assert variance == approx([1.0, 1.19, 1.21]) and df == approx([12.0**0.75 * 4.0**0.25] * 2 + [4.0])
    # Three brews an arm: only up to the common variance; in blocks by the square root.
    few = Lending(counts=np.full(4, 3.0), blocked=False, df=8)
    _, df = few.lend(np.array([0.99, 1.01]), np.full(2, 4.0), np.full(4, 1.0), np.full(2, 1.0))
    assert df == approx([8.0**0.75 * 4.0**0.25, 4.0])
    blocks = Lending(counts=np.full(4, 3.0), blocked=True, df=6)
    _, df = blocks.lend(np.array([0.99]), np.array([4.0]), np.full(4, 1.0), np.array([1.0]))
    assert df == approx([math.sqrt(6.0 * 4.0)])
    # The edge is 1.2 times the common variance, whatever that is; where that is the wider it is taken.
    edge = Lending(counts=np.full(3, 5.0), blocked=False, df=12)
    variance, df = edge.lend(np.array([0.5, 0.61, 3.7]), np.full(3, 4.0), np.full(3, 1.0), np.array([0.5, 0.5, 9.0]))
    assert variance == approx([0.5, 0.61, 9.0]) and df == approx([12.0**0.75 * 4.0**0.25, 4.0, 12.0**0.75 * 4.0**0.25])
    # An arm stands out beyond the F of its degrees over those of the others (scipy), shared among the arms: then nothing is lent.
    bound = stats.f.ppf(1.0 - 0.05 / 3.0, 4, 8)
    for arm, lent in ((0.99 * bound, True), (1.01 * bound, False)):
        variance, _ = three.lend(np.array([0.5]), np.array([4.0]), np.array([arm, 1.5, 0.5]), np.array([1.0]))
        assert bool(variance[0] == 1.0) is lent


def test_rates_of_counts_on_paper() -> None:
    # On paper: 4, 6, 8 of one each: rate 6, between pots 8 x 3 / 2 / 9 = 1.333 of the mean's square, chance 18.5 / 9 = 2.06, the
    # larger; over 36. The other arm 20, 5, 35: rate 20, 450 x 3 / 2 / 9 = 75, over 400.
    counts, layout = np.array([4.0, 6.0, 8.0, 20.0, 5.0, 35.0]), lay_out([0, 0, 0, 1, 1, 1])
    found = fit_rates(counts, np.ones(6), layout, ROW, is_share=False)
    first, second = 18.5 / 9.0 / 36.0, 75.0 / 400.0
    assert found.estimate[0] == approx(math.log(20.0 / 6.0)) and found.error[0] == approx(math.sqrt(first + second))
    assert found.df[0] == approx((first + second) ** 2 / (first**2 / 2.0 + second**2 / 2.0)) and bool(found.known[0])
    assert found.arm_variance == approx([3.0 * first, 3.0 * second])
    # Shares: chance is events (1 - rate) over the square of all that were at risk: 9.5 x 0.85 / 60^2.
    shares = fit_rates(np.array([3.0, 3.0, 3.0, 12.0, 12.0, 12.0]), np.full(6, 20.0), layout, ROW, is_share=True)
    assert shares.error[0] == approx(math.sqrt(9.5 * 0.85 / 3600.0 / 0.15**2 + 36.5 * 0.4 / 3600.0 / 0.6**2))
    assert not fit_rates(np.array([9.0, 9.0, 9.0]), np.ones(3), lay_out([0, 0, 1]), ROW, is_share=False).known[0]
    # Five events are enough, and for shares five of the rest.
    assert list(enough_events(layout, ROW, np.array([1.0, 2, 2, 4, 4, 4]), np.full(6, 9.0), is_share=False)) == [True]
    assert list(enough_events(layout, ROW, np.array([1.0, 2, 1, 4, 4, 4]), np.full(6, 9.0), is_share=False)) == [False]
    assert list(enough_events(layout, ROW, np.array([8.0, 8, 7, 4, 4, 4]), np.full(6, 9.0), is_share=True)) == [False]


def test_a_blocked_share_is_the_log_binomial_model_of_statsmodels() -> None:
    sm = pytest.importorskip("statsmodels.api")
    affected = np.array([2, 6, 3, 9, 5, 11, 1, 5.0])
    among = np.array([20, 20, 22, 21, 20, 24, 18, 20.0])
    layout = lay_out([0, 1] * 4, [str(i // 4) for i in range(8)])
    family = sm.families.Binomial(link=sm.families.links.Log())
    fit = sm.GLM(np.column_stack([affected, among - affected]), layout.matrix, family=family).fit(start_params=[-2.0, -1.0, 0.0])
    found = fit_rates(affected, among, layout, ROW, is_share=True)
    cov = fit.cov_params()
    spread = max(1.0, fit.pearson_chi2 / fit.df_resid) * (cov[0, 0] + cov[1, 1] - 2.0 * cov[0, 1])
    assert found.estimate[0] == approx(fit.params[1] - fit.params[0], abs=1e-6) and found.error[0] == approx(
        math.sqrt(spread), rel=1e-4
    )
    assert found.df[0] == fit.df_resid == 5.0


def test_a_dose_curve_is_the_parabola_of_statsmodels() -> None:
    sm = pytest.importorskip("statsmodels.api")
    doses = np.repeat([0.0, 1.0, 4.0, 9.0], 3)
    y = np.array([1.0, 1.3, 0.8, 2.1, 2.4, 2.2, 2.6, 2.5, 2.9, 1.4, 1.2, 1.6])
    found = answer_dose_series(doses, y, level=0.90)
    u = (np.sqrt(doses) - 1.5) / 1.5
    fit = sm.OLS(y, np.column_stack([np.ones(12), u, u**2])).fit()
    grid = np.linspace(-1.0, 1.0, 61)
    shown = fit.get_prediction(np.column_stack([np.ones(61), grid, grid**2])).summary_frame(alpha=0.10)
    assert found.fitted == approx(shown["mean"].tolist()) and found.doses == approx(((1.5 + 1.5 * grid) ** 2).tolist())
    assert found.low == approx(shown["mean_ci_lower"].tolist()) and found.high == approx(shown["mean_ci_upper"].tolist())
    means = sm.OLS(y, np.equal.outer(doses, [0.0, 1.0, 4.0, 9.0]).astype(float)).fit()
    assert found.misfit_p == approx(means.compare_f_test(fit)[1])
    assert found.kind == "peak" and found.best == approx((1.5 - 1.5 * fit.params[1] / (2.0 * fit.params[2])) ** 2)
    ends = turning_point(fit.params[1], fit.params[2], fit.cov_params()[1:, 1:], float(stats.t.ppf(0.95, 9)))
    assert ends is not None and (found.best_low, found.best_high) == approx([(1.5 + 1.5 * end) ** 2 for end in ends])
    # Blocks are taken out, and the curve is told for the middle of them.
    blocks = ["a", "b", "c"] * 4
    moved = answer_dose_series(doses, y + np.tile([0.0, 1.0, 5.0], 4), blocks)
    assert moved.fitted == approx((np.array(found.fitted) + 2.0).tolist(), abs=0.1) and moved.kind == "peak"


def test_a_turning_point_has_fieller_s_interval() -> None:
    # Fieller 1954: x is in the set where (slope + 2 bend x)^2 = t^2 (v11 + 4 x v12 + 4 x^2 v22).
    cov = np.array([[0.04, 0.01], [0.01, 0.09]])
    ends = turning_point(1.0, -2.0, cov, 2.0)
    assert ends is not None
    for x in ends:
        assert (1.0 - 4.0 * x) ** 2 == approx(4.0 * (0.04 + 4.0 * x * 0.01 + 4.0 * x * x * 0.09))
    assert ends[0] < 0.25 < ends[1] and turning_point(1.0, -0.5, cov, 2.0) is None
