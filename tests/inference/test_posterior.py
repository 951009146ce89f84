"""The posterior of a brew: honest before and after data, and able to learn from earlier brews."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aerobe.inference import Log, Measurement, infer_brew, learn_from, simulate_brews, story_of
from aerobe.inference._prior import N_TERMS, NAMES
from benchmarks.how_honest_is_the_posterior import one_from_the_prior

STORY = story_of(compost_g_per_l=50.0, foods={"molasses": 1.4, "kelp-meal": 1.0})
KIT = Measurement(elapsed_h=0.0, value=0.0)


def kits(*hours):
    return [replace(KIT, elapsed_h=h) for h in hours]


def width(values):
    low, high = np.quantile(values, [0.05, 0.95])
    return high - low


@pytest.mark.usefixtures("few_courses")
def test_the_recipe_alone_gives_a_forecast_and_the_same_seed_the_same():
    first, again = infer_brew(STORY, seed=3), infer_brew(STORY, seed=3)
    assert first.settled and np.array_equal(first.biomass, again.biomass)
    assert np.all(np.isfinite(first.biomass)) and np.all(first.biomass > 0.0)


@pytest.mark.usefixtures("few_courses")
def test_more_food_means_a_higher_peak_and_less_oxygen():
    little, much = (infer_brew(story_of(compost_g_per_l=40.0, foods={"molasses": g})) for g in (0.3, 4.0))
    assert np.median(much.peak_biomass()) > 1.5 * np.median(little.peak_biomass())
    assert np.median(much.oxygen.min(axis=1)) < np.median(little.oxygen.min(axis=1))


@pytest.mark.usefixtures("few_courses")
def test_food_added_later_moves_the_peak_later():
    at_once = infer_brew(story_of(compost_g_per_l=40.0, foods=[{"food": "molasses", "g_per_l": 2.0}]))
    split = infer_brew(
        story_of(
            compost_g_per_l=40.0,
            foods=[{"food": "molasses", "g_per_l": 1.0}, {"food": "molasses", "g_per_l": 1.0, "at_h": 20.0}],
        )
    )
    assert np.median(split.peak_time_h()) > np.median(at_once.peak_time_h()) + 3.0


@pytest.mark.usefixtures("few_courses")
def test_tests_narrow_the_amount_and_an_oxygen_log_narrows_the_timing():
    # The median over brews: a single surprising result may widen a forecast, and should.
    rng = np.random.default_rng(1)
    amount, timing = [], []
    for truth in simulate_brews(STORY, 5, seed=12):
        measured = truth.measure(rng, *kits(2.0, 10.0, 18.0))
        stories = (
            STORY,
            replace(STORY, measurements=measured),
            replace(STORY, measurements=measured, oxygen=truth.log_oxygen(rng, 24.0)),
        )
        posteriors = [infer_brew(story) for story in stories]
        amount.append([width(np.log(item.value_at(item.biomass, 14.0))) for item in posteriors])
        timing.append([width(np.log(item.value_at(item.biomass, 20.0) / item.peak_biomass())) for item in posteriors])
    by_tests, by_log = np.median(amount, axis=0), np.median(timing, axis=0)
    assert by_tests[1] < 0.8 * by_tests[0]
    assert by_log[2] < 0.8 * by_log[1] and by_log[2] < 0.8 * by_log[0]


@pytest.mark.usefixtures("few_courses")
def test_a_log_full_of_faults_is_survived():
    times = np.arange(0.1, 20.0, 0.05)
    values = np.full(len(times), 55.0)  # percent, and stuck
    posterior = infer_brew(replace(STORY, oxygen=Log(elapsed_h=times, values=values)))
    assert posterior.settled and len(posterior.notes) >= 1


@pytest.mark.usefixtures("few_courses")
def test_earlier_brews_of_the_same_recipe_sharpen_the_forecast_and_others_less():
    truths = simulate_brews(STORY, 3, seed=21)
    rng = np.random.default_rng(2)
    done = [infer_brew(replace(STORY, measurements=t.measure(rng, *kits(1.0, 6.0, 12.0, 18.0, 24.0, 36.0)))) for t in truths]
    bare = infer_brew(STORY)
    alike = [d.as_past(same_compost=True, same_recipe=True, same_vessel=True) for d in done]
    unlike = [d.as_past(same_compost=False, same_recipe=False, same_vessel=False) for d in done]
    sharp, blunt = infer_brew(STORY, past=alike), infer_brew(STORY, past=unlike)
    start = [width(np.log(item.biomass[:, 0])) for item in (bare, blunt, sharp)]
    assert start[2] < 0.9 * start[0] and start[1] > start[2]


def test_partial_pooling_of_one_term_matches_the_textbook():
    # One earlier brew, one term known exactly (variance v): the new mean is share/(1) times its value when v -> 0,
    # and the new variance 1 - share**2 (normal regression of one score on the other; lindley-smith-1972).
    from aerobe.inference import Past
    from aerobe.inference._pooling import shared_variance

    place = NAMES.index("kla_factor")
    mean, covariance = np.zeros(N_TERMS), np.eye(N_TERMS)
    mean[place], covariance[place, place] = 1.0, 1e-8
    past = Past(mean=mean, covariance=covariance, same_compost=False, same_recipe=False, same_vessel=True)
    shift = learn_from([past])
    share = shared_variance(past)[place]
    assert shift is not None
    assert shift.mean[place] == pytest.approx(share, rel=1e-4)
    assert shift.covariance[place, place] == pytest.approx(1.0 - share**2, rel=1e-4)
    others = np.delete(np.arange(N_TERMS), place)
    assert np.abs(shift.mean[others]).max() < 1e-6


@pytest.mark.parametrize("brews", [6, pytest.param(40, marks=pytest.mark.night)])
def test_intervals_cover_and_the_count_notices_a_spoiled_posterior(brews):
    # The first of the 1,000 brews of benchmarks/how_honest_is_the_posterior.py: 18 intervals by day, so 90 % +- 7 % if
    # independent; the three of a brew are not, hence the wide limits here. Simulation-based calibration: talts-2018.
    found = [one_from_the_prior(index) for index in range(brews)]
    inside, spoiled = (np.mean([item[i] for item in found]) for i in (1, 2))
    assert 0.82 <= inside <= 0.97
    assert spoiled < 0.75
    ranks = np.array([item[0] for item in found])
    assert 0.38 < ranks.mean() < 0.62
