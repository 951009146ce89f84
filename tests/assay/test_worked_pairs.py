"""Worked numbers of two tests on the same samples: the line, its limits and what moves their ratio, each computed another way."""

from __future__ import annotations

import math

import numpy as np
from pytest import approx
from scipy import stats

from aerobe.assay import deming, limits_of_agreement, passing_bablok, phase_bias

FIRST = np.array([12.1, 25.7, 38.2, 55.9, 71.3, 90.4, 118.0, 140.2, 33.3, 61.7, 82.5])
SECOND = np.array([14.0, 24.9, 42.5, 61.8, 70.7, 101.3, 127.9, 149.0, 39.9, 66.1, 95.5])


def test_a_line_between_two_tests_is_the_main_axis_of_the_stretched_cloud() -> None:
    # Independent: with the second test divided by the root of the error ratio, Deming's line is the first principal axis (SVD);
    # the jackknife in a loop.
    def axis(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
        cloud = np.column_stack([x - x.mean(), (y - y.mean()) / math.sqrt(1.7)])
        right, up = np.linalg.svd(cloud)[2][0]
        slope = up / right * math.sqrt(1.7)
        return y.mean() - slope * x.mean(), slope

    whole = axis(FIRST, SECOND)
    left = np.array([axis(np.delete(FIRST, place), np.delete(SECOND, place)) for place in range(11)])
    sds = (11.0 * np.array(whole) - 10.0 * left).std(axis=0, ddof=1) / math.sqrt(11.0)
    found = deming(list(FIRST), list(SECOND), error_ratio=1.7, level=0.9)
    assert (found.intercept, found.slope, found.intercept_sd, found.slope_sd) == approx((*whole, *sds))
    assert found.slope_high == approx(whole[1] + stats.t.ppf(0.95, 9) * sds[1])
    assert found.intercept_low == approx(whole[0] - stats.t.ppf(0.95, 9) * sds[0])


def test_the_shifted_median_of_slopes_counted_one_by_one() -> None:
    # Independent: Passing and Bablok's (1983) procedure written out as a count, with one pair of samples out of order.
    second = SECOND.copy()
    second[[2, 3]] = 95.0, 20.0
    slopes = sorted((second[j] - second[i]) / (FIRST[j] - FIRST[i]) for i in range(11) for j in range(i) if FIRST[j] != FIRST[i])
    shift = sum(slope < -1.0 for slope in slopes)
    assert shift and len(slopes) == 55
    found = passing_bablok(list(FIRST), list(second), level=0.9)
    assert found.slope == slopes[27 + shift]
    reach = stats.norm.ppf(0.95) * math.sqrt(11.0 * 10.0 * 27.0 / 18.0)
    first = round((55.0 - reach) / 2.0)
    assert (found.slope_low, found.slope_high) == (slopes[first + shift - 1], slopes[55 - first + shift])
    assert found.intercept == approx(np.median(second - found.slope * FIRST))
    assert found.intercept_high == approx(np.median(second - found.slope_low * FIRST))


def test_the_trend_of_a_difference_is_a_regression() -> None:
    # Independent: scipy's linregress of the difference on the mean.
    found = limits_of_agreement(list(FIRST), list(SECOND), level=0.9)
    line = stats.linregress((FIRST + SECOND) / 2.0, FIRST - SECOND)
    assert (found.trend, found.trend_p) == approx((line.slope, line.pvalue))
    sd = (FIRST - SECOND).std(ddof=1)
    assert found.upper == approx((FIRST - SECOND).mean() + stats.norm.ppf(0.95) * sd)
    reach = stats.t.ppf(0.95, 10) * sd * math.sqrt(3.0 / 11.0)
    assert found.upper_interval == approx((found.upper - reach, found.upper + reach))


def test_food_and_phase_are_tested_each_last_in() -> None:
    # Independent: statsmodels' analysis of variance of the second type, unbalanced, and its interaction.
    import pandas as pd
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    foods = ["oats", "oats", "kelp", "kelp", "oats", "kelp", "oats", "kelp", "oats", "kelp", "kelp"]
    phases = ["early", "late", "early", "late", "late", "early", "early", "late", "mid", "mid", "mid"]
    found = phase_bias(list(FIRST), list(SECOND), foods, phases)
    table = anova_lm(
        ols("y ~ food * phase", pd.DataFrame({"y": np.log(FIRST / SECOND), "food": foods, "phase": phases})).fit(), typ=2
    )
    assert (found.phase_f, found.food_f, found.together_f) == approx(tuple(table["F"][["phase", "food", "food:phase"]]))
    assert (found.phase_p, found.food_p, found.together_p) == approx(tuple(table["PR(>F)"][["phase", "food", "food:phase"]]))
    assert found.residual_log_sd**2 * found.residual_df == approx(table["sum_sq"]["Residual"])
