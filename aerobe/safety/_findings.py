"""What a record shows of a rule or a limit, in three words; the middle one is not a pass."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.safety._thresholds import DECIDE

SHOWN, NOT_SHOWN, FAILS = "shown to pass", "not shown to pass", "fails"
STATES = (SHOWN, NOT_SHOWN, FAILS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What the record shows of one rule or limit: one of STATES, why, and what would show more."""

    name: str
    state: str
    why: str
    next_step: str
    sources: tuple[str, ...]


def finding(name: str, state: str, why: str, next_step: str, *sources: str) -> Finding:
    """A finding whose next step ends by saying who decides."""
    return Finding(name=name, state=state, why=why, next_step=next_step + DECIDE, sources=sources)
