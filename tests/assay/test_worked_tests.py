"""What a reading means, how two tests compare and whether a test is straight: by scipy and statsmodels, or on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.assay import (
    ColourReading,
    FungalRatio,
    Input,
    biomass_from_reading,
    calibrate,
    decision_limit,
    deming,
    limits_from_model,
    limits_of_agreement,
    linearity,
    most_probable_number,
    plan_tests,
    propagate_both,
    simulate,
)
from aerobe.assay._censored import _resampled, lognormal_mean, order_statistics
from aerobe.assay._colour import _between
from aerobe.assay._planning import _best_within
from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.records import AssayError

ERROR = AssayError(constant_sd=6.0, proportional_cv=0.12, gain_log_sd=0.2, bias=3.0, bias_sd=2.0)
Z = 1.6448536


@pytest.mark.parametrize(("reading", "readings", "scale"), [(60.0, 1, False), (60.0, 4, True), (9.0, 2, False)])
def test_a_reading_means_all_that_could_have_given_it(reading: float, readings: int, scale: bool) -> None:
    # On paper: at either end the reading less its bias is 1.645 of that level's own error away.
    found = biomass_from_reading(ERROR, reading, readings=readings, with_scale=scale)

    def away(x: float) -> float:
        relative = 0.0144 / readings + (math.expm1(0.04) if scale else 0.0)
        return abs(reading - 3.0 - x) / math.sqrt(36.0 / readings + 4.0 + relative * x * x)

    assert found.value == reading - 3.0 and away(found.high) == approx(Z)
    assert found.low == 0.0 if reading < 20.0 else away(found.low) == approx(Z)
    limit = Z * math.sqrt(36.0 / readings + 4.0)
    assert decision_limit(ERROR, readings=readings) == approx(limit) and found.told_from_zero == (reading - 3.0 > limit)
    # A limit says its one side: 90 % of two sides are 80 % of one.
    below = biomass_from_reading(ERROR, 12.0, below_detection=True)
    wide = biomass_from_reading(ERROR, 12.0, level=0.8)
    assert below.low == 0.0 and below.high == approx(wide.high) and math.isnan(below.value)
    above = biomass_from_reading(ERROR, 60.0, above_range=True)
    assert above.low == approx(biomass_from_reading(ERROR, 60.0).low) and above.high == math.inf
    # A scatter of all there is has no upper bound, and its lower one is still 1.645 away.
    loud = AssayError(constant_sd=6.0, proportional_cv=0.9, gain_log_sd=0.0, bias=0.0, bias_sd=0.0)
    open_end = biomass_from_reading(loud, 60.0)
    assert open_end.high == math.inf and (60.0 - open_end.low) / math.hypot(6.0, 0.9 * open_end.low) == approx(Z)


def test_a_decision_limit_is_the_record_s_for_one_reading_at_five_percent_only() -> None:
    told = AssayError(constant_sd=6.0, proportional_cv=0.1, detection_limit=11.0, bias_sd=2.0)
    own = math.sqrt(36.0 / 4.0 + 4.0)
    assert decision_limit(told) == 11.0 and decision_limit(told, readings=4) == approx(Z * own)
    assert decision_limit(told, alpha=0.01) == approx(2.3263479 * math.sqrt(40.0))


def test_limits_of_a_test_whose_two_risks_differ() -> None:
    # On paper: critical z_0.99 s(0); detection solves L = critical + z_0.95 s(L).
    found = limits_from_model(2.0, 0.3, readings=2, alpha=0.01, beta=0.05)

    def sd(level: float) -> float:
        return math.sqrt((4.0 + (0.3 * level) ** 2) / 2.0)

    assert found.critical == approx(2.3263479 * sd(0.0)) and found.detection == approx(found.critical + Z * sd(found.detection))
    # Where the scatter grows as fast as the level itself nothing can be detected surely.
    assert limits_from_model(2.0, 0.7).detection == math.inf


def test_the_cheapest_plan_and_what_is_left_where_none_is() -> None:
    # By brute force: two tests of each of as few samples as will do, where samples are dear.
    for sample_price, sample_cv in ((50.0, 0.02), (0.0, 0.08), (6.0, 0.0)):
        found = plan_tests(ERROR, expected=100, wanted_percent=8, test_price=4, sample_price=sample_price, sample_cv=sample_cv)
        variance = (100.0 * sample_cv) ** 2
        best = min(
            k * (sample_price + 4.0 * m)
            for k in range(1, 40)
            for m in range(1, 40)
            if Z * math.sqrt(variance / k + (36 + 144) / (k * m)) <= 8.0 + 1e-9
        )
        assert found.reachable and found.cost == approx(best) == found.samples * (sample_price + 4.0 * found.tests_per_sample)
        assert found.half_width == approx(Z * math.sqrt((variance + 180.0 / found.tests_per_sample) / found.samples))
    few = plan_tests(ERROR, expected=100, wanted_percent=2, test_price=4, sample_price=6, sample_cv=0.1, most_tests=6)
    spread = {(k, 6 // k): 100.0 / k + 180.0 / (k * (6 // k)) for k in range(1, 7)}
    assert not few.reachable and spread[few.samples, few.tests_per_sample] == min(spread.values())
    assert few.cost == few.samples * (6.0 + 4.0 * few.tests_per_sample) and few.wanted_half_width == 2.0
    assert _best_within(6, 100.0, 180.0) == (few.samples, few.tests_per_sample)
    bound = plan_tests(ERROR, expected=100, wanted_percent=10, test_price=4, same_kit=False)
    assert bound.floor == approx(Z * math.sqrt(4.0 + 1e4 * math.expm1(0.04)))


def test_deming_s_line_and_its_jackknife_by_leaving_one_out_by_hand() -> None:
    # Independent: the major axis of scaled values by eigenvectors, left out one by one (Linnet 1993).
    x = np.array([1.0, 2.1, 2.9, 4.2, 5.1, 6.3, 7.0])
    y = np.array([1.4, 2.0, 3.5, 4.1, 5.6, 6.0, 7.9])

    def line(a: np.ndarray, b: np.ndarray, ratio: float) -> tuple[float, float]:
        scaled = np.cov(a * math.sqrt(ratio), b)
        axis = np.linalg.eigh(scaled)[1][:, -1]
        slope = axis[1] / axis[0] * math.sqrt(ratio)
        return float(b.mean() - slope * a.mean()), float(slope)

    for ratio in (1.0, 4.0):
        found = deming(x, y, error_ratio=ratio, level=0.90)
        intercept, slope = line(x, y, ratio)
        assert (found.intercept, found.slope) == approx((intercept, slope))
        left = np.array([line(np.delete(x, i), np.delete(y, i), ratio) for i in range(7)])
        pseudo = 7.0 * np.array([intercept, slope]) - 6.0 * left
        sds = pseudo.std(axis=0, ddof=1) / math.sqrt(7.0)
        t = stats.t.ppf(0.95, 5)
        assert (found.intercept_sd, found.slope_sd) == approx(tuple(sds))
        assert (found.intercept_low, found.intercept_high) == approx((intercept - t * sds[0], intercept + t * sds[0]))
        assert (found.slope_low, found.slope_high) == approx((slope - t * sds[1], slope + t * sds[1]))
    assert deming(x, y).slope == approx(line(x, y, 1.0)[1])


def test_agreement_of_two_tests_and_its_trend_by_scipy() -> None:
    # Bland and Altman 1986 (from memory): error of a limit root(3 s^2 / n); the trend is the regression of differences on means.
    x = np.array([10.0, 14.0, 22.0, 31.0, 44.0, 52.0])
    y = np.array([9.0, 14.5, 20.0, 33.0, 39.0, 46.0])
    found = limits_of_agreement(x, y, level=0.90)
    d, middle = x - y, (x + y) / 2.0
    sd, t, z = d.std(ddof=1), stats.t.ppf(0.95, 5), 1.6448536
    assert (found.bias, found.sd) == approx((d.mean(), sd)) and found.lower == approx(d.mean() - z * sd)
    assert (found.bias_low, found.bias_high) == approx((d.mean() - t * sd / math.sqrt(6.0), d.mean() + t * sd / math.sqrt(6.0)))
    reach = t * sd * math.sqrt(3.0 / 6.0)
    assert found.upper_interval == approx((d.mean() + z * sd - reach, d.mean() + z * sd + reach))
    trend = stats.linregress(middle, d)
    assert (found.trend, found.trend_p) == approx((trend.slope, trend.pvalue))
    ratio = limits_of_agreement(x, y, level=0.90, relative=True)
    assert ratio.bias == approx(math.exp(np.log(x / y).mean())) and ratio.upper == approx(
        math.exp(np.log(x / y).mean() + z * np.log(x / y).std(ddof=1))
    )


def test_straight_or_curved_is_asked_as_statsmodels_asks() -> None:
    sm = pytest.importorskip("statsmodels.api")
    levels = np.repeat([0.0, 25.0, 50.0, 75.0, 100.0], 3)
    signals = 2.0 + 0.5 * levels - 0.0012 * levels**2 + np.tile([-0.8, 0.1, 0.6], 5) + np.repeat([0.3, -0.2, 0.1, 0.2, -0.3], 3)
    found = linearity(levels, signals, constant_sd=1.0)
    fits = {k: sm.OLS(signals, np.vander(levels / 100.0, k + 1, increasing=True)).fit() for k in (1, 2, 3)}
    curved = fits[2].compare_f_test(fits[1])[1]
    cubic = fits[3].compare_f_test(fits[1])[1]
    degree = 3 if cubic < curved else 2
    assert found.curve_p == approx(min(curved, cubic)) and found.degree == degree
    means = sm.OLS(signals, np.equal.outer(levels, np.unique(levels)).astype(float)).fit()
    lack = means.compare_f_test(fits[1])
    assert (found.lack_of_fit_f, found.lack_of_fit_p) == approx((lack[0], lack[1]))
    assert (found.intercept, found.slope) == approx((fits[1].params[0], fits[1].params[1] / 100.0))
    # In per cent of the line's rise above its own zero.
    at = np.array([0.25, 0.5, 0.75, 1.0])
    curve = np.vander(at, degree + 1, increasing=True) @ fits[degree].params
    line, rise = fits[1].params[0] + fits[1].params[1] * at, fits[1].params[1] * at
    assert [value for _, value in found.deviations] == approx((100.0 * (curve - line) / rise).tolist())
    assert [level for level, _ in found.deviations] == [25.0, 50.0, 75.0, 100.0]


def test_the_spread_of_colours_beyond_their_errors_by_moments() -> None:
    # On paper: slopes 1, 2, 4 have a sum of squares of 4.667; errors of 0.1 each explain 2 x 0.1; over two.
    found = _between(np.array([1.0, 2.0, 4.0]), 0.1 * np.eye(3))
    assert found == approx(math.sqrt((14.0 / 3.0 - 0.2) / 2.0))
    assert _between(np.array([1.0]), np.eye(1)) == 0.0 and _between(np.array([1.0, 1.1]), np.eye(2)) == 0.0
    assert ColourReading(kind="water blank", what="water", signal=1.0).colour == 0.0


def test_logs_of_results_give_a_mean_by_cox_and_by_order() -> None:
    # Cox by hand (Zhou and Gao 1997, from memory): mean log plus half its variance; error root(s^2 / n + s^4 / 2 (n - 1)).
    y = np.exp(np.array([1.0, 1.5, 2.2, 2.4, 3.1]))
    none = np.zeros(5, bool)
    mean, sd, low, high = lognormal_mean(y, none, 0.90)
    logs = np.log(y)
    s2, t = logs.var(ddof=1), stats.t.ppf(0.95, 4)
    half = t * math.sqrt(s2 / 5.0 + s2**2 / 8.0)
    middle = logs.mean() + s2 / 2.0
    assert (mean, low, high) == approx((math.exp(middle), math.exp(middle - half), math.exp(middle + half)), rel=1e-5)
    assert sd == approx(mean * math.sqrt(math.expm1(s2)), rel=1e-5)
    # Order statistics with one limit (Helsel 2012, from memory), by hand: of 4, 8, 16 seen and two under 3: 3/5 lie above;
    # positions
    # 0.55, 0.7, 0.85, and 2/15, 4/15 for the hidden, whose logs the line through normal scores gives.
    values, hidden = np.array([3.0, 3.0, 4.0, 8.0, 16.0]), np.array([True, True, False, False, False])
    slope, intercept = np.polyfit(stats.norm.ppf([0.55, 0.7, 0.85]), np.log([4.0, 8.0, 16.0]), 1)
    whole = np.array([4.0, 8.0, 16.0, *np.exp(intercept + slope * stats.norm.ppf([2.0 / 15.0, 4.0 / 15.0]))])
    assert order_statistics(values, hidden) == approx((whole.mean(), whole.std(ddof=1)))


def test_draws_of_inputs_have_the_sd_that_was_given() -> None:
    # A shape of any kind has the standard uncertainty told; a t of five degrees is wider by root(5/3) (JCGM 101, 6.4.9.7).
    for shape, sd in (("normal", 0.5), ("rectangular", 0.5), ("triangular", 0.5), ("student", 0.5 * math.sqrt(5.0 / 3.0))):
        one = Input(name="x", value=3.0, uncertainty=0.5, shape=shape, df=5.0)  # type: ignore[arg-type]
        found = simulate(lambda x: 2.0 * x + 1.0, [one], seed=3, level=0.90)
        assert (found.value, found.uncertainty) == approx((7.0, 2.0 * sd), rel=0.01)
    flat = simulate(lambda x: x, [Input(name="x", value=0.0, uncertainty=1.0, shape="rectangular")], seed=3, level=0.90)
    assert (flat.low, flat.high) == approx((-0.9 * math.sqrt(3.0), 0.9 * math.sqrt(3.0)), abs=0.01)
    skew = simulate(lambda x: np.exp(x), [Input(name="x", value=0.0, uncertainty=1.0)], seed=3, level=0.90)
    assert skew.shortest_high - skew.shortest_low < skew.high - skew.low and skew.shortest_low < skew.low
    with pytest.raises(UnusableReading):
        Input(name="x", value=1.0, uncertainty=1.0, shape="student", df=2.0)
    assert Input(name="x", value=1.0, uncertainty=1.0, shape="student", df=2.5).df == 2.5
    # Half a unit of the second digit of 0.5 is 0.005, of 12 it is 0.5.
    for size, tolerance in ((0.5, 0.005), (12.0, 0.5)):
        both = propagate_both(lambda x: x, [Input(name="x", value=0.0, uncertainty=size)], seed=1)
        assert both.tolerance == approx(tolerance)
    pair = [Input(name="a", value=1.0, uncertainty=1.0), Input(name="b", value=2.0, uncertainty=2.0)]
    joined = simulate(lambda a, b: a + b, pair, seed=2, correlation=np.array([[1.0, 0.5], [0.5, 1.0]]))
    assert joined.uncertainty == approx(math.sqrt(1.0 + 4.0 + 2.0), rel=0.01)


def test_three_standards_make_a_line_and_two_do_not() -> None:
    # scipy's regression.
    found, line = calibrate([0.0, 1.0, 3.0], [0.2, 1.1, 3.5]), stats.linregress([0.0, 1.0, 3.0], [0.2, 1.1, 3.5])
    assert (found.fit.coefficients[0], found.fit.coefficients[1]) == approx((line.intercept, line.slope))
    assert found.mean_signal == approx(1.6) and found.sum_of_squares == approx(14.0 / 3.0)
    with pytest.raises(NotEnoughData):
        calibrate([0.0, 1.0], [0.2, 1.1])


def test_an_interval_by_resampling_is_student_s_where_nothing_is_skew() -> None:
    # Forty normal scores: mean 0 and sd 1; scipy's t of 39 degrees.
    y = stats.norm.ppf((np.arange(40) + 0.5) / 40.0)
    y = 10.0 + (y - y.mean()) / y.std(ddof=1)
    low, high = _resampled(lambda a, _: float(a.mean()), y, np.zeros(40, bool), 10.0, 0.90, 4)
    reach = stats.t.ppf(0.95, 39) / math.sqrt(40.0)
    assert (low, high) == approx((10.0 - reach, 10.0 + reach), abs=0.015)
    # The t of a skew sample reaches further on the side of its tail.
    skew = np.exp(y - 10.0)
    low, high = _resampled(lambda a, _: float(a.mean()), skew, np.zeros(40, bool), float(skew.mean()), 0.90, 4)
    assert high - skew.mean() > 1.2 * (skew.mean() - low) > 0.0


def test_resampling_with_hidden_results_in_plain_loops() -> None:
    # Independent computation in loops with the same draws: only those with three different results that were seen count.
    y, hidden = [1.0, 2.0, 3.5, 5.0, 0.8, 0.8, 0.8, 0.8], [False] * 4 + [True] * 4
    rng, found = np.random.default_rng(9), []
    for _ in range(1000):
        places = [int(i) for i in rng.integers(0, 8, 8)]
        seen = [y[i] for i in places if not hidden[i]]
        if len(set(seen)) >= 3:
            values = [y[i] for i in places]
            mean = sum(values) / 8.0
            sd = math.sqrt(sum((value - mean) ** 2 for value in values) / 7.0)
            found.append((sum(seen) / len(seen) - 2.0) / (sd / math.sqrt(8.0)))
    low, high = np.quantile(found, [0.1, 0.9])
    scale = float(np.std(y, ddof=1)) / math.sqrt(8.0)
    interval = _resampled(lambda a, b: float(a[~b].mean()), np.array(y), np.array(hidden), 2.0, 0.80, 9)
    assert interval == approx((2.0 - high * scale, 2.0 - low * scale))
    three = np.array([1.0, 2.0, 4.0] * 3)
    assert _resampled(lambda a, _: float(a.mean()), three, np.zeros(9, bool), 7.0 / 3.0, 0.90, 1)[0] > 1.0
    with pytest.raises(NotEnoughData, match="Too few different"):
        _resampled(lambda a, _: float(a.mean()), np.array([1.0, 2.0] * 3), np.zeros(6, bool), 1.5, 0.90, 1)


def test_thomas_s_rule_for_tubes() -> None:
    # Thomas 1942 (from memory): positives over the root of (mL in negative tubes x mL in all). By hand: 5 of 1 mL with 4 positive
    # and 5 of 0.1 mL with 1: 5 / root(1.4 x 5.5). Where all are positive there is none.
    found = most_probable_number([1.0, 0.1], [5, 5], [4, 1])
    assert found.thomas == approx(5.0 / math.sqrt(1.4 * 5.5))
    assert most_probable_number([1.0, 0.1], [5, 5], [5, 5]).thomas == math.inf
    # FDA's Bacteriological Analytical Manual, Appendix 2, Table 1 (from memory): three tubes of 0.1, 0.01 and 0.001 g.
    for positives, per_gram in (([1, 0, 0], 3.6), ([2, 1, 0], 15.0), ([3, 1, 0], 43.0), ([3, 3, 1], 460.0)):
        assert most_probable_number([0.1, 0.01, 0.001], [3, 3, 3], positives).value == approx(per_gram, rel=0.03)


def test_a_ratio_of_fungi_becomes_a_share() -> None:
    # On paper: 1/2 is a third; at 90 % a log sd of 0.2 is a factor of e^0.329.
    found = FungalRatio(ratio=0.5, log_sd=0.2, kind="mass").fungal_fraction()
    factor = math.exp(Z * 0.2)
    assert found == approx((1.0 / 3.0, 0.5 / factor / (1.0 + 0.5 / factor), 0.5 * factor / (1.0 + 0.5 * factor)))
    assert FungalRatio(ratio=0.5, log_sd=0.0, kind="mass").ratio == 0.5
    for ratio, log_sd in ((0.0, 0.1), (-1.0, 0.1), (math.inf, 0.1), (0.5, -0.01)):
        with pytest.raises(UnusableReading):
            FungalRatio(ratio=ratio, log_sd=log_sd, kind="mass")
