"""Who else plays a practice brew: the call with the same data at the same moments, the call on its own, an agent who knows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

from aerobe.inference import BrewStory, Measurement
from aerobe.practice._brew import (
    CONTROL_SD,
    MOST_TESTS,
    PRICE,
    caught_at,
    shown_by_control,
    shown_by_test,
    world_of,
)
from aerobe.practice._caller import KIT, call_at, call_plays, kit_for, story_for, with_log_until
from aerobe.practice._choices import Practice, expected_colour
from aerobe.practice._curtain import points_of
from aerobe.practice._players import knowing, play
from aerobe.records import AssayError

KNOWING_DRAWS = 600
RIVAL_TESTS = 4
CALL_ASKS_AGAIN_H = 6.0  # with a log: each time it is asked costs seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class CallThen:
    """What the call would have said at one moment, from what the learner knew then.

    `said` is in words; `call` is "harvest now", "wait until" or "test at", `at_h` its hour. [h]
    """

    now_h: float
    call: str
    at_h: float
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherPlayer:
    """How another fared with the same brew.

    Parameters
    ----------
    harvested_h, caught
        Its harvest, and the share of the peak caught. [h, -]
    tests, points
        Bought, and its score.
    """

    harvested_h: float
    caught: float
    tests: int
    points: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rivals:
    """The call at the learner's moments, the call on its own, and an agent who knows the world's own ranges."""

    then: tuple[CallThen, ...]
    call: OtherPlayer
    knowing: OtherPlayer


def error_known(practice: Practice, controls: int) -> AssayError:
    """A test's error with what is known of the tea's colour after so many controls."""
    mean, sd = expected_colour(practice.choices)
    shown = [shown_by_control(practice, nth) for nth in range(controls)]
    weight = 1.0 / sd**2 + controls / CONTROL_SD**2
    best = (mean / sd**2 + sum(shown) / CONTROL_SD**2) / weight
    return replace(KIT, bias=best, bias_sd=weight**-0.5)


def story_until(practice: Practice, until_h: float) -> BrewStory:
    """What a person who made the learner's moves knows by an hour [h]: recipe, tests with controls, the log."""
    controls = sum(move.at_h <= until_h for move in practice.shown("control"))
    error = error_known(practice, controls)
    seen = tuple(kit_for(move.at_h, move.value, error) for move in practice.shown("test") if move.at_h <= until_h)
    world = world_of(practice)
    story = replace(story_for(world, 0), measurements=seen)
    return with_log_until(story, world, 0, until_h) if practice.choices.probe else story


def moments_of(practice: Practice) -> list[float]:
    """When the call is asked: at the start, after each test or control, and at the harvest. [h]"""
    asked = {0.0, *(move.at_h for move in practice.moves if move.kind in ("test", "control", "harvest"))}
    return sorted(asked)


def call_then(practice: Practice, now_h: float) -> CallThen:
    """The call at one moment [h]. Kept in memory: what was asked while the brew ran need not be asked again."""
    moves = tuple(move for move in practice.moves if move.at_h <= now_h and move.kind != "harvest")
    return _call_then(replace(practice, key="", now_h=now_h, moves=moves), now_h)


@lru_cache(maxsize=128)
def _call_then(practice: Practice, now_h: float) -> CallThen:
    bought = sum(move.at_h <= now_h for move in practice.moves if move.kind in ("test", "control"))
    controls = sum(move.at_h <= now_h for move in practice.shown("control"))
    kit = kit_for(now_h, 1.0, error_known(practice, controls))
    _, advice = call_at(story_until(practice, now_h), now_h, max(MOST_TESTS - bought, 0), price=PRICE, kit=kit)
    said = {
        "harvest now": "Harvest now.",
        "wait until": f"Wait until hour {advice.at_h:.0f}.",
        "test at": f"Test at hour {advice.at_h:.0f}.",
    }
    if advice.call == "test at" and advice.at_h <= now_h + 0.25:
        said["test at"] = "Test now."
    return CallThen(now_h=now_h, call=advice.call, at_h=advice.at_h, said=said[advice.call])


def call_alone(practice: Practice) -> OtherPlayer:
    """The call steering the same brew by itself; kept in memory for as long as the pump is as it was."""
    pump = tuple(move for move in practice.moves if move.kind == "pump" and move.value)
    return _call_alone(replace(practice, key="", now_h=0.0, moves=pump))


@lru_cache(maxsize=64)
def _call_alone(practice: Practice) -> OtherPlayer:
    """The call steering the same brew by itself: its own tests, one control with the first of them, the log if there is one."""
    world, taken = world_of(practice), list[Measurement]()

    def test(hour: float) -> list[Measurement]:
        error = error_known(practice, 1)
        taken.append(kit_for(hour, shown_by_test(practice, hour, 0), error))
        return taken

    went = call_plays(
        world,
        0,
        RIVAL_TESTS,
        with_log=practice.choices.probe,
        test=test,
        first_kit=kit_for(0.0, 1.0, error_known(practice, 1)),
        price=PRICE,
        ask_again_h=CALL_ASKS_AGAIN_H,
    )
    bought = went.tests + bool(went.tests)
    return _rival(practice, went.hour, bought)


def knowing_agent(practice: Practice) -> OtherPlayer:
    """An agent who knows the law, the ranges of all that is hidden, what went wrong, and the colour of the tea."""
    world = world_of(practice)
    have = knowing(world, 0, KNOWING_DRAWS, practice.seed + 1000)
    went = play(have, world, 0, RIVAL_TESTS, practice.choices.probe, practice.seed, price=PRICE / 100.0)
    return _rival(practice, went.hour, went.tests)


def rivals_of(practice: Practice, *, progress: Callable[[float], None] = lambda share: None) -> Rivals:
    """All of them; takes seconds. `progress` is told the share done."""
    moments = moments_of(practice)
    then = []
    for place, hour in enumerate(moments):
        then.append(call_then(practice, hour))
        progress((place + 1) / (len(moments) + 3))
    alone = call_alone(practice)
    progress((len(moments) + 2) / (len(moments) + 3))
    return Rivals(then=tuple(then), call=alone, knowing=knowing_agent(practice))


def _rival(practice: Practice, hour: float, tests: int) -> OtherPlayer:
    caught = caught_at(practice, hour)
    return OtherPlayer(harvested_h=hour, caught=caught, tests=tests, points=points_of(caught, tests))
