"""Numbers of the structures beside the balance, of logs and of what acts on a brew: on paper or computed another way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from pytest import approx

from aerobe.inference import basis_of, story_of
from aerobe.inference._clouds import follows_log
from aerobe.inference._courses import Courses
from aerobe.inference._empirical import _demand, _no_faster_than_air, _ramp, empirical_courses, felt_clock, step_up
from aerobe.inference._forcing import Stretch, forcing_of
from aerobe.inference._limited import nitrogen_courses, within_nitrogen
from aerobe.inference._logs import _stuck
from aerobe.inference._prior import N_TERMS, NAMES, PRIOR
from aerobe.inference._target import setting_of
from aerobe.kinetics import OXYGEN_PER_CARBON, Surroundings
from aerobe.records import BrewEvent


def surroundings(hours: np.ndarray, **more: object) -> Surroundings:
    n = len(hours)
    made: dict[str, object] = {
        "times_h": hours,
        "temperature_degc": np.full(n, 20.0),
        "saturation_mg_per_l": np.full(n, 9.0),
        "added_food_mg_c_per_l": np.zeros(n),
        "added_slow_mg_c_per_l": np.zeros(n),
    }
    return Surroundings(**(made | more))  # type: ignore[arg-type]


class NoChance:
    """Every normal draw in the middle, every event left out: the course at the centre of all spreads."""

    def standard_normal(self, shape: tuple[int, ...]) -> np.ndarray:
        return np.zeros(shape)

    def random(self, shape: tuple[int, ...]) -> np.ndarray:
        return np.ones(shape)


def test_the_middle_course_of_the_second_structure_on_paper() -> None:
    # Independent computation: Baranyi and Roberts' lag (1994) in Richards' curve (1959, exponent 2), with the middle of every
    # spread.
    hours = np.arange(0.0, 30.5, 0.5)
    story = story_of(compost_g_per_l=40.0, foods={"sucrose": 2.0}, kla_per_h=1000.0, kla_log_sd=0.05)
    basis = basis_of(story.recipe, story.vessel)
    found = empirical_courses(basis, surroundings(hours), np.zeros((1, N_TERMS)), NoChance())  # type: ignore[arg-type]
    middle = {name: term.centre for name, term in zip(NAMES, PRIOR, strict=True)}
    start = middle["bacteria_mg_c_per_g_compost"] * (1.0 + middle["fungi_to_bacteria"]) * 40.0 + 1e-3
    carbon = basis.food_mg_c_per_l + 0.7 * 40.0 + 0.5 * (basis.slow_mg_c_per_l + 4.0 * 40.0)
    top = start + 0.26 * carbon
    rate, work = middle["bacteria_growth_per_h"], middle["lag_work"]
    ready = hours + np.log(np.exp(-rate * hours) + np.exp(-work) - np.exp(-rate * hours - work)) / rate
    curve = top / (1.0 + ((top / start) ** 2 - 1.0) * np.exp(-2.0 * rate * ready)) ** 0.5
    full = float(np.interp(0.9 * math.log(top / start), np.log(curve / start), hours))
    # From four hours less three after nine tenths it falls by 0.016/h, its corner rounded over two hours.
    begins = full + 4.0 - 3.0
    falls = 0.016 * 2.0 * (np.logaddexp(0.0, (hours - begins) / 2.0) - math.log1p(math.exp(-begins / 2.0)))
    assert found.log_mass[0] == approx(np.log(curve) - falls, abs=2e-3)
    assert found.log_ratio[0] == approx(np.full(len(hours), math.log(middle["fungi_to_bacteria"])))
    # With that much air: saturation less demand over transfer; one carbon burnt for each made and 0.012/h for upkeep.
    mass = np.exp(found.log_mass[0])
    demand = OXYGEN_PER_CARBON * (np.maximum(np.gradient(mass, hours), 0.0) + 0.012 * mass)
    assert found.oxygen[0] == approx(9.0 - demand / 1000.0, abs=1e-3) and found.log_weight[0] == 0.0


def test_food_added_later_lifts_the_course_by_what_it_can_make() -> None:
    # On paper: 50 mg C/L of food and half of 40 of slow food make 0.26 x 70 more than the ceiling, long after the feed.
    hours = np.arange(0.0, 60.5, 0.5)
    story = story_of(compost_g_per_l=40.0, foods={"sucrose": 2.0}, kla_per_h=1000.0, kla_log_sd=0.05)
    basis = basis_of(story.recipe, story.vessel)
    fed = replace(basis, later_feeds=((30.0, 50.0, 40.0),))
    z = np.zeros((1, N_TERMS))
    plain, more = (empirical_courses(one, surroundings(hours), z, NoChance()).log_mass[0] for one in (basis, fed))  # type: ignore[arg-type]
    start = 0.45 * 1.35 * 40.0 + 1e-3
    top = start + 0.26 * (basis.food_mg_c_per_l + 28.0 + 0.5 * (basis.slow_mg_c_per_l + 160.0))
    assert (more - plain)[-1] == approx(math.log1p(0.26 * 70.0 / top), rel=0.01) and (more - plain)[:40] == approx(
        np.zeros(40), abs=0.01
    )


def test_clocks_ramps_and_steps_of_the_second_structure() -> None:
    # On paper: a clock by trapezes that stands while the air is off; a ramp that far on is the time since; a step of half.
    hours = np.array([0.0, 1.0, 3.0, 4.0])
    assert felt_clock(hours, np.array([1.0, 2.0, 2.0, 4.0]), np.array([1.0, 1.0, 0.0, 1.0])) == approx([0.0, 1.5, 5.5, 5.5])
    begins = np.array([[10.0]])
    ramp = _ramp(np.array([[0.0, 10.0, 60.0]]), begins, 2.0)[0]
    corner = 2.0 * math.log1p(math.exp(-5.0))
    assert ramp == approx([0.0, 2.0 * math.log(2.0) - corner, 50.0 - corner])
    assert step_up(np.array([3.0, 4.0, 4.1]), np.array(4.0), np.array(1.0)) == approx(
        [1 / (1 + math.e), 0.5, 1 / (1 + math.exp(-0.1))]
    )
    assert step_up(np.array([4.3]), np.array(4.0), np.array(0.1)) == approx([1.0 / (1.0 + math.exp(-1.0))])
    around = surroundings(np.array([0.0, 1.0, 2.0]))
    mass = np.array([[10.0, 20.0, 10.0]])
    # Made 10, 0 and none in an hour (slopes at the ends and in the middle), two burnt a made one, 0.1 of what lives.
    found = _demand(np.log(mass), around, np.array([[2.0]]), np.array([[0.1]]))
    assert found[0] == approx(OXYGEN_PER_CARBON * np.array([20.0 + 1.0, 0.0 + 2.0, 0.0 + 1.0]))


def test_a_course_that_asks_for_more_than_the_air_brings_comes_later() -> None:
    # On paper: 10 grows by 0.5/h, each gram burns one, upkeep 0.1 of what lives. Air for 3 lets 3 - 1 = 2 of 5 wanted: the
    # first hour
    # counts for 0.4 of one, and the course is there where it would have been at 0.4 h.
    hours = np.array([0.0, 1.0, 2.0])
    course = np.log(10.0) + 0.5 * hours[None]
    around, never = surroundings(hours), np.zeros((1, 3), bool)

    def slowed(supply: float, paused: np.ndarray = never) -> np.ndarray:
        return _no_faster_than_air(course, around, np.array([[1.0]]), np.array([[0.1]]), np.full((1, 3), supply), paused)

    found = slowed(3.0)
    assert found[0, :2] == approx([math.log(10.0), math.log(10.0) + 0.2])
    mass = 10.0 * math.exp(0.2)
    assert found[0, 2] == approx(math.log(mass) + 0.5 * (3.0 - 0.1 * mass) / (0.5 * mass))
    assert slowed(1e3) == approx(course)
    # Where upkeep takes all, a fiftieth of the air is left for growth.
    assert slowed(1.0)[0, 1] == approx(math.log(10.0) + 0.5 * 0.02 / 5.0)
    # Paused over the first hour, it grows by half a unit in the second.
    assert slowed(1e3, np.array([[True, False, False]]))[0] == approx(math.log(10.0) + np.array([0.0, 0.0, 0.5]))


class EveryPause(NoChance):
    """All pauses happen, in the middle of when and how long they may; whatever else happens by chance does not."""

    def __init__(self) -> None:
        self.asked = 0

    def random(self, shape: tuple[int, ...]) -> np.ndarray:
        self.asked += 1
        return np.full(shape, {3: 0.5, 4: 0.0}.get(self.asked, 1.0))


def test_a_tenth_of_brews_stand_still_for_some_hours_that_nobody_saw() -> None:
    # Independent computation: the same course, standing from 2 + 28/2 = 16 h for 4 h, is there four hours later what it was.
    hours = np.arange(0.0, 40.5, 0.5)
    story = story_of(compost_g_per_l=40.0, foods={"sucrose": 2.0}, kla_per_h=1000.0, kla_log_sd=0.05)
    basis, around, z = basis_of(story.recipe, story.vessel), surroundings(hours), np.zeros((1, N_TERMS))
    plain = empirical_courses(basis, around, z, NoChance())  # type: ignore[arg-type]
    paused = empirical_courses(basis, around, z, EveryPause())  # type: ignore[arg-type]
    assert paused.log_mass[0, :33] == approx(plain.log_mass[0, :33])
    assert paused.log_mass[0, 33:41] == approx(np.full(8, plain.log_mass[0, 32]))
    assert paused.log_mass[0, 40:] == approx(plain.log_mass[0, 32:-8], abs=1e-9)
    many = empirical_courses(basis, around, np.zeros((4000, N_TERMS)), np.random.default_rng(3))
    # Three half hours without any change are a pause: nothing else in the structure stands quite still.
    stands = np.isclose(np.diff(many.log_mass, axis=1), 0.0, atol=1e-12)
    share = np.mean((stands[:, 4:-2] & stands[:, 5:-1] & stands[:, 6:]).any(axis=1))
    assert share == approx(0.1, abs=0.02)  # three standard errors of 4,000


def courses(log_mass: np.ndarray, oxygen: np.ndarray) -> Courses:
    n = len(log_mass)
    return Courses(
        structure="rise and fall",
        log_mass=log_mass,
        log_ratio=np.zeros(log_mass.shape),
        oxygen=oxygen,
        scores=np.zeros((n, N_TERMS)),
        log_weight=np.zeros(n),
        runs=0,
    )


def test_biomass_for_which_there_is_no_nitrogen_is_believed_less() -> None:
    # On paper: 40 g/L of compost give 24 mg N/L, and 0.1 for the water; at 5.5 to 1 that makes 132.55 mg C/L. The error is
    # 0.6 x 24 / 24.1 + 0.15. A course that makes 400: ln(400 / 132.55) = 1.1045 over 0.7475.
    story = story_of(compost_g_per_l=40.0, foods={})
    basis = replace(basis_of(story.recipe, story.vessel), nitrogen_mg_per_l=0.0)
    rows = np.log([[10.0, 410.0], [10.0, 60.0]])
    found = within_nitrogen(basis, courses(rows, np.zeros(rows.shape)))
    error = 0.6 * 24.0 / 24.1 + 0.15
    weight = -0.5 * (math.log(400.0 / (5.5 * 24.1)) / error) ** 2
    assert found.log_weight == approx([weight, 0.0]) and found.log_belief == approx(math.log(0.5 * (1.0 + math.exp(weight))))
    # 10 mg N/L of food, at the start or later, give 7; the errors of both add by squares.
    for fed in (replace(basis, nitrogen_mg_per_l=10.0), replace(basis, later_nitrogen=(4.0, 6.0))):
        error = math.hypot(0.6 * 24.0, 0.3 * 7.0) / 31.1 + 0.15
        weight = -0.5 * (math.log(400.0 / (5.5 * 31.1)) / error) ** 2
        assert within_nitrogen(fed, courses(rows, np.zeros(rows.shape))).log_weight[0] == approx(weight)


def test_the_third_structure_begins_as_the_first_does() -> None:
    # On paper at the middle of every term: 0.45 mg C a gram of 40 g/L of compost, and 0.35 of that as fungi.
    story = story_of(compost_g_per_l=40.0, foods={"sucrose": 2.0}, kla_per_h=20.0, kla_log_sd=0.05)
    hours = np.arange(0.0, 2.5, 0.5)
    found = nitrogen_courses(basis_of(story.recipe, story.vessel), surroundings(hours), np.zeros((2, N_TERMS)), NoChance())  # type: ignore[arg-type]
    assert found.log_mass[:, 0] == approx(np.full(2, math.log(0.45 * 40.0 * 1.35)), abs=1e-3)
    assert found.log_ratio[:, 0] == approx(np.full(2, math.log(0.35)), abs=1e-3) and found.log_mass[0] == approx(
        found.log_mass[1]
    )


def test_a_log_weighs_courses_by_a_t_of_eight_degrees_with_errors_that_last() -> None:
    # Independent computation: what lacks over what is there on logs; one factor for all, drift with a memory of six hours, the
    # probe's offset and noise, and a twentieth for the model.
    hours = np.arange(0.5, 6.1, 0.5)
    values = 6.0 - 0.2 * hours
    story = story_of(compost_g_per_l=40.0, foods={"molasses": 1.0}, oxygen=(hours, values), horizon_h=24.0)
    setting = setting_of(story)
    index = setting.oxygen.index
    at, seen = setting.grid_h[index], setting.oxygen.values
    full = setting.around.saturation_mg_per_l[index]

    def gap(oxygen: np.ndarray) -> np.ndarray:
        return np.log((full - oxygen + 0.15) / (oxygen + 0.3))

    size = 1.0 / (full - seen + 0.15) + 1.0 / (seen + 0.3)
    cov = 0.09 + 0.35**2 * np.exp(-np.abs(at[:, None] - at[None]) / 6.0) + np.diag((0.1 * size) ** 2 + 0.0025)
    cov += setting.offset_sd**2 * np.outer(size, size)
    oxygen = np.stack([np.full(len(setting.grid_h), 5.0), np.linspace(7.0, 3.0, len(setting.grid_h))])
    found = follows_log(setting, courses(np.zeros(oxygen.shape), oxygen))
    for row, one in zip(oxygen, found, strict=True):
        off = gap(seen) - gap(row[index])
        assert one == approx(-0.5 * (8.0 + len(at)) * math.log1p(off @ np.linalg.solve(cov, off) / 8.0))


def test_a_probe_is_stuck_after_five_like_entries_over_the_hours_that_are_said() -> None:
    from aerobe.inference._logs import STUCK_H

    hours = np.arange(7.0) * (STUCK_H / 4.0 + 0.01)
    five, four = np.array([1.0, 2, 2, 2, 2, 2, 3]), np.array([1.0, 2, 2, 2, 2, 3, 4])
    assert list(_stuck(hours, five)) == [False, True, True, True, True, True, False]
    assert not _stuck(hours, four).any() and not _stuck(0.9 * hours, five).any()
    assert _stuck(hours[:5], np.full(5, 2.0)).all() and not _stuck(2.0 * hours[:4], np.full(4, 2.0)).any()


def test_what_happened_stands_at_its_hour_of_the_grid() -> None:
    forcing = replace(
        forcing_of(story_of(compost_g_per_l=40.0, foods={})),
        air=(Stretch(from_h=2.0, air=0.0), Stretch(from_h=3.0, air=1.5)),
        watered=((2.2, 0.8), (2.4, 0.5), (9.0, 0.1)),
        warmth=((3.0, 15.0),),
    )
    grid = np.arange(0.0, 5.0)
    assert forcing.air_on(grid) == approx([1.0, 1.0, 0.0, 1.5, 1.5]) and forcing.kept_on(grid) == approx(
        [1.0, 1.0, 0.4, 1.0, 1.0]
    )
    assert forcing.expected_degc(grid, 20.0) == approx([20.0, 20.0, 20.0, 15.0, 15.0])


def test_water_that_is_added_or_drawn_off_changes_volume_depth_and_transfer() -> None:
    from aerobe.oxygen import first_guess_kla

    story = story_of(compost_g_per_l=40.0, foods={})
    volume, depth = story.vessel.volume_l, story.vessel.depth_m

    def event(what: str, hour: float, amount: float) -> BrewEvent:
        return BrewEvent(key=f"e{hour:g}", brew="b", what=what, elapsed_h=hour, amount=amount)  # type: ignore[arg-type]

    found = forcing_of(replace(story, events=(event("water added", 2.0, 0.25 * volume), event("drawn off", 5.0, 0.5 * volume))))
    # On paper: four fifths of the first volume over the second; then three quarters of the first, in depth as in volume.
    assert found.watered == ((2.0, approx(0.8)),)
    less = replace(story.vessel, volume_l=0.75 * volume, depth_m=0.75 * depth)
    more = replace(story.vessel, volume_l=1.25 * volume, depth_m=1.25 * depth)
    first = first_guess_kla(story.vessel)[0]
    assert [item.air for item in found.air] == approx([first_guess_kla(more)[0] / first, first_guess_kla(less)[0] / first])
