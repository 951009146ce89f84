"""Behind the curtain of a practice brew: its true course, what was caught, and the one sentence to take along."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotAllowed
from aerobe.practice._brew import PRICE, attainable, caught_at, hidden_of, pump_on_h, world_of
from aerobe.practice._choices import Practice
from aerobe.worlds import WORLDS

Array = NDArray[np.float64]

CLOCK_H = 24.0  # when the clock harvests, whatever the brew does: common practice, no source
THINNED = 5  # of the course, every 0.5 h is shown
NEAR = 0.95  # a harvest that caught so much is as good as it gets


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeOutcome:
    """What a practice brew truly was, and what was caught of it.

    Parameters
    ----------
    law
        The world in a line.
    times_h, biomass, oxygen, temperature
        The true course. [h, ug C/mL, mg/L, degC]
    peak_h, peak
        When living biomass was highest, and how high. [h, ug C/mL]
    attainable
        How high it could have been, whenever a stopped pump had been looked at. [ug C/mL]
    harvested_h, caught
        The harvest, and the share of the attainable it caught. [h, -]
    tests, points
        Bought, and the score: 100 for the whole peak, less the price of the tests.
    clock_h, clock_caught, clock_points
        What a clock would have caught that looks at nothing. [h, -]
    colour
        What a test showed of the tea without any cell. [ug C/mL]
    pump_off_h, pump_on_h, cold_at_h
        What went wrong; None if it did not. [h]
    to_learn
        One sentence.
    """

    law: str
    times_h: tuple[float, ...]
    biomass: tuple[float, ...]
    oxygen: tuple[float, ...]
    temperature: tuple[float, ...]
    peak_h: float
    peak: float
    attainable: float
    harvested_h: float
    caught: float
    tests: int
    points: float
    clock_h: float
    clock_caught: float
    clock_points: float
    colour: float
    pump_off_h: float | None
    pump_on_h: float | None
    cold_at_h: float | None
    to_learn: str


def points_of(caught: float, tests: int) -> float:
    """The score of a brew: 100 for its whole peak, less the price of the tests. [-]

    Parameters
    ----------
    caught
        Share of the peak. [-]
    tests
        Tests and controls.
    """
    return 100.0 * caught - PRICE * tests


def outcome_of(practice: Practice) -> PracticeOutcome:
    """What stands behind the curtain.

    Raises
    ------
    NotAllowed
        If the brew is not harvested yet.
    """
    at = practice.harvested_h
    if at is None:
        raise NotAllowed("The curtain stays closed while the brew is under air.", "Harvest first.")
    world, hidden = world_of(practice), hidden_of(practice.seed, practice.choices)
    top = int(world.biomass[0].argmax())
    caught, clock = caught_at(practice, at), caught_at(practice, CLOCK_H)
    return PracticeOutcome(
        law=WORLDS[hidden.law].title,
        times_h=_thinned(world.times_h),
        biomass=_thinned(world.biomass[0]),
        oxygen=_thinned(world.courses.oxygen[0]),
        temperature=_thinned(world.temperature[0]),
        peak_h=float(world.times_h[top]),
        peak=float(world.biomass[0, top]),
        attainable=attainable(practice),
        harvested_h=at,
        caught=caught,
        tests=practice.tests,
        points=points_of(caught, practice.tests),
        clock_h=CLOCK_H,
        clock_caught=clock,
        clock_points=points_of(clock, 0),
        colour=hidden.colour,
        pump_off_h=hidden.pump_off_h,
        pump_on_h=pump_on_h(practice),
        cold_at_h=hidden.cold_at_h,
        to_learn=_to_learn(practice, caught),
    )


def _thinned(course: Array) -> tuple[float, ...]:
    return tuple(round(float(value), 3) for value in course[::THINNED])


def _to_learn(practice: Practice, caught: float) -> str:
    """The one thing that cost most, or the one that went well: the first that applies."""
    world, hidden, at = world_of(practice), hidden_of(practice.seed, practice.choices), practice.harvested_h or 0.0
    off, peak_h = hidden.pump_off_h, float(world.times_h[world.biomass[0].argmax()])
    pump_cost = 1.0 - float(world.biomass[0].max()) / attainable(practice)
    tests, late, hours = practice.shown("test"), at > peak_h, abs(at - peak_h)
    if off is not None and pump_cost > 0.03 and pump_cost > 1.0 - caught - pump_cost:
        seen = (
            "the oxygen log showed it at once"
            if practice.choices.probe
            else "a hand on the hose tells it; an oxygen probe tells at once"
        )
        stood = (pump_on_h(practice) or off) - off
        return f"The pump stood still for {stood:g} hours from hour {off:g} and cost {100 * pump_cost:.0f} of 100: {seen}."
    if caught >= NEAR and practice.tests <= 3:
        return "You caught nearly all of it with few tests: near its top a brew is flat, and an hour more or less costs little."
    if caught >= NEAR:
        cost = PRICE * practice.tests
        return (
            f"You caught nearly all of it; {practice.tests} tests cost {cost:g} points: test where it would change what you do."
        )
    if _misled_by_colour(practice):
        return (
            f"Colour alone showed {hidden.colour:.0f} ug C/mL in your tests, more than a fifth of the last result: in a dark "
            "tea one killed control tells how much to take off all of them."
        )
    if hidden.cold_at_h is not None and not late:
        return f"A cold night about hour {hidden.cold_at_h:g} slowed the brew: after a cold night the best hour comes later."
    if not tests:
        return f"Without a test you were {hours:.0f} hours {'late' if late else 'early'}: one test tells more than the clock."
    if late and tests[-1].at_h < peak_h:
        return f"All your tests came before the top at hour {peak_h:.0f}: a result below the one before it ends a brew in time."
    if late:
        return f"You were {hours:.0f} hours late: once a result falls clearly below the one before, the best hour is gone."
    return f"You were {hours:.0f} hours early: while results rise by more than the test's own error, waiting pays."


def _misled_by_colour(practice: Practice) -> bool:
    """Whether colour was a fifth or more of a test that the harvest rested on, and no control was bought."""
    tests = practice.shown("test")
    if not tests or practice.shown("control"):
        return False
    return hidden_of(practice.seed, practice.choices).colour > 0.2 * tests[-1].value
