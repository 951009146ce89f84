"""Which edition of each rule is on file, and how old our reading of it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache

from aerobe.errors import NotFound
from aerobe.safety._thresholds import tables, threshold

FROM_MEMORY = "from memory"
REVOKED = "revoked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Edition:
    """One published rule as it is on file."""

    key: str
    title: str
    edition: str
    amended: str
    read: str  # ISO date of our reading, or FROM_MEMORY
    standing: str  # in force, guidance, revoked
    source: str  # key in `sources`
    note: str = ""

    def age(self, today: date) -> str:
        """How old our reading is, in words, and whether to look again. Past the limit `rule-age` it says so."""
        if self.standing == REVOKED:
            return "Revoked: look for the rule that took its place."
        if self.read == FROM_MEMORY:
            return "On file from memory: check it against the text."
        years = (today - date.fromisoformat(self.read)).days / 365.25
        if years > threshold("rule-age").value:
            return f"Read {years:.0f} years ago: check it again before you rely on it."
        return "Read this year." if years < 1.0 else f"Read {years:.1f} years ago."


@cache
def editions() -> dict[str, Edition]:
    """Every rule that a table cites, by key."""
    return {key: Edition(key=key, **fields) for key, fields in tables("rules/editions").items()}


def edition_of(key: str) -> Edition:
    """One rule.

    Raises
    ------
    NotFound
        If no such rule is on file.
    """
    try:
        return editions()[key]
    except KeyError:
        raise NotFound(f"No rule '{key}' is on file.", f"Use one of: {', '.join(editions())}.") from None
