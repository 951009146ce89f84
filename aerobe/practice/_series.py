"""Ten practice brews in a row: the learner's score beside the call's own, a clock's and a knowing agent's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

LENGTH = 10
TELLS = 2.0  # a mean difference of so many standard errors is told as one: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """One finished practice brew in points: of the learner, the call, a clock, a knowing agent."""

    key: str
    learner: float
    call: float
    clock: float
    knowing: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Up to ten scores.

    Parameters
    ----------
    scores
        In the order in which the brews were harvested.
    learner, call, clock, knowing
        Means. [points]
    less_call, less_call_error
        The learner's mean less the call's, brew by brew, and its standard error; None of less than three brews. [points]
    says
        In a sentence, and no more than the scores carry.
    """

    scores: tuple[Score, ...]
    learner: float
    call: float
    clock: float
    knowing: float
    less_call: float
    less_call_error: float | None
    says: str

    @property
    def full(self) -> bool:
        """Whether all ten are played."""
        return len(self.scores) == LENGTH


def series_of(scores: Sequence[Score]) -> Series | None:
    """The series that the newest score belongs to; None of no scores."""
    if not scores:
        return None
    here = tuple(scores[(len(scores) - 1) // LENGTH * LENGTH :])
    mine, call = (np.array([getattr(score, name) for score in here]) for name in ("learner", "call"))
    apart = mine - call
    error = float(apart.std(ddof=1) / np.sqrt(len(apart))) if len(apart) >= 3 else None
    return Series(
        scores=here,
        learner=float(mine.mean()),
        call=float(call.mean()),
        clock=float(np.mean([score.clock for score in here])),
        knowing=float(np.mean([score.knowing for score in here])),
        less_call=float(apart.mean()),
        less_call_error=error,
        says=_says(len(here), float(mine.mean()), float(call.mean()), float(apart.mean()), error),
    )


def _says(count: int, mine: float, call: float, apart: float, error: float | None) -> str:
    brews = f"{count} brew{'s' if count > 1 else ''} of {LENGTH}"
    means = f"{brews}: you {mine:.0f} points, the call {call:.0f}."
    if error is None:
        return f"{means} Too few to say who is better."
    if abs(apart) <= TELLS * max(error, 0.5):
        return f"{means} The difference of {apart:+.1f} has a standard error of {error:.1f}: it can't be told from luck."
    return f"{means} You are {abs(apart):.0f} points {'ahead' if apart > 0 else 'behind'} a brew (standard error {error:.1f})."
