"""Playing a practice brew: begin, wait, test, look, harvest, and what stands behind the curtain."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.inference import on_one_core
from aerobe.practice import (
    MOST_TESTS,
    PRICE,
    CallThen,
    Move,
    Practice,
    PracticeChoices,
    PracticeOutcome,
    Rivals,
    Score,
    Series,
    begun,
    call_alone,
    call_then,
    drawn_choices,
    moved,
    outcome_of,
    rivals_of,
    series_of,
    waited,
    world_of,
)
from aerobe.usecases.practice._shelf import PracticeShelf

LOG_EVERY = 5  # of the world's points: one each half hour is shown


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnersView:
    """What a learner sees of a practice brew.

    Parameters
    ----------
    practice
        The brew with its moves.
    log_h, oxygen, temperature
        What probe and thermometer show until now; empty without a probe. [h, mg/L, degC]
    tests_left
        Tests and controls that can still be bought.
    spent
        What they cost so far. [points]
    """

    practice: Practice
    log_h: tuple[float, ...]
    oxygen: tuple[float, ...]
    temperature: tuple[float, ...]
    tests_left: int
    spent: float

    @property
    def last(self) -> Move | None:
        """The last move."""
        return self.practice.moves[-1] if self.practice.moves else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Curtain:
    """What stands behind the curtain: the truth at once, the rivals when they are worked out."""

    outcome: PracticeOutcome
    rivals: Rivals | None
    series: Series | None


def begin_practice(
    shelf: PracticeShelf, *, seed: int, choices: PracticeChoices | None = None, probe: bool = False, trouble: str = "none"
) -> Practice:
    """A new practice brew; its course is worked out at once, so that no step waits for it.

    Parameters
    ----------
    seed
        Fixes all that is hidden.
    choices
        Recipe, vessel and air; drawn by the seed if left out.
    probe, trouble
        For a drawn one: whether a probe logs, and what may go wrong.
    """
    chosen = choices or drawn_choices(seed, probe=probe, trouble=trouble)
    practice = begun(shelf.next_key(), seed, chosen, drawn=choices is None)
    world_of(practice)
    shelf.keep(practice)
    return practice


def wait_in_practice(shelf: PracticeShelf, key: str, until_h: float) -> LearnersView:
    """Let time pass to an hour [h]; an hour that has passed already changes nothing."""
    before = shelf.get(key)
    after = waited(before, until_h)
    if after != before:
        shelf.keep(after)
    return seen_of(after)


def move_in_practice(shelf: PracticeShelf, key: str, kind: str, at_h: float | None = None) -> LearnersView:
    """Test, control, a look at the pump, or the harvest, now or at a later hour.

    Parameters
    ----------
    kind
        "test", "control", "pump" or "harvest".
    at_h
        When, if not now. [h]
    """
    practice = shelf.get(key)
    if at_h is not None:
        practice = waited(practice, at_h)
    if not (kind == "harvest" and practice.harvested_h is not None):  # the watch may have ended it
        practice = moved(practice, kind)
    shelf.keep(practice)
    return seen_of(practice)


def seen_of(practice: Practice) -> LearnersView:
    """What the learner sees."""
    hours, oxygen, temperature = tuple[float, ...](), tuple[float, ...](), tuple[float, ...]()
    if practice.choices.probe:
        world = world_of(practice)
        inside = [at for at in range(0, len(world.times_h), LOG_EVERY) if 0.0 < world.times_h[at] <= practice.now_h + 1e-9]
        hours = tuple(round(float(world.times_h[at]), 2) for at in inside)
        oxygen = tuple(round(float(world.probe[0, at]), 2) for at in inside)
        temperature = tuple(round(float(world.thermometer[0, at]), 1) for at in inside)
    return LearnersView(
        practice=practice,
        log_h=hours,
        oxygen=oxygen,
        temperature=temperature,
        tests_left=MOST_TESTS - practice.tests,
        spent=PRICE * practice.tests,
    )


def seen_in_practice(shelf: PracticeShelf, key: str) -> LearnersView:
    """What the learner sees of a kept practice brew."""
    return seen_of(shelf.get(key))


def think_ahead(shelf: PracticeShelf, key: str) -> CallThen:
    """Work out, beside the play, what the curtain will ask for: the call at this moment, and the call on its own."""
    practice = shelf.get(key)
    with on_one_core():
        now = call_then(practice, practice.now_h)
        call_alone(practice)
    return now


def rivals_in_practice(shelf: PracticeShelf, key: str) -> Rivals:
    """The call at the learner's moments, the call on its own, a knowing agent; keeps the score. Takes seconds."""
    practice = shelf.get(key)
    outcome = outcome_of(practice)
    with on_one_core():
        rivals = rivals_of(practice)
    score = Score(
        key=key, learner=outcome.points, call=rivals.call.points, clock=outcome.clock_points, knowing=rivals.knowing.points
    )
    shelf.keep(practice, score)
    return rivals


def curtain_of(shelf: PracticeShelf, key: str, rivals: Rivals | None = None) -> Curtain:
    """The truth of a harvested practice brew, and the series it stands in. Nothing here takes long.

    Raises
    ------
    NotAllowed
        If it is not harvested yet.
    """
    return Curtain(outcome=outcome_of(shelf.get(key)), rivals=rivals, series=series_of(shelf.scores()))


def practice_series(shelf: PracticeShelf) -> Series | None:
    """The series of ten that is being played; None before the first score."""
    return series_of(shelf.scores())


def running_practice(shelf: PracticeShelf) -> list[Practice]:
    """Practice brews that are not harvested yet, newest first."""
    return [one for one in reversed(shelf.all()) if one.harvested_h is None]
