"""Numbers of limits, of plans, of brews that died and of readings: by scipy, by integrals, or on paper."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import integrate, special, stats

from aerobe.errors import UnusableReading
from aerobe.records import Assay, AssayError
from aerobe.verdicts import (
    BrewResult,
    best_tests_per_brew,
    brew_results,
    brews_needed,
    brews_needed_for_sameness,
    fit_effects,
    lay_out,
)
from aerobe.verdicts._beyond_limits import LEAN, Together, _beyond, draw
from aerobe.verdicts._censored import _df_of_tails, enough_seen, fit_censored
from aerobe.verdicts._outliers import dead_brew
from aerobe.verdicts._rivals import SAME_HOUR_H, _hours
from aerobe.verdicts._settle import power_of_difference
from tests.verdicts.test_from_readings import brew, reading

ROW = np.array([[-1.0, 1.0]])


def test_draws_beyond_a_limit_are_those_of_a_cut_normal() -> None:
    # scipy's truncated normal: above a limit by its upper tail, below by its lower.
    u = np.array([0.1, 0.5, 0.9])
    mean, sd, limit = np.full(3, 2.0), np.full(3, 1.5), np.full(3, 3.0)
    cut = stats.truncnorm((3.0 - 2.0) / 1.5, np.inf, loc=2.0, scale=1.5)
    assert _beyond(limit, np.ones(3, int), mean, sd, u) == approx(cut.isf(u))
    cut = stats.truncnorm(-np.inf, (3.0 - 2.0) / 1.5, loc=2.0, scale=1.5)
    assert _beyond(limit, -np.ones(3, int), mean, sd, u) == approx(cut.ppf(u))
    far = _beyond(np.full(3, 102.0), np.ones(3, int), mean, np.ones(3), u)
    # Forty sds and more out the tail is exponential, a hundredth of an sd long.
    assert far == approx(102.0 - np.log(u) / 100.0, rel=1e-6)


def test_tails_tell_the_degrees_of_freedom_of_their_t() -> None:
    for df in (2.0, 5.0, 40.0):
        ratio = stats.t.ppf(0.975, df) / stats.t.ppf(0.95, df)
        assert _df_of_tails(np.array([ratio]), np.array([1.0]), np.array([1000.0]))[0] == approx(df, rel=0.02)
    assert list(_df_of_tails(np.array([1.19, 2.5]), np.array([3.0, 3.0]), np.array([8.0, 8.0]))) == [8.0, 3.0]


def test_a_mean_with_a_value_beyond_the_limit_has_the_posterior_of_the_integral() -> None:
    # Independent computation on a grid: flat in the mean and, but for its lean by the share beyond the limit, in the log of the
    # sd; one of six values is known to lie below 1.
    values, below = np.array([2.0, 3.0, 2.5, 1.8, 2.7]), 1.0
    mean, log_sd = np.linspace(-2.0, 6.0, 801), np.linspace(-3.0, 2.5, 501)
    sd = np.exp(log_sd)[None, :]
    height = stats.norm.logpdf(values[:, None, None], mean[None, :, None], sd[None]).sum(axis=0) + special.log_ndtr(
        (below - mean[:, None]) / sd
    )
    height = height - LEAN / 6.0 * log_sd
    weight = np.exp(height - height.max()).sum(axis=1)
    exact = np.interp([0.05, 0.5, 0.95], np.cumsum(weight) / weight.sum(), mean)
    side = np.array([0, 0, 0, 0, 0, -1])
    brews = Together(values=np.array([*values, below]), side=side, of=np.arange(6))
    draws = draw(brews, lay_out([0] * 6), np.array([[1.0]]), 3)
    assert np.quantile(draws, [0.05, 0.5, 0.95]) == approx(exact, abs=0.06)
    found = fit_censored(np.array([*values, below]), side, lay_out([0] * 6), np.array([[1.0]]), seed=3)
    assert found.estimate[0] == approx(exact[1], abs=0.04) and found.quantile(0.05)[0] <= exact[0] + 0.06
    # Where nothing lies beyond a limit it is the textbook's t.
    plain = fit_censored(values, np.zeros(5, int), lay_out([0] * 5), np.array([[1.0]]))
    assert (plain.estimate[0], plain.error[0], plain.df[0]) == approx((values.mean(), values.std(ddof=1) / math.sqrt(5.0), 4.0))


def test_an_effect_is_known_as_well_to_either_side_as_its_posterior_says() -> None:
    """The lower side of a mean with values below a limit reaches further than the upper: the posterior on a grid."""
    values, below = np.array([2.0, 3.0, 2.5, 1.8, 2.7]), 1.9
    mean, log_sd = np.linspace(-4.0, 6.0, 1001), np.linspace(-3.0, 2.5, 501)
    sd = np.exp(log_sd)[None, :]
    height = stats.norm.logpdf(values[:, None, None], mean[None, :, None], sd[None]).sum(axis=0)
    height = height + 2.0 * special.log_ndtr((below - mean[:, None]) / sd) - 2.0 * LEAN / 7.0 * log_sd
    weight = np.exp(height - height.max()).sum(axis=1)
    low, middle, high = np.interp([0.05, 0.5, 0.95], np.cumsum(weight) / weight.sum(), mean)
    side = np.array([0] * 5 + [-1] * 2)
    found = fit_censored(np.array([*values, below, below]), side, lay_out([0] * 7), np.array([[1.0]]), seed=3)
    assert found.quantile(0.05)[0] == approx(low, abs=0.12) and found.quantile(0.95)[0] == approx(high, abs=0.08)
    assert middle - low > 1.2 * (high - middle)
    assert found.error[0] == found.below.error[0] > found.above.error[0]
    # Read off the same two tails: a probability is half at the median, and that of a limit of an interval is its level.
    assert found.probability_above(float(found.quantile(0.05)[0])) == approx([0.95])
    assert found.probability_above(float(found.quantile(0.95)[0])) == approx([0.05])


def test_a_brew_beyond_a_limit_lies_where_the_others_of_its_day_say() -> None:
    # The brews of a day agree to a thousandth, and of three days one is only known to lie below a little more, or less, than the
    # other: the days then tell what they tell without any limit, the t of five means.
    days = np.array([2.0, 3.0, 2.5, 1.8, 2.7])
    values, of = np.repeat(days, 2), np.repeat(np.arange(5), 2)
    values[1::2] += np.array([0.001, -0.001, 0.001, -0.001, 0.0])
    side = np.where(np.arange(10) % 4 == 1, -1, 0)
    found = draw(Together(values=values, side=side, of=of), lay_out([0] * 5), np.array([[1.0]]), 3)
    df = 4.0 + LEAN * 0.3
    exact = stats.t(df, days.mean(), math.sqrt(4.0 / df) * days.std(ddof=1) / math.sqrt(5.0))
    assert np.quantile(found, [0.05, 0.5, 0.95]) == approx(exact.ppf([0.05, 0.5, 0.95]), abs=0.04)
    brews = Together(values=values, side=np.array([-1, -1, -1, 0, 1, 1, 0, 0, -1, 1]), of=of)
    assert brews.seen_in_part.tolist() == [-1, 0, 1, 0, 1]


def test_a_comparison_of_arms_within_range_is_the_plain_one_beside_one_at_a_limit() -> None:
    y = np.array([1.0, 1.2, 0.9, 1.1, 2.0, 2.3, 1.9, 2.2, 0.5, 0.5, 0.7, 0.8])
    side = np.array([0] * 8 + [-1, -1, 0, 0])
    layout, rows = lay_out([0] * 4 + [1] * 4 + [2] * 4), np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])
    found, plain = fit_censored(y, side, layout, rows), fit_effects(y, layout, rows)
    assert (found.estimate[0], found.error[0], found.df[0]) == (plain.estimate[0], plain.error[0], plain.df[0])
    # Two of four lie below 0.5: the arm is lower than if they stood at it, and no better known than by two of its brews.
    assert found.estimate[1] < plain.estimate[1] and found.error[1] > plain.error[1] and 1.0 <= found.df[1] <= plain.df[1]


def test_hours_of_brews_that_differ_are_told() -> None:
    def hours(*at: float | None) -> list[BrewResult]:
        return [BrewResult(brew=f"b{i}", arm="a", value=1.0, elapsed_h=hour) for i, hour in enumerate(at)]

    assert _hours(hours(24.0, 24.0 + SAME_HOUR_H)) == [] == _hours(hours(None, None))
    (told,) = _hours(hours(24.0, None, 24.1 + SAME_HOUR_H))
    assert told.name == "hours" and "24 to" in told.words


def test_two_seen_brews_of_each_arm_and_two_degrees_carry_a_comparison() -> None:
    layout = lay_out([0, 0, 0, 1, 1, 1])
    assert list(enough_seen(layout, ROW, np.array([0, 0, -1, 0, 0, 1]))) == [True]
    assert list(enough_seen(layout, ROW, np.array([0, -1, -1, 0, 0, 0]))) == [False]
    blocked = lay_out([0, 1, 0, 1, 0, 1], ["a", "a", "b", "b", "c", "c"])
    assert list(enough_seen(blocked, ROW, np.array([0, 0, 0, 0, 1, 0]))) == [False]


def test_the_fewest_brews_that_reach_a_power() -> None:
    # Power of the t test by scipy's noncentral t, searched one by one.
    def power(d: float, n: int, arms: int) -> float:
        df = arms * (n - 1)
        return float(stats.nct.sf(stats.t.ppf(0.975, df), df, d * math.sqrt(n / 2.0)))

    for d, arms in ((3.0, 2), (1.0, 2), (0.7, 4)):
        fewest = next(n for n in range(2, 200) if power(d, n, arms) >= 0.8)
        assert brews_needed(0.5, 0.5 * d, arms=arms) == fewest
        assert power_of_difference(d, fewest, arms=arms) == approx(power(d, fewest, arms), abs=1e-9)
    assert brews_needed(1.0, 0.001) is None and power_of_difference(1.0, 1.0) == 0.0

    def sameness(m: float, n: int, arms: int) -> float:
        df = arms * (n - 1)
        bound = stats.t.ppf(0.95, df)

        def inside(s: float) -> float:
            room = m / math.sqrt(2.0 / n) - bound * s
            return float(max(2.0 * special.ndtr(room) - 1.0, 0.0) * stats.chi2.pdf(df * s * s, df) * 2.0 * df * s)

        return float(integrate.quad(inside, 0.0, 4.0, limit=100)[0])

    for m in (2.0, 1.0, 0.6):
        found = brews_needed_for_sameness(1.0, m)
        assert found is not None and sameness(m, found, 2) > 0.799 and sameness(m, found - 1, 2) < 0.801


def test_tests_of_a_brew_for_the_money() -> None:
    # Cochran 1977: root(40 / 10 x 9 / 4) = 3; never less than one.
    assert best_tests_per_brew(40.0, 10.0, 2.0, 3.0) == approx(3.0) and best_tests_per_brew(1.0, 10.0, 2.0, 1.0) == 1.0
    assert best_tests_per_brew(40.0, 10.0, 0.0, 3.0) == math.inf and best_tests_per_brew(40.0, 0.0, 2.0, 0.0) == 1.0


def test_a_brew_that_died_is_set_apart_by_the_t_of_what_it_leaves() -> None:
    # On paper: six brews of an arm about 1.0 and one far down; its deleted residual over the others' scatter is a t of 5 degrees,
    # beyond one in a hundred for fourteen brews, and it lies more than a factor of three off.
    alive = [1.0, 1.1, 0.9, 1.05, 0.95, 1.02]
    other = [1.5, 1.6, 1.4, 1.55, 1.45, 1.5, 1.52]
    layout = lay_out([0] * 7 + [1] * 7)
    assert dead_brew(np.array([*alive, -2.0, *other]), layout) == 6
    assert (
        dead_brew(np.array([*alive, 1.0 - 1.0, *other]), layout) is None
    )  # far out of the scatter, but within a factor of three
    assert dead_brew(np.array([*alive, 1.0 - 1.15, *other]), layout) == 6
    assert dead_brew(np.array([*alive[:5], -2.0, -2.1, *other]), layout) is None  # two are no accident
    wide = np.array([1.0, 2.5, -0.5, 1.8, 0.2, 1.0])
    spread = math.sqrt(wide.var(ddof=1) * (1.0 + 1.0 / 6.0))
    critical = float(stats.t.ppf(1.0 - 0.01 / 14.0 / 2.0, 5))
    for factor, found in ((1.03, 6), (0.97, None)):
        value = wide.mean() - factor * critical * spread
        assert dead_brew(np.array([*wide, value, *other]), layout) == found


BARE = Assay(key="c", name="count of cells", method="direct microscopy", unit="1e6 cells/mL", to_house=0.02)
KNOWN = AssayError(
    constant_sd=3.0, proportional_cv=0.1, bias=5.0, bias_sd=2.0, detection_limit=10.0, upper_limit=500.0, origin="characterised"
)
HALF = Assay(key="c", name="half", method="colour test", unit="half", to_house=0.5, error=KNOWN)


def test_a_brew_in_house_units_with_its_limits() -> None:
    # On paper: (100 x 2 + 140 x 2) / 2 = 240 of its unit, 120 in house; the bias of 5 is 2.5. Error: (1.5^2 + 12^2) / 2.
    two = [reading("1", "b", "sample", 100.0, dilution=2.0), reading("2", "b", "sample", 140.0, dilution=2.0)]
    found = brew_results([brew("b", "kelp")], two, {"c": HALF})[0]
    assert found.value == approx(117.5) and found.tests == 2 and found.points == approx((97.5, 137.5))
    assert found.test_log_sd == approx(math.sqrt((2.25 + 144.0) / 2.0) / 117.5) and found.bias_log_sd == approx(1.0 / 117.5)
    # 16 of its unit is 8 - 2.5 = 5.5, above the limit of 5; 14 is 4.5 and stands at the limit; 500 is all that it shows.
    seen = [
        brew_results([brew("b", "k")], [reading("1", "b", "sample", at)], {"c": HALF})[0] for at in (16.0, 14.0, 499.0, 500.0)
    ]
    assert [(one.value, one.at_limit, one.above_range) for one in seen] == [
        (approx(5.5), False, False),
        (5.0, True, False),
        (approx(247.0), False, False),
        (approx(247.5), False, True),
    ]
    # Nothing known of the test: the replicates tell. 10, 14, 18 times 0.02: variance 0.0064 / 3.
    three = [reading(str(i), "b", "sample", value) for i, value in enumerate((10.0, 14.0, 18.0))]
    bare = brew_results([brew("b", "kelp")], three, {"c": BARE})[0]
    assert bare.value == approx(0.28) and bare.test_log_sd == approx(math.sqrt(0.0064 / 3.0) / 0.28)
    blanks = [reading("x", "b", "blank", 2.0), reading("y", "b", "blank", 4.0)]
    less = brew_results([brew("b", "kelp")], [*three, *blanks], {"c": BARE})[0]
    assert less.value == approx(0.22) and less.test_log_sd == approx(math.sqrt(0.0064 / 3.0 + 0.0008 / 2.0) / 0.22)


def test_brews_are_compared_at_the_latest_hour_that_all_have() -> None:
    rows = [
        reading("1", "a", "sample", 10.0, 12.0),
        reading("2", "a", "sample", 20.0, 24.0),
        reading("3", "b", "sample", 30.0, 12.9),
        reading("4", "b", "sample", 40.0, 26.0),
    ]
    both = [brew("a", "kelp"), brew("b", "plain")]
    # 24 and 26 h are more than an hour apart, 12 and 12.9 h are not.
    assert [one.elapsed_h for one in brew_results(both, rows, {"c": BARE})] == [12.0, 12.9]
    assert [one.elapsed_h for one in brew_results(both, rows, {"c": BARE}, tolerance_h=2.0)] == [24.0, 26.0]
    assert [one.elapsed_h for one in brew_results(both, rows, {"c": BARE}, at_h=25.0)] == [24.0, 26.0]
    # A control two hours off counts, one further off does not, and that is told.
    for hour, value, apart in ((14.0, 0.16, None), (14.1, 0.2, 2.1)):
        control = reading("k", "a", "killed control", 2.0, hour)
        one = brew_results([both[0]], [rows[0], control], {"c": BARE})[0]
        assert one.value == approx(value) and one.control_apart_h == (apart if apart is None else approx(apart))


def test_only_the_brews_that_are_compared_must_stand_in_one_unit_of_one_assay() -> None:
    rows = [
        reading("1", "a", "sample", 10.0),
        reading("2", "a", "sample", 12.0),
        replace(reading("3", "b", "sample", 30.0), unit="mg C/mL"),
        replace(reading("4", "d", "sample", 30.0), assay="other"),
    ]
    alone = brew_results([brew("a", "kelp")], rows, {"c": BARE})
    assert [one.value for one in alone] == approx([11.0 * 0.02])
    with pytest.raises(UnusableReading, match="several units"):
        brew_results([brew("a", "kelp"), brew("b", "plain")], rows, {"c": BARE})
    with pytest.raises(UnusableReading, match="several assays"):
        brew_results([brew("a", "kelp"), brew("d", "plain")], rows, {"c": BARE})
