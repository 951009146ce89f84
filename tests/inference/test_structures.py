"""Several structures weighed by the readings, and a horizon that grows while courses still rise."""

from __future__ import annotations

import numpy as np
import pytest

from aerobe.inference import Measurement, infer_brew, lacking_and_error, story_of
from aerobe.inference._clouds import prior_courses
from aerobe.inference._target import setting_of
from aerobe.records import AssayError

ERROR = AssayError(constant_sd=2.0, proportional_cv=0.12, gain_log_sd=0.3)
USUAL = {"compost_g_per_l": 40.0, "foods": {"molasses": 1.5}}


def reading(hour, value):
    return Measurement(elapsed_h=hour, value=value, error=ERROR, assay="kit")


def test_the_empirical_structure_rises_and_falls_as_brews_do():
    # Common practice, no source: a peak some 12 to 36 h in, and half a day later most of it still there.
    setting = setting_of(story_of(**USUAL, horizon_h=120.0))
    empirical = prior_courses(setting, None, 1, count=512)[2]
    assert empirical.structure == "rise and fall"
    peak = setting.grid_h[empirical.log_mass.argmax(axis=1)]
    assert 14.0 < np.median(peak) < 30.0 and np.quantile(peak, 0.05) < 12.0
    assert np.isfinite(empirical.log_mass).all() and (empirical.oxygen > 0.0).all()
    assert np.median(empirical.log_mass.max(axis=1) - empirical.log_mass[:, 0]) > np.log(2.0)


@pytest.mark.usefixtures("few_courses")
def test_readings_that_no_balance_explains_are_left_to_the_other_structure():
    odd = infer_brew(story_of(**USUAL, measurements=tuple(reading(h, v) for h, v in ((6.0, 22.0), (16.0, 3.0), (24.0, 2.0)))))
    usual = infer_brew(story_of(**USUAL, measurements=(reading(6.0, 60.0), reading(16.0, 180.0), reading(24.0, 200.0))))
    assert odd.structures == usual.structures == ("food and oxygen", "nitrogen and acids", "rise and fall")
    assert odd.shares[2] > usual.shares[2]
    assert 0.15 < usual.shares[0] < 0.9 and abs(sum(usual.shares) - 1.0) < 1e-9


@pytest.mark.usefixtures("few_courses")
def test_no_biomass_is_forecast_for_which_there_is_no_nitrogen():
    # Cells hold one part of nitrogen to four to eight of carbon (henze-2000); sugar holds none, compost a few mg/g.
    sugar = infer_brew(story_of(compost_g_per_l=30.0, foods={"sucrose": 5.0}))
    fed = infer_brew(story_of(compost_g_per_l=30.0, foods={"sucrose": 5.0, "soy-meal": 8.0}))
    bare = infer_brew(story_of(compost_g_per_l=0.0, foods={"molasses": 2.0}))
    assert np.median(sugar.peak_biomass()) < 250.0 and np.quantile(sugar.peak_biomass(), 0.95) < 852.0
    assert np.median(fed.peak_biomass()) > 1.5 * np.median(sugar.peak_biomass())
    assert np.median(bare.peak_biomass()) < 90.0


@pytest.mark.usefixtures("few_courses")
def test_near_a_reading_the_readings_rule_and_far_ahead_the_prior_does():
    bare = infer_brew(story_of(**USUAL))
    told = infer_brew(story_of(**USUAL, measurements=tuple(reading(h, v) for h, v in ((8.0, 70.0), (9.0, 75.0), (10.0, 80.0)))))

    def width(posterior, hour):
        low, high = np.quantile(np.log(posterior.value_at(posterior.biomass, hour)), [0.05, 0.95])
        return high - low

    assert width(told, 10.0) < 0.6 * width(bare, 10.0)
    assert width(told, 10.0) < width(told, 60.0)


@pytest.mark.usefixtures("few_courses")
def test_the_horizon_of_a_cold_brew_grows_and_that_of_a_warm_one_does_not():
    warm, cold = infer_brew(story_of(**USUAL)), infer_brew(story_of(**USUAL, temperature_degc=7.0))
    assert warm.times_h[-1] == 72.0 and cold.times_h[-1] > 100.0
    assert np.mean(warm.times_h[warm.biomass.argmax(axis=1)] > 69.0) < 0.05


@pytest.mark.usefixtures("few_courses")
def test_a_reading_far_off_is_noticed_and_a_usual_one_is_not():
    before = (reading(4.0, 40.0), reading(10.0, 110.0))
    usual = infer_brew(story_of(**USUAL, measurements=(*before, reading(16.0, 180.0))))
    odd = infer_brew(story_of(**USUAL, measurements=(*before, reading(16.0, 4.0))))
    assert usual.last_tail > 0.1 and odd.last_tail < 0.01


def test_no_structure_grows_faster_than_the_air_lets_it_and_a_brew_short_of_air_shows_it():
    poor = setting_of(story_of(compost_g_per_l=60.0, foods={"molasses": 6.0}, kla_per_h=3.0, kla_log_sd=0.05, horizon_h=72.0))
    empirical = prior_courses(poor, None, 1, count=512)[2]
    made = np.diff(np.exp(empirical.log_mass), axis=1) / np.diff(poor.grid_h)
    # What is burnt beside growth takes 2.67 mg of oxygen a milligram of carbon; here about as much is burnt as is made.
    supply = 3.0 * 9.1 / 2.67
    assert np.quantile(made.max(axis=1), 0.9) < 4.0 * supply
    short = (empirical.oxygen < 1.0).sum(axis=1) * 0.5 > 3.0
    assert short.mean() > 0.5 and empirical.oxygen.min() >= 0.0


def test_a_log_leaves_enough_courses_however_odd_it_is():
    from aerobe.inference._clouds import ENOUGH, weighed_by_log

    hours = np.arange(0.5, 20.0, 0.5)
    odd = 5.0 + 3.0 * np.sin(hours * 2.0)
    setting = setting_of(story_of(**USUAL, horizon_h=72.0, oxygen=(hours, odd)))
    for courses in prior_courses(setting, None, 1, count=512)[1:]:
        w = np.exp(weighed_by_log(setting, courses).log_weight)
        w = w / w.max()
        assert w.sum() ** 2 / (w**2).sum() >= 0.9 * ENOUGH


def test_what_lacks_tells_a_brew_out_of_air_from_one_half_full():
    # The log of what lacks over what is there, each at least what a probe can tell.
    told, slope = lacking_and_error(np.array([0.0, 4.5, 8.9]), np.array(9.0))
    assert told == pytest.approx(np.log([9.15 / 0.3, 4.65 / 4.8, 0.25 / 9.2]))
    moved, _ = lacking_and_error(np.array([1e-4, 4.5001, 8.9001]), np.array(9.0))
    assert (told - moved) / 1e-4 == pytest.approx(slope, rel=1e-3)
