"""Numbers of plans: on paper, by scipy, or by the law that a simulation stands for."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.records import AssayError
from aerobe.trials import (
    CLEAR,
    Circumstances,
    Plot,
    Scatter,
    informed,
    informed_interval,
    plots_of,
    scatter_from,
    scatter_of_testing,
    weighted_plots,
)
from aerobe.trials._circumstances import brew_sds, patterns_of_loss
from aerobe.trials._circumstances import tested as as_tested
from aerobe.verdicts import BrewResult

MANY = 200_000


def test_a_result_through_sample_and_control_has_the_mean_and_the_error_of_both() -> None:
    # On paper: biomass e^0.5 = 1.65 and colour 2, four tests of 0.1: 0.1 (1.65 + 2) / 2; two of the control: 0.1 x 2 / root 2.
    scatter, rng = Scatter(brew_log_sd=0.3, test_log_sd=0.1), np.random.default_rng(1)
    level = np.full(MANY, 0.5)
    clear, below = as_tested(level, scatter, 4, CLEAR, rng)
    assert clear.mean() == approx(0.5, abs=5e-4) and clear.std() == approx(0.05, rel=0.01) and not below.any()
    dark, below = as_tested(level, scatter, 4, Circumstances(colour=2.0, control_tests=2), rng)
    net, truth = np.exp(dark), math.exp(0.5)
    assert net.mean() == approx(truth, abs=3e-3) and not below.any()
    assert net.std() == approx(math.hypot(0.1 * (truth + 2.0) / 2.0, 0.2 / math.sqrt(2.0)), rel=0.01)
    # Without a control its colour stays in.
    bare = np.exp(as_tested(level, scatter, 4, Circumstances(colour=2.0, control_tests=0), rng)[0])
    assert bare.mean() == approx(truth + 2.0, abs=3e-3) and bare.std() == approx(0.1 * (truth + 2.0) / 2.0, rel=0.01)
    # In a very dark tea it is below nought as often as the normal law says, and stands at its own error then.
    faint, below = as_tested(level, scatter, 1, Circumstances(colour=20.0, control_tests=1), rng)
    error = math.hypot(0.1 * (truth + 20.0), 2.0)
    assert below.mean() == approx(stats.norm.cdf(-truth / error), abs=0.005) and np.exp(faint[below]) == approx(error)


def test_a_scatter_known_from_few_brews_is_drawn_by_its_chi_squared_law() -> None:
    rng = np.random.default_rng(2)
    scatter = Scatter(brew_log_sd=0.4, test_log_sd=0.1, df=4.0)
    drawn = brew_sds(scatter, MANY, rng)
    assert np.quantile(drawn, [0.05, 0.5, 0.95]) == approx(0.4 * np.sqrt(4.0 / stats.chi2.ppf([0.95, 0.5, 0.05], 4)), rel=0.01)
    assert list(brew_sds(replace(scatter, df=math.inf), 3, rng)) == [0.4] * 3
    lost = patterns_of_loss(plots_of(2, 500, 2), Circumstances(lost=0.2), rng, 30)
    assert len(lost) == 30 and np.mean(lost) == approx(0.8, abs=0.01)
    assert [list(row) for row in patterns_of_loss(plots_of(2, 1, 2), CLEAR, rng)] == [[True, True]]


@pytest.mark.parametrize(
    "wrong",
    [{"colour": -0.1}, {"colour": 51.0}, {"lost": -0.1}, {"lost": 0.81}, {"looks": 0}, {"looks": 51}, {"control_tests": -1}],
)
def test_circumstances_that_cannot_be(wrong: dict[str, float]) -> None:
    with pytest.raises(UnusableRecord):
        Circumstances(**wrong)  # type: ignore[arg-type]
    Circumstances(colour=50.0, lost=0.8, looks=50, control_tests=0)


def test_scatters_on_paper() -> None:
    # root(0.3^2 + 0.4^2 / 4) = 0.3606; variances by their degrees: root((3 x 0.09 + 4 x 0.49^2) / 7).
    own = Scatter(brew_log_sd=0.3, test_log_sd=0.4, df=3.0)
    assert own.of_brew_mean(4) == approx(math.sqrt(0.09 + 0.04))
    both = informed(own)
    assert both.df == 7.0 and both.brew_log_sd == approx(math.sqrt((3.0 * 0.09 + 4.0 * 0.49**2) / 7.0))
    assert informed(replace(own, df=math.inf)).brew_log_sd == 0.3
    # A test of constant error 2 and a tenth: at 20 over a colour of 10: root(4 + 9) / 20, with its control root(13 + 4 + 1) / 20.
    error = AssayError(constant_sd=2.0, proportional_cv=0.1)
    assert scatter_of_testing(error, level=20.0, colour=10.0, with_control=False) == approx(math.sqrt(13.0) / 20.0)
    assert scatter_of_testing(error, level=20.0, colour=10.0) == approx(math.sqrt(18.0) / 20.0)
    for level in (0.0, -1.0):
        with pytest.raises(UnusableRecord):
            scatter_of_testing(error, level=level)
    for wrong in ({"brew_log_sd": -0.1}, {"brew_log_sd": 21.0}, {"df": 0.9}, {"brew_log_sd": 0.0, "test_log_sd": 0.0}):
        with pytest.raises(UnusableRecord):
            Scatter(**({"brew_log_sd": 0.3, "test_log_sd": 0.1} | wrong))
    assert Scatter(brew_log_sd=20.0, test_log_sd=0.0, df=1.0).of_brew_mean(1) == 20.0


def test_a_scatter_is_learnt_from_brews_by_hand() -> None:
    # By hand: two days of two brews of one recipe; logs 1.0, 1.4 and 2.0, 2.8: within days 0.08 + 0.32 on two degrees is 0.2; the
    # tests' own 0.01 comes off; day means 1.2 and 2.4 have an SD of 0.8485. Two tests averaged to 0.1 have 0.1 root 2 each.
    logs = {("a", "1"): 1.0, ("b", "1"): 1.4, ("c", "2"): 2.0, ("d", "2"): 2.8}
    past = [
        BrewResult(brew=key, arm="x", block=day, value=math.exp(value), tests=2, test_log_sd=0.1)
        for (key, day), value in logs.items()
    ]
    found = scatter_from(past)
    assert found.brew_log_sd == approx(math.sqrt(0.2 - 0.01)) and found.test_log_sd == approx(0.1 * math.sqrt(2.0))
    assert found.day_log_sd == approx(1.2 / math.sqrt(2.0)) and found.df == 2.0
    # Where tests would explain it all a twentieth is left; without days there is no scatter of days.
    loud = scatter_from([replace(one, test_log_sd=2.0, block="") for one in past])
    total = np.var([1.0, 1.4, 2.0, 2.8], ddof=1)
    assert loud.brew_log_sd == approx(math.sqrt(0.05 * total)) and loud.day_log_sd == 0.0 and loud.df == 3.0
    for few in ([], past[:1], past[:3]):
        with pytest.raises(NotEnoughData):
            scatter_from(few)


def test_an_interval_with_the_scatter_of_others_by_scipy() -> None:
    # 3 degrees and an sd of 0.4 behind it, with 0.49 and 0.15 worth one: the t of four degrees on the pooled sd.
    low, high = informed_interval(0.5, -0.1, 1.1, df=3.0, brew_sd=0.4)
    unit = 0.6 / stats.t.ppf(0.95, 3) / 0.4
    pooled = math.sqrt((3.0 * 0.16 + 1.0 * (0.49**2 + 0.15**2)) / 4.0)
    reach = stats.t.ppf(0.95, 4) * pooled * unit
    assert (low, high) == approx((0.5 - reach, 0.5 + reach))


def arms_of(plots: tuple[Plot, ...]) -> list[int]:
    return [plot.arm for plot in plots]


def test_brews_in_rounds_by_hand() -> None:
    # Whole sets in a round; fewer vessels than arms: the stride grows from set to set and has no divisor in common with the arms.
    assert arms_of(plots_of(3, 2, 3)) == [0, 1, 2, 1, 2, 0] and [plot.round for plot in plots_of(3, 2, 3)] == [0, 0, 0, 1, 1, 1]
    assert arms_of(plots_of(3, 2, 2)) == [0, 1, 2, 1, 0, 2]
    assert arms_of(plots_of(4, 4, 2)) == [0, 1, 2, 3, 1, 0, 3, 2, 2, 1, 0, 3, 3, 0, 1, 2]
    assert [(plot.round, plot.place) for plot in plots_of(3, 1, 2)] == [(0, 0), (0, 1), (1, 0)]
    assert arms_of(plots_of(2, 2, 1)) == [0, 1, 1, 0]
    # The arm furthest behind its even share comes next.
    assert arms_of(weighted_plots((2, 1), 3)) == [0, 1, 0] and arms_of(weighted_plots((4, 2, 2), 4)) == [0, 1, 2, 0, 0, 1, 2, 0]
