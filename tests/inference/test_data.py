"""Readings and logs on their way into the posterior: bad ones are found, said and survived."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from aerobe.errors import UnusableReading
from aerobe.inference import Effort, Log, Measurement, infer_brew, measurements_of, simulate_brews, story_of
from aerobe.inference._likelihood import (
    generalised_log,
    log_t,
    root_loss,
)
from aerobe.inference._logs import thin_oxygen, thin_temperature
from aerobe.records import Assay, AssayError, Reading

GRID = np.arange(0.0, 48.5, 0.5)
WARM = np.full(len(GRID), 20.0)
TIMES = np.arange(0.1, 24.0, 0.1)
STORY = story_of(compost_g_per_l=50.0, foods={"molasses": 1.4})


def smooth(t):
    return 7.0 - 3.0 * np.sin(t / 8.0)


def thin(values, times=TIMES):
    return thin_oxygen(Log(elapsed_h=times, values=values), GRID, WARM, 0.0, 0.0)


def test_percent_of_saturation_is_noticed_and_converted():
    # 9.092 mg/L at 20 degC is 100 % (benson-krause-1984).
    seen = thin(smooth(TIMES) / 9.092 * 100.0)
    assert any("percent" in note for note in seen.notes)
    assert np.allclose(seen.values, thin(smooth(TIMES)).values, atol=0.02)


def test_a_stuck_stretch_is_left_out_and_said():
    values = smooth(TIMES)
    values[60:130] = values[60]
    seen = thin(values)
    assert any("stood at" in note for note in seen.notes)
    assert not np.any((GRID[seen.index] > 6.6) & (GRID[seen.index] < 12.6))


def used_up(from_h: float) -> np.ndarray:
    """Oxygen that falls in four hours to nothing and stays there, as a probe with a floor shows it."""
    return np.maximum(8.0 - np.maximum(TIMES - from_h, 0.0) * 2.0, 0.0)


def test_oxygen_that_came_down_to_nothing_is_no_stuck_probe_but_a_brew_out_of_air():
    seen = thin(used_up(4.0))
    there = GRID[seen.index]
    assert there.max() > 23.0 and np.all(seen.values[there > 9.0] < 0.1)
    assert any("next to no oxygen" in note and "dead" in note for note in seen.notes)


@pytest.mark.parametrize(
    "values",
    [np.where(TIMES < 6.0, smooth(TIMES), 0.0), np.zeros(len(TIMES)), np.where(TIMES < 6.0, smooth(TIMES), 2.0)],
    ids=["falls at once", "from the start", "stands at two"],
)
def test_a_probe_that_dies_is_still_left_out(values):
    seen = thin(values)
    assert any("left out" in note for note in seen.notes)
    assert not np.any(GRID[seen.index] > 7.0)


def test_a_steady_water_with_probe_noise_is_not_taken_for_a_stuck_probe():
    values = 9.0 + np.round(np.random.default_rng(1).normal(0.0, 0.05, len(TIMES)), 2)
    assert thin(values).notes == ()


def test_impossible_values_entries_before_the_start_and_holes_are_survived():
    values = smooth(TIMES)
    values[10], values[11] = 80.0, np.nan
    times = TIMES.copy()
    times[0] = -3.0
    kept = (times < 5.0) | (times > 12.0)
    seen = thin(values[kept], times[kept])
    words = " ".join(seen.notes)
    assert "no brew can have" in words and "without a number" in words and "before the start" in words and "silent" in words
    assert np.abs(seen.values - smooth(GRID[seen.index])).max() < 0.3


def test_temperature_ahead_glides_to_the_last_days_mean():
    log = Log(elapsed_h=TIMES, values=20.0 + 3.0 * np.sin(2.0 * np.pi * TIMES / 24.0))
    out, notes = thin_temperature(log, GRID, 15.0)
    assert notes == ()
    assert out[-1] == pytest.approx(20.0, abs=0.1)
    assert out[12] == pytest.approx(20.0 + 3.0 * np.sin(2.0 * np.pi * 6.0 / 24.0), abs=0.1)


def test_readings_before_the_air_was_on_are_refused():
    with pytest.raises(UnusableReading, match="before the air"):
        Measurement(elapsed_h=-1.0, value=20.0)


def test_the_generalised_log_has_unit_error_near_zero_and_far_above():
    # rocke-durbin-2003: slope 1/constant at zero, 1/(scale value) far above.
    scale, constant = np.array([0.25]), np.array([4.0])
    for value, expected in ((0.0, 1.0 / 4.0), (4000.0, 1.0 / (0.25 * 4000.0))):
        step = 1e-4 * max(value, 1.0)
        rise = generalised_log(np.array([value + step]), scale, constant) - generalised_log(np.array([value]), scale, constant)
        assert rise[0] / step == pytest.approx(expected, rel=1e-3)


def test_root_loss_squares_to_the_t_loss():
    r = np.linspace(-6.0, 6.0, 25)
    assert np.allclose(0.5 * root_loss(r) ** 2, -log_t(r))


ERROR = AssayError(constant_sd=4.0, proportional_cv=0.2, gain_log_sd=0.2)
KIT = Assay(key="kit", name="kit", method="colour test", error=ERROR)


def reading(hour, signal, role="sample", dilution=1.0, number=[0]):  # noqa: B006
    number[0] += 1
    return Reading(
        key=f"r{number[0]}",
        brew="b",
        assay="kit",
        role=role,
        elapsed_h=hour,
        signal=signal,
        unit="ug C/mL",
        typed_as=str(signal),
        dilution=dilution,
        entered_at=datetime(2026, 5, 1, tzinfo=UTC),
    )


def test_doubling_the_dilution_and_halving_the_signal_changes_no_value():
    plain, _ = measurements_of([reading(2.0, 80.0)], {"kit": KIT})
    thinned, _ = measurements_of([reading(2.0, 40.0, dilution=2.0)], {"kit": KIT})
    assert plain[0].value == thinned[0].value


@pytest.mark.usefixtures("few_courses")
def test_a_darker_tea_with_the_same_cells_gets_the_same_biomass():
    def middle(colour):
        rows = [reading(h, v + colour) for h, v in ((2.0, 40.0), (10.0, 110.0), (16.0, 190.0))]
        rows += [reading(h, colour, role="killed control") for h in (2.0, 10.0, 16.0, 16.1)]
        measured, notes = measurements_of(rows, {"kit": KIT})
        assert notes == ()
        posterior = infer_brew(story_of(compost_g_per_l=50.0, foods={"molasses": 1.4}, measurements=measured))
        return np.median(posterior.value_at(posterior.biomass, 16.0))

    assert middle(60.0) == pytest.approx(middle(5.0), rel=0.08)


def test_a_colour_test_without_a_killed_control_says_so_and_is_trusted_less():
    _, notes = measurements_of([reading(2.0, 80.0)], {"kit": KIT})
    assert any("killed control" in note for note in notes)


def test_a_log_hotter_than_any_brew_is_set_aside_and_ends_no_call():
    times = np.arange(0.0, 12.0, 0.5)
    hot = Log(elapsed_h=times, values=np.where(times > 6.0, 42.0, 24.0))
    oxygen = Log(elapsed_h=times, values=np.full(len(times), 7.0) + 0.1 * np.sin(times))
    told = infer_brew(replace(story_of(compost_g_per_l=50.0), temperature=hot, oxygen=oxygen), effort=Effort(most_rounds=4))
    assert any("temperatures outside" in note for note in told.notes) and np.isfinite(told.biomass).all()


@pytest.mark.usefixtures("few_courses")
def test_unknown_colour_widens_what_is_believed_and_hardly_moves_the_call():
    def best(colour):
        rows = [reading(h, v + colour) for h, v in ((4.0, 40.0), (10.0, 110.0), (16.0, 190.0))]
        measured, _ = measurements_of(rows, {"kit": KIT})
        posterior = infer_brew(story_of(compost_g_per_l=50.0, foods={"molasses": 1.4}, measurements=measured))
        share = posterior.biomass / posterior.biomass.max(axis=1, keepdims=True)
        return posterior.times_h[share.mean(axis=0).argmax()], measured[0].error.bias_sd

    (clear, narrow), (dark, wide) = best(0.0), best(60.0)
    assert abs(clear - dark) < 4.0 and wide > 2.0 * narrow


@pytest.mark.usefixtures("few_courses")
def test_one_gross_test_does_not_take_over():
    good = [Measurement(elapsed_h=h, value=v, error=ERROR) for h, v in ((1.0, 30.0), (6.0, 60.0), (12.0, 130.0), (18.0, 190.0))]
    bad = [*good, Measurement(elapsed_h=15.0, value=9.0, error=ERROR)]

    def at_18(rows):
        posterior = infer_brew(story_of(compost_g_per_l=50.0, foods={"molasses": 1.4}, measurements=rows))
        return np.median(posterior.value_at(posterior.biomass, 18.0)), posterior

    clean, _ = at_18(good)
    spoilt, posterior = at_18(bad)
    assert spoilt == pytest.approx(clean, rel=0.25)
    assert any("repeat it" in note for note in posterior.notes)


def test_simulated_results_are_censored_by_the_net_limit():
    # The decision limit of a certificate is one of the net result, bias taken off (see the glossary).
    error = AssayError(constant_sd=5.0, proportional_cv=0.1, bias=40.0, detection_limit=30.0)
    truth = simulate_brews(story_of(compost_g_per_l=30.0), 1, seed=4)[0]
    blanks = [Measurement(elapsed_h=0.1 * i, value=0.0, error=error) for i in range(60)]
    results = truth.measure(np.random.default_rng(1), *blanks)
    below = [item.value for item in results if item.below_detection]
    seen = [item.value for item in results if not item.below_detection]
    assert below and seen and set(below) == {70.0} and min(seen) >= 70.0
