"""What of a record nobody gave: marked, so that it is believed less and never passed off as measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import field

from aerobe.records._checks import require_one_of


def guesses() -> tuple[str, ...]:
    """The field `guessed` of a record: what nobody gave and stands there as a guess; written only where there is one."""
    found: tuple[str, ...] = field(default=(), metadata={"later": True})
    return found


def require_guesses(guessed: tuple[str, ...], allowed: tuple[str, ...]) -> None:
    """Only what a record knows how to guess can be marked as a guess."""
    for name in guessed:
        require_one_of(name, allowed, "guess")


def guess_mark(guessed: Iterable[str], *names: str) -> str:
    """What stands behind a value on a page or in a report if one of these is among the guesses of its record; else nothing."""
    return " (a guess)" if any(name in names for name in guessed) else ""
