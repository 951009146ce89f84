"""What happens in a shed: air off and on, food and water midway, odd thermometers; entered, or seen in the oxygen log alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aerobe.inference import Log, Measurement, find_stops, infer_brew, stops_in_log, story_of
from aerobe.inference._empirical import empirical_courses
from aerobe.inference._forcing import forcing_of
from aerobe.inference._limited import nitrogen_courses
from aerobe.inference._prior import N_TERMS
from aerobe.inference._target import BrewTarget, setting_of
from aerobe.records import BrewEvent
from aerobe.worlds import TUNING, make_world, with_pump_stop
from benchmarks.how_often_is_a_stop_noticed import stops_seen, uptake_at

STORY = story_of(compost_g_per_l=50.0, foods={"molasses": 1.5})
MOST = 9.09  # saturation of fresh water at 20 degC and sea level (benson-krause-1984)


def event(what, hour, **more):
    return BrewEvent(key=f"e-{hour}-{what[:3]}".replace(" ", ""), brew="b", what=what, elapsed_h=hour, **more)


def middle_course(*events, story=STORY):
    """Hours, bacteria and oxygen of the brew whose every score is in the middle."""
    setting = setting_of(replace(story, events=events))
    target = BrewTarget(setting)
    kept = target.run(np.zeros((1, target.size)))[0]
    return lambda hour: (
        float(np.exp(np.interp(hour, setting.grid_h, kept[:, 0]))),
        float(np.interp(hour, setting.grid_h, kept[:, 2])),
    )


def balance(off=None, on=None, *, uptake=12.0, kla=8.0, until=24.0, growth=0.0, step=0.1, noise=0.08, seed=1, start=0.0):
    """A log by the balance of transfer and uptake, solved in small steps: a pump that stops between two hours, or never."""
    fine, c, out = 0.002, MOST - uptake / kla, []
    for i in range(int(until / fine)):
        t = i * fine
        running = off is None or not off <= t < on
        taken = uptake * np.exp(growth * (t - start)) * c / (c + 0.1)
        c = max(c + fine * (kla * running * (MOST - c) - taken), 0.0)
        out.append(c)
    times = np.arange(step, until - fine, step)
    values = np.interp(times, fine * np.arange(len(out)), out)
    return times, np.maximum(values + np.random.default_rng(seed).normal(0.0, noise, len(times)), 0.0)


def found(times, values, fed=()):
    return find_stops(times, values, np.full(len(times), MOST), fed)


@pytest.mark.parametrize("uptake", [3.0, 12.0, 40.0])
@pytest.mark.parametrize("step", [0.02, 0.1, 0.25, 0.5])
def test_a_stop_of_two_hours_is_found_with_its_ends(uptake, step):
    (stop,) = found(*balance(9.0, 11.0, uptake=uptake, step=step))
    assert stop.off_h == pytest.approx(9.0, abs=0.4 if step < 0.5 else 0.6)
    assert stop.on_h == pytest.approx(11.0, abs=0.4 if step < 0.5 else 0.6)


def test_a_stop_that_still_goes_on_is_found_and_asks_to_look_at_the_pump():
    times, values = balance(9.0, 99.0)
    (stop,) = found(times[times < 10.5], values[times < 10.5])
    assert stop.on_h is None and "Look at the pump" in stop.says()


@pytest.mark.parametrize("seed", range(6))
def test_uptake_that_grows_until_oxygen_is_gone_is_no_stop(seed):
    assert found(*balance(uptake=2.0, growth=0.35, seed=seed, until=14.0)) == ()


def test_food_that_is_spent_and_food_that_is_added_are_no_stop():
    times, before = balance(uptake=30.0, until=10.0)
    after = balance(uptake=4.0, until=10.0, seed=2)[1]
    spent = np.concatenate([before, np.minimum(after, before[-1] + 4.0 * times)])
    both = np.concatenate([times, times[-1] + times])
    assert found(both, spent) == ()
    # Food that is added: down to a new balance at the pace of transfer, and it stays there.
    fed = np.concatenate([after, after[-1] - 3.0 * (1.0 - np.exp(-8.0 * times))])
    assert found(both, fed) == ()
    assert found(both, np.maximum(after[-1] - 30.0 * (both - times[-1]).clip(0.0), 0.0), fed=(float(times[-1]),)) == ()


def test_most_stops_in_brews_of_foreign_laws_are_noticed_and_none_where_none_was():
    # The long version, all worlds: benchmarks/how_often_is_a_stop_noticed.py.
    world = make_world(TUNING["crowded"], 16, 1)
    assert sum(bool(stops_seen(world, brew, 72.0)) for brew in range(16)) == 0
    stopped = with_pump_stop(world, 9.0, 2.0, 3)
    asked = [brew for brew in range(16) if uptake_at(stopped, brew, 9.0) >= 2.0]
    noticed = [brew for brew in asked if any(abs(stop.off_h - 9.0) < 0.6 for stop in stops_seen(stopped, brew, 14.0))]
    assert len(noticed) >= 0.85 * len(asked)


def test_a_found_stop_enters_the_model_with_a_question_unless_it_was_entered_or_denied():
    times, values = balance(9.0, 13.0)
    story = replace(STORY, oxygen=Log(elapsed_h=times, values=values))
    forcing = forcing_of(story)
    assert "stood still from" in forcing.notes[0] and "Is that so?" in forcing.notes[0]
    air = setting_of(story).around.air
    assert air is not None and air.min() < 0.05
    entered = replace(story, events=(event("air off", 9.1), event("air on", 13.0)))
    assert forcing_of(entered).notes == () and setting_of(entered).around.air.min() < 0.05
    denied = replace(story, events=(event("air kept running", 9.0, until_h=13.0),))
    assert stops_in_log(denied, denied.events) == () and setting_of(denied).around.air is None


def test_air_that_still_stands_is_thought_to_be_back_soon_and_its_hour_is_known():
    entered = replace(STORY, events=(event("air off", 9.0),))
    running = replace(STORY, events=(event("air off", 9.0), event("air on", 11.0)))
    setting = setting_of(entered)
    assert setting.off_since_h == 9.0 and setting_of(running).off_since_h is None and setting_of(STORY).off_since_h is None
    air, grid = setting.around.air, setting.grid_h
    assert air[(grid >= 9.0) & (grid < 9.99)].max() < 0.05 and air[grid >= 10.01].min() == 1.0
    read = replace(entered, measurements=(Measurement(elapsed_h=12.0, value=80.0),))
    later = setting_of(read)
    assert later.around.air[(later.grid_h >= 9.0) & (later.grid_h < 12.9)].max() < 0.05


def test_a_mornings_stop_is_not_read_as_spent_food():
    # The same brew with and without four hours of still air: harvest is not called for because of it.
    world = make_world(TUNING["crowded"], 4, 1)
    stopped = with_pump_stop(world, 9.0, 4.0, 3)
    brew = next(brew for brew in range(4) if uptake_at(stopped, brew, 9.0) >= 2.0)
    from aerobe.practice import story_for, with_log_until

    posterior = infer_brew(with_log_until(story_for(stopped, brew), stopped, brew, 15.0), seed=1)
    assert any("air stood still" in note for note in posterior.notes)


def test_oxygen_goes_and_growth_rests_while_the_air_is_off_also_between_grid_times():
    plain, still = middle_course(), middle_course(event("air off", 9.2), event("air on", 13.1))
    assert still(9.0) == pytest.approx(plain(9.0))
    assert still(11.0)[1] < 0.2 and still(13.0)[0] < still(9.2)[0]
    assert still(14.0)[0] > still(13.0)[0] and still(30.0)[0] > 0.9 * plain(30.0)[0]  # the food was not lost


def test_water_thins_what_was_there_and_brings_oxygen():
    plain, thin = middle_course(), middle_course(event("water added", 20.1, amount=20.0))
    assert thin(20.0)[0] == pytest.approx(plain(20.0)[0])
    assert thin(20.2)[0] == pytest.approx(0.5 * plain(20.2)[0], rel=0.02)
    assert middle_course(event("drawn off", 20.1, amount=10.0))(30.0)[0] == pytest.approx(plain(30.0)[0], rel=0.01)


def test_food_added_midway_is_eaten_and_less_air_is_felt():
    plain, fed = middle_course(), middle_course(event("food", 20.05, amount=1.0, food="molasses"))
    assert fed(19.9) == pytest.approx(plain(19.9)) and fed(30.0)[0] > 1.3 * plain(30.0)[0]
    assert middle_course(event("air flow", 6.0, amount=2.0))(9.0)[1] < 0.3 * plain(9.0)[1]


def test_an_expected_temperature_steps_where_it_was_entered():
    setting = setting_of(replace(STORY, events=(event("temperature", 6.0, amount=28.0),)))
    assert setting.around.temperature_degc[setting.grid_h < 5.9] == pytest.approx(20.0)
    assert setting.around.temperature_degc[setting.grid_h > 6.1] == pytest.approx(28.0)


def test_a_story_until_an_hour_knows_no_later_event():
    story = replace(STORY, events=(event("air off", 9.0), event("air on", 13.0)))
    assert [item.what for item in story.until(10.0).events] == ["air off"]


@pytest.mark.parametrize("degc", [42.0, 60.0, -3.0])
def test_impossible_temperatures_are_set_aside_with_a_note_and_never_end_a_call(degc):
    hours = np.arange(0.5, 12.0, 0.5)
    warm = np.where(hours > 6.0, degc, 21.0)
    story = replace(STORY, temperature=Log(elapsed_h=hours, values=warm), oxygen=Log(elapsed_h=hours, values=7.0 - 0.1 * hours))
    setting = setting_of(story)
    assert any("are left out" in note for note in setting.notes)
    assert setting.around.temperature_degc == pytest.approx(21.0)
    every = setting_of(replace(story, temperature=Log(elapsed_h=hours, values=np.full(len(hours), degc))))
    assert every.around.temperature_degc == pytest.approx(20.0)


def test_an_expected_temperature_beyond_the_table_is_brought_to_its_end_and_said():
    setting = setting_of(replace(STORY, temperature_degc=43.0))
    assert setting.around.temperature_degc == pytest.approx(40.0) and any("43 degC" in note for note in setting.notes)


def test_every_structure_rests_without_air_and_is_thinned_by_water():
    setting = setting_of(
        replace(STORY, events=(event("air off", 8.2), event("air on", 13.1), event("water added", 20.1, amount=20.0)))
    )
    plain = setting_of(STORY)
    for courses in (empirical_courses, nitrogen_courses):
        z = np.random.default_rng(3).standard_normal((40, N_TERMS))
        changed, usual = (courses(item.basis, item.around, z, np.random.default_rng(5)) for item in (setting, plain))
        still = np.median(_at(setting, changed, 13.1) - _at(setting, changed, 8.2))
        # A little may ferment meanwhile.
        assert still < 0.4 * np.median(_at(plain, usual, 13.1) - _at(plain, usual, 8.2))
        thinned = _at(setting, changed, 20.12) - _at(setting, changed, 20.1)
        assert np.median(thinned) == pytest.approx(np.log(0.5), abs=0.02)


def _at(setting, courses, hour):
    return courses.log_mass[:, np.abs(setting.grid_h - hour).argmin()]
