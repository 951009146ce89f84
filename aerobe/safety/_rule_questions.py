"""The questions of a use in plain words, in the order in which they are asked: what is it, where does it go, when is it eaten."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from aerobe.safety._thresholds import tables


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleQuestion:
    """One question of a use."""

    fact: str  # name of the field in `UseFacts`
    group: str  # what, where, when
    asks: str
    help: str = ""


@cache
def questions() -> tuple[RuleQuestion, ...]:
    """Every question, in order."""
    return tuple(RuleQuestion(fact=fact, **fields) for fact, fields in tables("rules/questions").items())


def question_of(fact: str) -> RuleQuestion:
    """The question behind a fact."""
    return next(item for item in questions() if item.fact == fact)
