"""Checks that several records share."""

from __future__ import annotations

import math
import re
from datetime import datetime

from aerobe.errors import AerobeError, UnusableRecord

FIRST_YEAR, LAST_YEAR = 1990, 2200
_KEY = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}")


def require_key(key: str, noun: str) -> None:
    """A key is a short name without spaces that can stand in an address, a file name and a column."""
    if not _KEY.fullmatch(key):
        raise UnusableRecord(
            f"'{key}' cannot be the key of a {noun}.",
            "Use 1 to 80 letters, digits, '-', '_' or '.', starting with a letter or digit.",
        )


def require_between(
    value: float, low: float, high: float, what: str, unit: str, *, fault: type[AerobeError] = UnusableRecord
) -> None:
    """A finite value inside its physical range."""
    if not math.isfinite(value) or not low <= value <= high:
        raise fault(f"{what} of {value:g} {unit} is outside {low:g} to {high:g} {unit}.", "Check the number and its unit.")


def require_one_of(value: str, allowed: tuple[str, ...], what: str) -> None:
    """A word from a fixed list."""
    if value not in allowed:
        raise UnusableRecord(f"'{value}' is no {what}.", f"Use one of: {', '.join(allowed)}.")


def require_aware(moment: datetime, what: str) -> None:
    """A clock time means nothing to another person without its offset from UTC."""
    if moment.tzinfo is None:
        raise UnusableRecord(f"{what} has no time zone.", "Give the offset, for example 2026-05-01T08:00+02:00.")
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        # A machine whose battery is flat wakes up in 1970.
        raise UnusableRecord(f"{what} lies in the year {moment.year}.", "Check what was typed, and this machine's clock.")
