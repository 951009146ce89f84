"""Numbers of the likelihood, worked out here on paper or by a reference library."""

from __future__ import annotations

import math

import numpy as np
from pytest import approx
from scipy.stats import t

from aerobe.inference import Measurement, Probe
from aerobe.inference._likelihood import (
    chance_below,
    expected_signals,
    generalised_log,
    log_t,
    oxygen_errors,
    oxygen_residuals,
    oxygen_sizes,
    result_residuals,
    results_of,
    root_loss,
)
from aerobe.inference._logs import possible_oxygen
from aerobe.records import AssayError

FIVE = t(5, scale=math.sqrt(3.0 / 5.0))  # a t of five degrees with unit variance


def measured(value: float, hour: float = 1.0, **more: object) -> Measurement:
    error = AssayError(constant_sd=4.0, proportional_cv=0.2, gain_log_sd=0.1, bias=3.0, bias_sd=1.0)
    return Measurement(elapsed_h=hour, value=value, error=error, **more)  # type: ignore[arg-type]


def test_errors_have_the_tails_of_a_t_with_five_degrees() -> None:
    assert FIVE.var() == approx(1.0)
    r = np.array([0.0, 1.0, -2.5])
    assert log_t(r) == approx(FIVE.logpdf(r) - FIVE.logpdf(0.0))
    assert root_loss(r) == approx(np.sign(r) * np.sqrt(-2.0 * (FIVE.logpdf(r) - FIVE.logpdf(0.0))))
    assert chance_below(r) == approx(FIVE.cdf(r))


def test_the_scale_of_a_result_joins_test_and_model() -> None:
    # On paper: root(ln(1 + 0.2^2) + 0.10^2) = 0.2219; near nought the scale is value over constant, far above ln(value) / 0.2219.
    results = results_of((measured(100.0),))
    scale = math.sqrt(math.log(1.04) + 0.01)
    assert results.scale[0] == approx(scale) and scale == approx(0.2219, abs=1e-4)
    assert generalised_log(np.array([0.04]), np.array([scale]), np.array([4.0]))[0] == approx(0.01, rel=1e-4)
    ten = generalised_log(np.array([1e5, 1e4]), np.array([scale]), np.array([4.0]))
    assert ten[0] - ten[1] == approx(math.log(10.0) / scale, rel=1e-4)
    # A bias of 3 is taken off before: (100 - 3) against a signal of 97 is no error at all.
    assert result_residuals(results, np.array([[97.0]]), np.array([[3.0]]))[0, 0] == approx(0.0, abs=1e-12)


def test_signals_lie_straight_between_grid_times_on_the_log_scale() -> None:
    # On paper: a quarter of the way from 100 to 1600 is 200 on logs; fungi stay at 50.
    kinds = ("biomass", "bacteria", "fungi", "fungal to bacterial ratio")
    results = results_of(tuple(measured(1.0, hour=0.5, quantity=kind) for kind in kinds))
    grid = np.array([0.0, 2.0])
    found = expected_signals(results, np.log([[100.0, 1600.0]]), np.log([[50.0, 50.0]]), grid, np.full((1, 4), 2.0))
    assert found[0] == approx([500.0, 400.0, 100.0, 0.5])


def test_the_error_of_an_oxygen_bin_is_that_of_a_median_with_memory() -> None:
    # On paper: the variance of a median of n normal values is pi/2 = 1.57 of that of their mean (Cramer 1946, from memory);
    # 0.1 mg/L from 25 values and 0.03 of rounding: root(0.01 x 1.57 / 25 + 0.0009) = 0.0391. What the model gets wrong is
    # 0.4 mg/L and lasts 3 h: after one hour exp(-1/3) of it is left.
    errors = oxygen_errors(np.array([0.0, 1.0]), np.array([25.0, 25.0]), Probe(noise_mg_per_l=0.1))
    white = math.sqrt(0.01 * 0.5 * math.pi / 25.0 + 0.0009)
    keep = math.exp(-1.0 / 3.0)
    assert errors.memory == approx([0.0, keep])
    later = math.sqrt(0.16 * (1.0 - keep**2) + white**2 * (1.0 + keep**2))
    assert errors.size == approx([math.sqrt(0.16 + white**2), later], rel=1e-4)


def test_a_rise_may_be_misplaced_by_three_quarters_of_an_hour() -> None:
    # On paper: where oxygen is expected to rise by 2 mg/L/h, 1.5 mg/L may be timing; the next step carries it by its memory.
    errors = oxygen_errors(np.array([0.0, 1.0, 2.0]), np.array([25.0, 25.0, 25.0]), Probe(noise_mg_per_l=0.1))
    sizes = oxygen_sizes(errors, np.array([[0.0, 2.0, 0.0]]))[0]
    keep = math.exp(-1.0 / 3.0)
    assert sizes[1] ** 2 - errors.size[1] ** 2 == approx(2.25) and sizes[2] ** 2 - errors.size[2] ** 2 == approx(2.25 * keep**2)
    assert sizes[0] == approx(errors.size[0])
    # Each step is judged against what is left of the gap before: 1 then 1 is a surprise of 1 - exp(-1/3).
    steps = oxygen_residuals(errors, np.ones((1, 3)), np.array([6.0, 6.0, 6.0]), np.array([[5.0, 5.0, 6.0]]))
    assert steps[0] == approx([1.0, 1.0 - keep, -keep])


def test_a_log_in_percent_is_seen_by_its_size() -> None:
    values, keep, notes = possible_oxygen(np.arange(4.0), np.array([98.0, 50.0, 80.0, 20.0]), np.full(4, 9.0))
    assert values == approx([8.82, 4.5, 7.2, 1.8]) and keep.all() and len(notes) == 1
    # Above 1.6 times saturation or below -1 mg/L no brew is.
    _, keep, _ = possible_oxygen(np.arange(4.0), np.array([14.3, 14.5, -0.9, -1.1]), np.full(4, 9.0))
    assert list(keep) == [True, False, True, False]
