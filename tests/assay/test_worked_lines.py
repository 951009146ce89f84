"""Lines of calibration and of two series, groups side by side, and what a study uses: by scipy and statsmodels, or in loops."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.assay import (
    calibrate,
    censored_mean,
    components,
    fit_two_component,
    invented_study,
    mandel,
    most_probable_number,
    parallelism,
    passing_bablok,
)
from aerobe.assay._characterise import _colour
from aerobe.assay._propagation import _second_order
from aerobe.assay._scale import Notes
from aerobe.assay._two_component import fit_variances
from aerobe.errors import NotEnoughData

X = np.array([0.0, 1.0, 2.0, 4.0, 6.0, 8.0])
Y = np.array([1.1, 2.0, 3.4, 5.2, 7.7, 9.4])


def test_where_a_line_meets_nought_carries_the_errors_of_its_coefficients() -> None:
    # statsmodels' covariance of both coefficients through the slopes of a / b (delta method).
    sm = pytest.importorskip("statsmodels.api")
    fit = sm.OLS(Y, sm.add_constant(X)).fit()
    (a, b), cov = fit.params, fit.cov_params()
    line = calibrate(X, Y)
    level, error = line.level_at_zero_signal()
    gradient = np.array([1.0 / b, -a / b**2])
    assert level == approx(a / b) and error == approx(math.sqrt(gradient @ cov @ gradient))


def test_mandel_s_limits_are_those_of_the_beta_law() -> None:
    # scipy: h^2 p / (p - 1)^2 is a beta of 1/2 and (p - 2) / 2; k^2 / p one of (n - 1) / 2 and (p - 1)(n - 1) / 2.
    rng = np.random.default_rng(5)
    groups = {name: list(rng.normal(10.0, 1.0, 3)) for name in "abcde"}
    found, p, n = mandel(groups), 5, 3
    for alpha, h, k in zip((0.05, 0.01), found.h_critical, found.k_critical, strict=True):
        assert h == approx((p - 1) / math.sqrt(p) * math.sqrt(stats.beta.ppf(1.0 - alpha, 0.5, (p - 2) / 2)))
        assert k == approx(math.sqrt(p * stats.beta.ppf(1.0 - alpha, (n - 1) / 2, (p - 1) * (n - 1) / 2)))
    means = np.array([np.mean(group) for group in groups.values()])
    sds = np.array([np.std(group, ddof=1) for group in groups.values()])
    assert found.h == approx(list((means - means.mean()) / means.std(ddof=1)))
    assert found.k == approx(list(sds / math.sqrt(np.mean(sds**2))))
    # Two in each of three groups are enough; one in any, or two groups, are not.
    two = {"a": [1.0, 2.0], "b": [2.0, 2.5], "c": [5.0, 3.0]}
    assert len(mandel(two).h) == 3
    for few in ({"a": [1.0, 2.0], "b": [2.0, 2.5]}, two | {"d": [1.0]}):
        with pytest.raises(NotEnoughData):
            mandel(few)
    # Groups of their own size: pooled by their degrees of freedom, and limits for the mean number.
    uneven = mandel({"a": [1.0, 2.0, 4.0], "b": [2.0, 2.5], "c": [5.0, 3.0, 4.5]})
    squares = [np.var([1.0, 2.0, 4.0], ddof=1), np.var([2.0, 2.5], ddof=1), np.var([5.0, 3.0, 4.5], ddof=1)]
    pooled = (2.0 * squares[0] + squares[1] + 2.0 * squares[2]) / 5.0
    assert uneven.k == approx(list(np.sqrt(np.array(squares) / pooled)))


def test_two_series_are_parallel_by_the_ratio_of_their_slopes() -> None:
    # statsmodels' regression of logs with an intercept and a slope each; the log of the ratio by both errors, on its t.
    sm = pytest.importorskip("statsmodels.api")
    tea = [(1.0, 60.0), (0.5, 33.0), (0.25, 16.0), (0.125, 9.5)]
    standard = [(1.0, 95.0), (0.5, 47.0), (0.25, 26.0), (0.125, 12.0)]
    found = parallelism(tea, standard, level=0.90)
    is_tea = np.repeat([1.0, 0.0], 4)
    x, y = np.log([point[0] for point in (*tea, *standard)]), np.log([point[1] for point in (*tea, *standard)])
    fit = sm.OLS(y, np.column_stack([is_tea, 1.0 - is_tea, is_tea * x, (1.0 - is_tea) * x])).fit()
    ratio = fit.params[2] / fit.params[3]
    reach = stats.t.ppf(0.95, 4) * math.hypot(fit.bse[2] / fit.params[2], fit.bse[3] / fit.params[3])
    assert (found.slope_ratio, found.low, found.high) == approx((ratio, ratio * math.exp(-reach), ratio * math.exp(reach)))
    assert len(parallelism(tea[:2], standard[:3]).says) > 0
    for few in ((tea[:1], standard), (tea, standard[:1])):
        with pytest.raises(NotEnoughData):
            parallelism(*few)


@pytest.mark.parametrize("count", [9, 10])
def test_the_median_of_all_slopes_and_its_limits_in_plain_loops(count: int) -> None:
    # Passing and Bablok 1983 (from memory) in loops: slopes in order, shifted by those under -1; limits C/2 off the middle.
    rng = np.random.default_rng(count)
    x = np.sort(rng.uniform(10.0, 100.0, count))
    y = 1.2 * x + rng.normal(0.0, 8.0, count)
    found = passing_bablok(x, y, level=0.90)
    slopes = sorted((y[j] - y[i]) / (x[j] - x[i]) for i in range(count) for j in range(i + 1, count))
    n, shift = len(slopes), sum(slope < -1.0 for slope in slopes)
    middle = slopes[n // 2 + shift] if n % 2 else (slopes[n // 2 - 1 + shift] + slopes[n // 2 + shift]) / 2.0
    reach = stats.norm.ppf(0.95) * math.sqrt(count * (count - 1) * (2 * count + 5) / 18.0)
    first = round((n - reach) / 2.0)
    assert (found.slope, found.slope_low, found.slope_high) == approx(
        (middle, slopes[first + shift - 1], slopes[n - first + shift])
    )
    assert found.intercept == approx(np.median(y - middle * x)) and found.intercept_low == approx(
        np.median(y - found.slope_high * x)
    )
    assert n % 2 == (count == 10)


def test_a_control_above_what_the_test_shows_and_a_diluted_tea_say_nothing_of_colour() -> None:
    study, notes = invented_study(), Notes(missing=[])
    scatter = fit_two_component([[10.0, 12.0, 9.0, 11.0], [100.0, 120.0, 95.0, 110.0]])
    bias = _colour(study, scatter, 0.9, notes)
    assert bias is not None and notes.missing == []
    # As many as its controls, less the water and a slope for each thing coloured; only its dilution series is diluted.
    coloured = [item for item in study.of("filtered blank", "killed control", "colourant") if item.colour > 0.0]
    assert bias.df == len(study.of("water blank")) + len(coloured) - 1 - len({item.what for item in coloured})
    assert {item.dilution for item in study.of("water blank", "killed control", "colourant")} == {1.0}
    # Invented colours of the two teas, undiluted: 0.40 and 0.25.
    assert {one.recipe: one.colour for one in bias.recipes} == approx({"leaf-mould brew": 0.40, "worm-cast brew": 0.25})
    assert [one.bias for one in bias.recipes] == approx([bias.bias_at(one.recipe, one.colour)[0] for one in bias.recipes])
    control = next(reading for reading in study.readings if reading.role == "killed control")
    tea = next(reading for reading in study.readings if reading.role == "sample")
    unseen = (replace(control, signal=600.0, above_range=True), replace(tea, dilution=4.0, colour=0.1))
    more = _colour(replace(study, readings=(*study.readings, *unseen)), scatter, 0.9, notes)
    assert more is not None and more.slopes == approx(bias.slopes) and more.recipes == bias.recipes


def test_of_two_tops_of_the_likelihood_the_higher_is_taken_and_the_limits_hold_both() -> None:
    # By brute force over both parts: a quiet blank beside loud readings may be read as a scatter that grows with the
    # level, or as one that is the same for all.
    means, variances = np.array([0.0, 37.0, 111.0, 146.0, 201.0]), np.array([0.2, 270.0, 406.0, 3.8, 19.0])
    groups = [[mean - math.sqrt(v), mean, mean + math.sqrt(v)] for mean, v in zip(means, variances, strict=True)]
    found = fit_two_component(groups, level=0.90)
    constants, shares = np.geomspace(0.05, 60.0, 1200), np.geomspace(0.005, 1.2, 1200)
    total = constants[:, None, None] ** 2 + (shares[None, :, None] * means) ** 2
    deviance = (2.0 * (np.log(total) + variances / total)).sum(axis=2)
    lowest = deviance.min()
    assert -2.0 * found.log_likelihood == approx(lowest, abs=1e-3)
    place = np.unravel_index(deviance.argmin(), deviance.shape)
    assert (found.constant_sd, found.proportional_cv) == approx((constants[place[0]], shares[place[1]]), rel=0.01)
    kept = shares[deviance.min(axis=0) < lowest + stats.chi2.ppf(0.90, 1)]
    assert found.proportional_high == approx(kept.max(), rel=0.01) and found.proportional_low == 0.0 and kept.min() == shares[0]
    kept = constants[deviance.min(axis=1) < lowest + stats.chi2.ppf(0.90, 1)]
    assert (found.constant_low, found.constant_high) == approx((kept.min(), kept.max()), rel=0.01)


def test_a_mean_without_hidden_readings_has_student_s_interval() -> None:
    # scipy; and the sd is that of maximum likelihood, over n.
    y = [3.0, 4.5, 5.0, 7.5, 4.0]
    mean, sd, low, high = censored_mean(y, [False] * 5, level=0.90)
    test = stats.ttest_1samp(y, 0.0).confidence_interval(0.90)
    assert (mean, sd) == approx((4.8, np.std(y))) and (low, high) == approx((test.low, test.high), rel=1e-5)
    few = [3.0, 4.5, 5.0]
    assert censored_mean(few, [False] * 3, level=0.90)[2] == approx(
        stats.ttest_1samp(few, 0.0).confidence_interval(0.90).low, rel=1e-4
    )
    with pytest.raises(NotEnoughData):
        censored_mean(few[:2], [False] * 2)


def test_each_component_of_variance_says_how_many_levels_it_was_seen_at() -> None:
    # Balanced, so by sums of squares: three days of two readings; between 4, 5, 9 and within 0.5.
    readings = [3.5, 4.5, 4.5, 5.5, 8.5, 9.5]
    found = components(readings, {"day": [1, 1, 2, 2, 3, 3]}, intervals=False)
    assert [(share.name, share.levels) for share in found.shares] == [("day", 3), ("test", 6)]
    within, between = 0.5, np.var([4.0, 5.0, 9.0], ddof=1)
    assert [share.sd for share in found.shares] == approx([math.sqrt(between - within / 2.0), math.sqrt(within)], rel=1e-4)
    assert found.fixed == approx((6.0,)) and found.fixed_sd == approx((math.sqrt(between / 3.0),), rel=1e-4)


def test_the_information_of_tubes_is_that_of_their_binomials() -> None:
    # By differences: minus the second derivative of the log likelihood, at the estimate, on the log of the density; and its
    # expectation, sum n v^2 q / p times the square of the density.
    amounts, tubes, positives = [1.0, 0.1, 0.01], [5, 5, 5], [5, 3, 1]
    found = most_probable_number(amounts, tubes, positives)

    def height(log_rate: float) -> float:
        p = [1.0 - math.exp(-math.exp(log_rate) * v) for v in amounts]
        return sum(float(stats.binom.logpmf(x, n, q)) for x, n, q in zip(positives, tubes, p, strict=True))

    at, step = math.log(found.value), 1e-3
    observed = -(height(at + step) - 2.0 * height(at) + height(at - step)) / step**2
    expected = sum(
        n * v**2 * math.exp(-found.value * v) / -math.expm1(-found.value * v) for n, v in zip(tubes, amounts, strict=True)
    )
    own = {"log expected": expected * found.value**2, "log": observed}
    for limits, information in own.items():
        told = most_probable_number(amounts, tubes, positives, limits=limits)  # type: ignore[arg-type]
        assert told.log10_sd == approx(1.0 / math.sqrt(information) / math.log(10.0), rel=1e-4)
        reach = 1.959964 if told.level == 0.95 else stats.norm.ppf(0.5 + told.level / 2.0)
        assert told.high / told.value == approx(10.0 ** (reach * told.log10_sd), rel=1e-4)


def test_the_second_order_of_an_error_on_paper() -> None:
    # GUM (JCGM 100:2008), note to 5.1.2, for x^2 y at 2 (0.1) and 3 (0.2): (6^2 / 2) 0.1^4 of x alone, 8 x 0.1^2 0.2^2 of both
    # twice, and the slope 4 by y times the curvature 2 of it by x: 0.0018 + 2 x 0.0032 + 0.0032.
    found = _second_order(lambda x, y: x**2 * y, np.array([2.0, 3.0]), np.array([0.1, 0.2]))
    assert found == approx(0.0114, rel=1e-6)
    assert _second_order(lambda x, y: x**2 * y, np.array([2.0, 3.0]), np.array([0.1, 0.0])) == approx(0.0018, rel=1e-6)


def test_the_likeliest_two_errors_of_many_studies_are_those_of_a_dense_search() -> None:
    # By brute force along the ratio of both parts, 4,000 to fifteen powers of ten; groups whose scatter follows no law, so
    # that the likelihood often has two tops.
    rng = np.random.default_rng(5)
    means, df = np.array([0.0, 40.0, 80.0, 120.0, 160.0, 200.0]), np.full((300, 6), 3.0)
    size = rng.choice([0.3, 2.0, 5.0], (300, 6)) ** 2 + (rng.choice([0.02, 0.1, 0.3], (300, 6)) * means) ** 2
    variances = size * rng.chisquare(3.0, (300, 6)) / 3.0
    constant, squared_cv, found = fit_variances(np.tile(means, (300, 1)), variances, df)
    total = 1.0 + np.geomspace(1e-4, 1e11, 4000)[:, None] * (means / 200.0) ** 2
    for i in range(300):
        share = (3.0 * variances[i] / total).sum(axis=1) / 18.0
        height = -0.5 * (18.0 * np.log(share) + 3.0 * np.log(total).sum(axis=1) + 18.0)
        assert found[i] == approx(height.max(), abs=2e-3)
        expected = constant[i] + squared_cv[i] * means**2
        assert found[i] == approx(-0.5 * float((3.0 * (np.log(expected) + variances[i] / expected)).sum()))
