"""A brew of which nobody knows what is in it: its readings, and how brews rise and fall in general."""

from __future__ import annotations

import numpy as np
import pytest

from aerobe.inference import BrewStory, Measurement, infer_brew, story_of
from aerobe.records import AssayError

CELLS = AssayError(constant_sd=1e-4, proportional_cv=0.15, gain_log_sd=0.4)


def story(results: dict[float, float], **more: object) -> BrewStory:
    made = tuple(
        Measurement(elapsed_h=hour, value=value, error=CELLS, quantity="bacteria", assay="count")
        for hour, value in results.items()
    )
    return story_of(compost_g_per_l=0.0, measurements=made, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("scale", [0.02, 1.0, 100.0])
def test_the_hour_of_the_peak_does_not_hang_on_the_scale_of_the_test(scale: float) -> None:
    posterior = infer_brew(story({h: scale * v for h, v in {0.0: 1.0, 8.0: 2.5, 16.0: 6.0, 24.0: 8.0, 36.0: 5.0}.items()}))
    low, middle, high = np.quantile(posterior.peak_time_h(), [0.05, 0.5, 0.95])
    assert posterior.settled and posterior.from_readings_alone and 14.0 < low < middle < high < 36.0


def test_the_middle_goes_through_the_readings_and_is_wide_beyond_them() -> None:
    seen = {0.0: 0.02, 6.0: 0.05, 12.0: 0.12, 24.0: 0.19}
    posterior = infer_brew(story(seen))
    gain = posterior.gains[:, 0]
    for hour, value in seen.items():
        assert np.median(posterior.value_at(posterior.bacteria, hour) * gain) == pytest.approx(value, rel=0.2)
    spread = [float(np.std(np.log(posterior.value_at(posterior.biomass, hour)) + np.log(gain))) for hour in (20.0, 60.0)]
    assert spread[1] > 2.0 * spread[0]


def test_one_reading_leaves_nearly_all_open_and_a_long_lag_is_followed() -> None:
    one = infer_brew(story({0.0: 0.02}))
    low, high = np.quantile(one.peak_time_h(), [0.05, 0.95])
    assert one.settled and low < 6.0 and high > 50.0
    late = infer_brew(story({0.0: 0.02, 12.0: 0.021, 24.0: 0.04, 48.0: 0.5}))
    assert late.settled and np.quantile(late.peak_time_h(), 0.1) > 40.0


@pytest.mark.usefixtures("few_courses")
def test_only_bounds_and_a_brew_that_never_rises() -> None:
    bounds = tuple(
        Measurement(elapsed_h=hour, value=0.01, error=CELLS, quantity="bacteria", assay="count", below_detection=True)
        for hour in (0.0, 12.0)
    )
    low = infer_brew(story_of(compost_g_per_l=0.0, measurements=bounds))
    assert low.settled and np.median(low.value_at(low.bacteria, 12.0)) < 0.01
    falls = infer_brew(story({0.0: 50.0, 4.0: 40.0, 8.0: 30.0, 12.0: 22.0}))
    assert falls.settled and np.median(falls.peak_time_h()) < 3.0
