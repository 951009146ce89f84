"""Many brews of a world: recipes, true courses, what a probe logs and what a test shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.worlds._law import Array, Known, Law
from aerobe.worlds._march import TrueCourses, march

TEST_ERROR = 0.12  # random error of one test on the log scale
TEST_SCALE = 0.10  # how the scale of a person's tests differs from the truth, log standard deviation
TEST_CONSTANT = 2.0  # error of a test that does not grow with the value [ug C/mL]
PROBE_LAG_H = 0.03
HABITS = {
    "molasses": 0.75,
    "kelp": 0.5,
    "fish": 0.4,
    "feeds": 0.0,
    "swing": 4.0,
    "cooling": 0.0,
    "coldest": 15.0,
    "warmest": 27.0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """Brews of one world, a row a brew.

    Parameters
    ----------
    law
        Whose equations they follow.
    known
        What a person knows.
    scores
        Of the hidden terms, shape (brews, terms). [-]
    courses
        The truth, every 0.1 h.
    probe, thermometer
        As logged, shape (brews, times). [mg/L, degC]
    temperature
        True, shape (brews, times). [degC]
    assay_gain
        Scale of the tests over the truth, shape (brews,). [-]
    lot_at_h, lot_factor
        From when on another lot is used, and by what its scale differs, shape (brews,). [h, -]
    person
        Whose brew, shape (brews,).
    """

    law: Law
    known: Known
    scores: Array
    courses: TrueCourses
    probe: Array
    thermometer: Array
    temperature: Array
    assay_gain: Array
    lot_at_h: Array
    lot_factor: Array
    person: NDArray[np.int64]

    @property
    def times_h(self) -> Array:
        """Times of courses and logs. [h]"""
        return self.courses.times_h

    @property
    def biomass(self) -> Array:
        """True, shape (brews, times). [ug C/mL]"""
        return self.courses.biomass

    @property
    def lots(self) -> float:
        """Log standard deviation of the scale of a new lot of tests. [-]"""
        return self.law.lots

    def biomass_at(self, brew: int, elapsed_h: float) -> float:
        """True biomass of a brew at an hour. [ug C/mL]"""
        return float(np.interp(elapsed_h, self.times_h, self.biomass[brew]))

    def forgone(self, brew: int, elapsed_h: float) -> float:
        """Share of the brew's peak that a harvest at an hour forgoes. [-]"""
        return 1.0 - self.biomass_at(brew, elapsed_h) / float(self.biomass[brew].max())

    def test(self, brew: int, elapsed_h: float, rng: np.random.Generator, *, error: float = TEST_ERROR) -> float:
        """One test result: log-normal error, a scale of its own a brew, another lot where the world has lots. [ug C/mL]"""
        scale = self.assay_gain[brew] * (self.lot_factor[brew] if elapsed_h >= self.lot_at_h[brew] else 1.0)
        shown = scale * self.biomass_at(brew, elapsed_h) * np.exp(rng.normal(0.0, error))
        return float(max(shown + rng.normal(0.0, TEST_CONSTANT), 0.0))


def draw_known(count: int, rng: np.random.Generator, habits: Mapping[str, float] | None = None) -> Known:
    """Recipes, vessels and weather as people have them.

    Parameters
    ----------
    habits
        Changes the shares of brews with a food or a second feed [-], and the ranges of temperature and its swing [degC].
    """
    habit = HABITS | dict(habits or {})

    def with_food(name: str, low: float, high: float) -> Array:
        return np.where(rng.random(count) < habit[name], rng.uniform(low, high, count), 0.0)

    volume = rng.choice([10.0, 20.0, 20.0, 60.0, 200.0], count)
    fed = rng.random(count) < habit["feeds"]
    return Known(
        compost_g_per_l=np.clip(40.0 * np.exp(0.5 * rng.standard_normal(count)), 10.0, 120.0),
        molasses_g_per_l=with_food("molasses", 0.2, 4.0),
        kelp_g_per_l=with_food("kelp", 0.2, 2.0),
        fish_g_per_l=with_food("fish", 0.2, 3.0),
        volume_l=volume,
        depth_m=0.3 * (volume / 20.0) ** (1.0 / 3.0),
        air_l_per_min=12.0 * volume / 20.0 * np.exp(0.4 * rng.standard_normal(count)),
        temperature_degc=rng.uniform(habit["coldest"], habit["warmest"], count),
        swing_degc=rng.uniform(0.3, habit["swing"], count),
        warmest_h=rng.uniform(0.0, 24.0, count),
        cooling_degc_per_day=rng.uniform(0.0, 1.0, count) * habit["cooling"],
        feed_at_h=np.where(fed, np.round(rng.uniform(8.0, 24.0, count), 1), np.nan),
        feed_g_per_l=np.where(fed, rng.uniform(0.3, 1.5, count), 0.0),
        pump_off_h=np.full(count, np.nan),
        pump_on_h=np.full(count, np.nan),
        cold_at_h=np.full(count, np.nan),
        cold_by_degc=np.zeros(count),
    )


