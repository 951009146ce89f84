"""What a gate is, and what is known of a brew when its gates are asked."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety._findings import NOT_SHOWN, STATES
from aerobe.safety._oxygen_history import OxygenHistory
from aerobe.safety._thresholds import DECIDE, threshold


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """One thing that must be in order before a harvest or a use."""

    name: str
    is_open: bool
    why: str
    how_it_opens: str  # "" when it is open
    sources: tuple[str, ...]  # keys in `sources`
    shown: bool = True  # False: closed for want of a fact, not because of one

    @property
    def state(self) -> str:
        """`open`, `closed`, or `not shown` (a fact is missing; it holds back just the same)."""
        if self.is_open:
            return "open"
        return "closed" if self.shown else "not shown"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewFacts:
    """What is known of a brew at the moment of asking; None means not known and keeps the gate shut."""

    oxygen_floor_mg_per_l: float = 2.0  # the brewer's floor [mg/L]
    oxygen: OxygenHistory | None = None  # what the log shows from the start to the end of the air, or to now
    lowest_recent_oxygen_mg_per_l: float | None = None  # lowest reading of the last hours (limit `recent-oxygen`) [mg/L]
    probability_below_floor: float | None = None  # that oxygen is under the floor now or until the harvest [-]
    air_unbroken: bool | None = None  # that the air ran without a break where no reading shows the oxygen
    smell: str | None = None  # free text
    smell_at_h: float | None = None  # when it was noted, on the brew's clock [h]
    hours_since_air_stopped: float | None = None  # 0 while the air runs [h]
    oxygen_when_air_stopped_mg_per_l: float | None = None  # [mg/L]
    uptake_mg_per_l_per_h: float | None = None  # oxygen uptake, upper end of its interval [mg/L/h]
    holding_time_h: float | None = None  # how long oxygen lasts without air, lower end, where a fit of the brew gives it [h]
    held_degc: float | None = None  # highest while the air was off [degC]
    hold_before_h: float = 0.0  # how long the air was off at most before it was last started again; 0 if it never stopped [h]
    restarted_at_h: float | None = None  # when it was started again, on the brew's clock [h]
    temperature_degc: float | None = None  # highest that was measured in the brew [degC]
    compost: str = NOT_SHOWN  # one of STATES, from the compost's history
    compost_why: str = "Nothing is recorded of the compost's heating."
    made_of: tuple[str, ...] = ()  # what it is noted to be made of, some of MADE_OF; () for not noted

    def __post_init__(self) -> None:
        if self.compost not in STATES:
            raise UnusableRecord(f"'{self.compost}' is no finding on a compost.", f"Use one of: {', '.join(STATES)}.")
        for name in (
            "oxygen_floor_mg_per_l",
            "lowest_recent_oxygen_mg_per_l",
            "probability_below_floor",
            "hours_since_air_stopped",
            "oxygen_when_air_stopped_mg_per_l",
            "uptake_mg_per_l_per_h",
            "holding_time_h",
            "smell_at_h",
            "held_degc",
            "hold_before_h",
            "restarted_at_h",
            "temperature_degc",
        ):
            value = getattr(self, name)
            # A value that is not a number compares as False with everything and would open gates by accident.
            if value is not None and not math.isfinite(value):
                raise UnusableRecord(f"{name} is not a number.", "Leave it out if it is not known.")


def floor_of(facts: BrewFacts) -> float:
    """The oxygen floor that the gates hold to: the brewer's, and never under the limit `least-floor`. [mg/L]"""
    return max(facts.oxygen_floor_mg_per_l, threshold("least-floor").value)


def closed(gates: tuple[Gate, ...]) -> tuple[Gate, ...]:
    """The gates that hold back."""
    return tuple(gate for gate in gates if not gate.is_open)


def open_gate(name: str, why: str, *sources: str) -> Gate:
    """A gate that stands open."""
    return Gate(name=name, is_open=True, why=_once(why), how_it_opens="", sources=sources)


def shut_gate(name: str, why: str, how: str, *sources: str) -> Gate:
    """A gate closed by something known."""
    return Gate(name=name, is_open=False, why=_once(why, how), how_it_opens=_once(how), sources=sources)


def unshown_gate(name: str, why: str, how: str, *sources: str) -> Gate:
    """A gate closed because something is not known."""
    return Gate(name=name, is_open=False, why=_once(why, how), how_it_opens=_once(how), sources=sources, shown=False)


def _once(text: str, after: str = "") -> str:
    """`text` with who decides said no more than once in it and in what stands after it: both are read in one breath."""
    bare = text.replace(DECIDE, "")
    return bare if bare == text or DECIDE in after else bare + DECIDE
