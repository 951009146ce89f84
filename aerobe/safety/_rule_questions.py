"""The questions of a use in plain words, in the order in which they are asked: what is it, where does it go, when is it eaten."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from aerobe.safety._thresholds import tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question of a use."""

    fact: str  # name of the field in `UseFacts`
    group: str  # what, where, when
    asks: str
    help: str = ""


@cache
def questions() -> tuple[Question, ...]:
    """Every question, in order."""
    return tuple(Question(fact=fact, **fields) for fact, fields in tables("rules/questions").items())


def question_of(fact: str) -> Question:
    """The question behind a fact."""
    return next(item for item in questions() if item.fact == fact)