def make_world(law: Law, count: int, seed: int) -> World:
    """Brews of people who brew once each: recipes, hidden terms and errors are drawn anew for each."""
    rng = np.random.default_rng([seed, *law.key.encode()])
    known = draw_known(count, rng, law.habits)
    scores = rng.standard_normal((count, len(law.hidden)))
    return watched(law, known, scores, rng, person=np.arange(count))


def make_people(law: Law, people: int, brews: int, seed: int, *, own: float = 0.6) -> World:
    """Brews of people who each brew one recipe in one vessel again and again; a person's brews stand together, in order.

    Parameters
    ----------
    law
        The world.
    people, brews
        How many persons, and brews of each.
    seed
        Fixes every draw.
    own
        Share of the variance of each hidden score that is the person's own. [-]
    """
    rng = np.random.default_rng([seed, 7, *law.key.encode()])
    person = np.repeat(np.arange(people), brews)
    first = draw_known(people, rng, law.habits)
    weather = draw_known(people * brews, rng, law.habits)
    known = first.rows(person)
    # The recipe is the same; the days are not.
    warm = np.clip(known.temperature_degc + 1.5 * rng.standard_normal(len(person)), 12.0, 30.0)
    known = replace(known, temperature_degc=warm, warmest_h=weather.warmest_h, swing_degc=weather.swing_degc)
    theirs = rng.standard_normal((people, len(law.hidden)))[person]
    scores = np.sqrt(own) * theirs + np.sqrt(1.0 - own) * rng.standard_normal(theirs.shape)
    return watched(law, known, scores, rng, person=person)


def with_pump_stop(world: World, off_h: float, hours: float, seed: int) -> World:
    """The same brews, had the air stopped at an hour for so many hours. [h]"""
    count = len(world.scores)
    known = replace(world.known, pump_off_h=np.full(count, off_h), pump_on_h=np.full(count, off_h + hours))
    return watched(
        world.law, known, world.scores, np.random.default_rng([seed, 11, *world.law.key.encode()]), person=world.person
    )


def watched(
    law: Law,
    known: Known,
    scores: Array,
    rng: np.random.Generator,
    *,
    person: NDArray[np.int64],
    courses: TrueCourses | None = None,
) -> World:
    """The courses of brews and what is seen of them.

    Parameters
    ----------
    scores
        Of the hidden terms, shape (brews, terms). [-]
    courses
        If they are known already; worked out if left out.
    """
    courses = march(law, known, scores) if courses is None else courses
    times, count = courses.times_h, len(scores)
    temperature = np.stack([known.temperature(float(t)) for t in times], axis=1)
    lot_at = rng.uniform(6.0, 40.0, count) if law.lots > 0.0 else np.full(count, np.inf)
    return World(
        law=law,
        known=known,
        scores=scores,
        courses=courses,
        probe=_probe(courses, rng),
        thermometer=temperature + rng.normal(0.0, 0.3, (count, 1)) + rng.normal(0.0, 0.1, temperature.shape),
        temperature=temperature,
        assay_gain=np.exp(TEST_SCALE * rng.standard_normal(count)),
        lot_at_h=lot_at,
        lot_factor=np.exp(law.lots * rng.standard_normal(count)),
        person=person,
    )


def ensemble(world: World, brew: int, draws: int, seed: int) -> tuple[TrueCourses, Array]:
    """Courses of brews with the same recipe, vessel and weather whose hidden terms are drawn anew, every 0.5 h, and their
    scores: what an agent who knows the world's own ranges believes before any reading."""
    scores = np.random.default_rng([seed, brew, 13, *world.law.key.encode()]).standard_normal((draws, len(world.law.hidden)))
    known = world.known.rows(np.full(draws, brew))
    return march(world.law, known, scores, every_h=0.5), scores


def _probe(courses: TrueCourses, rng: np.random.Generator) -> Array:
    """What a probe with a lag, a drift, an error of its slope and zero, and noise shows. [mg/L]"""
    true, times = courses.oxygen, courses.times_h
    count, lagged = len(true), np.empty_like(true)
    lagged[:, 0] = true[:, 0]
    keep = np.exp(-(times[1] - times[0]) / PROBE_LAG_H)
    for i in range(1, len(times)):
        lagged[:, i] = true[:, i] + (lagged[:, i - 1] - true[:, i]) * keep
    drift = rng.normal(0.0, 0.15, (count, 1)) * times[None] / 24.0
    slope, zero = 1.0 + rng.normal(0.0, 0.03, (count, 1)), rng.normal(0.0, 0.2, (count, 1))
    return np.asarray(np.maximum(slope * lagged + drift + zero + rng.normal(0.0, 0.12, true.shape), 0.0))
