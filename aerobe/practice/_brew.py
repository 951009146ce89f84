"""A practice brew: what is chosen, what is done to it, and the brew itself, drawn from a foreign world by its seed.

Everything follows from choices, seed and moves: the same practice brew is the same brew again. Nothing of it is a record of
the notebook.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotAllowed
from aerobe.practice._choices import LIMITS, Move, Practice, PracticeChoices
from aerobe.worlds import END_H, WORLDS, Known, TrueCourses, World, draw_known, march, watched

Array = NDArray[np.float64]

KINDS = ("test", "control", "pump", "harvest")
MOST_TESTS = 8
PRICE = 1.0  # of one test or control, where the tea at its best is worth 100
STOP_H = 6.0  # a stopped pump runs again after so long, if nobody looks at it
GRID_H = 0.5  # moves are made on the half hour
COLDER_DEGC = 7.0
CONTROL_SD = 2.0  # of a killed control [ug C/mL]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hidden:
    """What nobody is told before the curtain: the world, the colour of the tea, what went wrong.

    Parameters
    ----------
    law
        Key of the world.
    colour
        What a test shows of the tea without any cell. [ug C/mL]
    pump_off_h
        When the pump stopped; None: never. [h]
    cold_at_h
        The middle of the cold night; None: there was none. [h]
    """

    law: str
    colour: float
    pump_off_h: float | None
    cold_at_h: float | None


@lru_cache(maxsize=32)
def hidden_of(seed: int, choices: PracticeChoices) -> Hidden:
    """What a practice brew keeps to itself."""
    rng = np.random.default_rng([seed, 52])
    law = sorted(WORLDS)[int(rng.integers(len(WORLDS)))]
    colour = (9.0 * choices.molasses_g_per_l + 0.1 * choices.compost_g_per_l) * float(np.exp(0.5 * rng.standard_normal()))
    off, cold = float(rng.integers(5, 21)), float(rng.integers(10, 27))
    drawn = ("none", "pump", "cold")[int(rng.integers(3))]
    trouble = drawn if choices.trouble == "maybe" else choices.trouble
    return Hidden(
        law=law,
        colour=colour,
        pump_off_h=off if trouble == "pump" else None,
        cold_at_h=cold if trouble == "cold" else None,
    )


def pump_on_h(practice: Practice) -> float | None:
    """When a pump that stopped ran again; None if it never stopped. [h]"""
    off = hidden_of(practice.seed, practice.choices).pump_off_h
    if off is None:
        return None
    looked = [move.at_h for move in practice.shown("pump") if off < move.at_h < off + STOP_H]
    return min([off + STOP_H, *looked])


def world_of(practice: Practice) -> World:
    """The brew with all that was done to it: a world of one brew, its course to the end of the watch."""
    on = pump_on_h(practice)
    return _world(practice.seed, practice.choices, None if on is None else round(on / GRID_H))


def attainable(practice: Practice) -> float:
    """The highest living biomass that the brew could reach, whenever a stopped pump had been looked at. [ug C/mL]"""
    return float(_courses(practice.seed, practice.choices)[2].biomass.max())


def caught_at(practice: Practice, at_h: float) -> float:
    """Share of the attainable that a harvest at an hour [h] catches, of the brew as it went. [-]"""
    return world_of(practice).biomass_at(0, at_h) / attainable(practice)


def begun(key: str, seed: int, choices: PracticeChoices, *, drawn: bool = False) -> Practice:
    """A practice brew whose air has just been turned on."""
    return Practice(key=key, seed=seed, choices=choices, drawn=drawn)


def waited(practice: Practice, until_h: float) -> Practice:
    """The brew later on; at the end of the watch it is harvested as it stands. Time does not run backwards.

    Parameters
    ----------
    until_h
        Rounded to the half hour. [h]
    """
    if practice.harvested_h is not None:
        return practice
    now = min(max(practice.now_h, round(until_h / GRID_H) * GRID_H), END_H)
    later = replace(practice, now_h=now)
    return moved(later, "harvest") if now >= END_H else later


def moved(practice: Practice, kind: str) -> Practice:
    """The brew after a move at its present hour.

    Parameters
    ----------
    kind
        One of `KINDS`.

    Raises
    ------
    NotAllowed
        If it is harvested already, the tests are used up, or there is no such move.
    """
    if kind not in KINDS:
        raise NotAllowed(f"'{kind}' is nothing that can be done to a practice brew.", f"Use one of: {', '.join(KINDS)}.")
    if practice.harvested_h is not None:
        raise NotAllowed(
            "This practice brew is harvested: nothing more can be done to it.", "Look behind its curtain, or begin another."
        )
    if kind in ("test", "control") and practice.tests >= MOST_TESTS:
        raise NotAllowed(f"All {MOST_TESTS} tests of this practice brew are used.", "Harvest when you think it is time.")
    value = 0.0
    if kind == "test":
        value = shown_by_test(practice, practice.now_h, len(practice.shown("test")))
    elif kind == "control":
        value = shown_by_control(practice, len(practice.shown("control")))
    elif kind == "pump":
        value = float(_stands_still(practice))
    return replace(practice, moves=(*practice.moves, Move(kind=kind, at_h=practice.now_h, value=value)))


def shown_by_test(practice: Practice, at_h: float, nth: int) -> float:
    """What the nth test shows at an hour: cells with the test's scale and noise, and the tea's colour. [ug C/mL]"""
    rng = np.random.default_rng([practice.seed, 53, round(at_h * 100), nth])
    colour = hidden_of(practice.seed, practice.choices).colour
    return float(f"{world_of(practice).test(0, at_h, rng) + colour:.3g}")


def shown_by_control(practice: Practice, nth: int) -> float:
    """What the nth killed control shows: the colour alone, with the error of a test near zero. [ug C/mL]"""
    noise = np.random.default_rng([practice.seed, 54, nth]).normal(0.0, CONTROL_SD)
    return float(f"{max(hidden_of(practice.seed, practice.choices).colour + noise, 0.0):.3g}")


def _stands_still(practice: Practice) -> bool:
    off, on = hidden_of(practice.seed, practice.choices).pump_off_h, pump_on_h(practice)
    return off is not None and on is not None and off < practice.now_h < on


def _known_of(seed: int, choices: PracticeChoices) -> Known:
    """What the world is told of the brew; the weather is drawn."""
    rng = np.random.default_rng([seed, 55])
    hidden = hidden_of(seed, choices)
    one = draw_known(1, rng, WORLDS[hidden.law].habits)
    given = {name: np.array([getattr(choices, name)]) for name in LIMITS}
    return replace(
        one,
        **given,
        depth_m=0.3 * (given["volume_l"] / 20.0) ** (1.0 / 3.0),
        feed_at_h=np.array([np.nan]),  # a second feed would be something that the person had done
        feed_g_per_l=np.zeros(1),
        cold_at_h=np.array([np.nan if hidden.cold_at_h is None else hidden.cold_at_h]),
        cold_by_degc=np.array([0.0 if hidden.cold_at_h is None else COLDER_DEGC]),
    )


@lru_cache(maxsize=32)
def _courses(seed: int, choices: PracticeChoices) -> tuple[Known, Array, TrueCourses]:
    """Known, hidden scores, and the courses for every half hour at which a stopped pump could run again: worked out at once,
    so that no move waits for it."""
    known, hidden = _known_of(seed, choices), hidden_of(seed, choices)
    law = WORLDS[hidden.law]
    scores = np.random.default_rng([seed, 56]).standard_normal((1, len(law.hidden)))
    rows = round(STOP_H / GRID_H) if hidden.pump_off_h is not None else 1
    many = known.rows(np.zeros(rows, np.int64))
    if hidden.pump_off_h is not None:
        on = np.asarray(hidden.pump_off_h + GRID_H * (1.0 + np.arange(rows)), float)
        many = replace(many, pump_off_h=np.full(rows, hidden.pump_off_h), pump_on_h=on)
    return many, scores, march(law, many, np.repeat(scores, rows, axis=0))


@lru_cache(maxsize=64)
def _world(seed: int, choices: PracticeChoices, on_at: int | None) -> World:
    many, scores, courses = _courses(seed, choices)
    hidden = hidden_of(seed, choices)
    row = 0 if on_at is None or hidden.pump_off_h is None else on_at - round(hidden.pump_off_h / GRID_H) - 1
    one = TrueCourses(
        times_h=courses.times_h,
        bacteria=courses.bacteria[row : row + 1],
        fungi=courses.fungi[row : row + 1],
        oxygen=courses.oxygen[row : row + 1],
    )
    law = WORLDS[hidden.law]
    rng = np.random.default_rng([seed, 57])  # the same noise whenever the pump runs again
    return watched(law, many.rows(np.array([row])), scores, rng, person=np.zeros(1, np.int64), courses=one)
