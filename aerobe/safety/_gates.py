"""Gates: what holds a harvest or a use back, why, and what opens it again.

A gate is never opened by not knowing. `shown` is False where it is closed only because a fact is missing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN, STATES
from aerobe.safety._holding import holding_time_h
from aerobe.safety._smell import smell_of
from aerobe.safety._thresholds import DECIDE, threshold
from aerobe.units import percent


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
    lowest_recent_oxygen_mg_per_l: float | None = None  # lowest reading of the last hours (limit `recent-oxygen`) [mg/L]
    probability_below_floor: float | None = None  # that oxygen is under the floor now or until the harvest [-]
    smell: str | None = None  # free text
    hours_since_air_stopped: float | None = None  # 0 while the air runs [h]
    oxygen_when_air_stopped_mg_per_l: float | None = None  # [mg/L]
    uptake_mg_per_l_per_h: float | None = None  # oxygen uptake, upper end of its interval [mg/L/h]
    holding_time_h: float | None = None  # how long oxygen lasts without air, lower end, where a fit of the brew gives it [h]
    temperature_degc: float | None = None  # highest of the brew [degC]
    compost: str = NOT_SHOWN  # one of STATES, from the compost's history
    compost_why: str = "Nothing is recorded of the compost's heating."
    edible: bool | None = None  # is anything eaten from where the tea goes

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
            "temperature_degc",
        ):
            value = getattr(self, name)
            # A value that is not a number compares as False with everything and would open gates by accident.
            if value is not None and not math.isfinite(value):
                raise UnusableRecord(f"{name} is not a number.", "Leave it out if it is not known.")


def floor_of(facts: BrewFacts) -> float:
    """The oxygen floor that the gates hold to: the brewer's, and never under the limit `least-floor`. [mg/L]"""
    return max(facts.oxygen_floor_mg_per_l, threshold("least-floor").value)


def harvest_gates(facts: BrewFacts) -> tuple[Gate, ...]:
    """The gates between a brew and its harvest.

    Parameters
    ----------
    facts
        What is known now; every missing fact keeps its gate shut. [mg/L, h, degC]

    Returns
    -------
    tuple of Gate
        Oxygen measured, oxygen forecast, smell, time without air, temperature, compost history.

    Notes
    -----
    All open means that nothing known stands against the harvest. It is no statement that the tea is safe:
    local codes and licensed practice decide.

    Source
    ------
    aerobe-cautious-choice, tea-common-practice, ross-2003, who-legionella-2007, duffy-2004
    """
    return (
        _oxygen_measured(facts),
        _oxygen_forecast(facts),
        _smell(facts),
        _without_air(facts),
        _temperature(facts),
        _compost(facts),
    )


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


def _oxygen_measured(facts: BrewFacts) -> Gate:
    name, key, floor = "oxygen measured", "aerobe-cautious-choice", floor_of(facts)
    lowest, risk = facts.lowest_recent_oxygen_mg_per_l, facts.probability_below_floor
    window = threshold("recent-oxygen").value
    if lowest is not None and lowest < floor:
        return shut_gate(
            name,
            f"Oxygen fell to {lowest:.1f} mg/L in the last {window:g} h; the floor is {floor:.1f} mg/L.",
            f"More air or no more food, until every reading of {window:g} h lies at {floor:.1f} mg/L or above.",
            key,
        )
    if lowest is not None:
        return open_gate(
            name, f"The lowest oxygen reading of the last {window:g} h is {lowest:.1f} mg/L, at or above the floor.", key
        )
    if risk is not None and risk <= threshold("oxygen-risk").value:
        return open_gate(
            name, "No recent oxygen reading; the forecast alone speaks for the oxygen. A meter would be better.", key
        )
    return unshown_gate(
        name,
        "There is no recent oxygen reading and no forecast that could stand in for it.",
        "Measure the oxygen in the middle of the vessel with the air running, and enter it.",
        key,
    )


def _oxygen_forecast(facts: BrewFacts) -> Gate:
    name, limit, risk = "oxygen forecast", threshold("oxygen-risk"), facts.probability_below_floor
    floor = floor_of(facts)
    if (facts.hours_since_air_stopped or 0.0) > 0.0 and facts.lowest_recent_oxygen_mg_per_l is not None:
        return open_gate(
            name, "The air has stopped: what was measured and the time without air decide, not a forecast.", limit.source
        )
    if risk is None:
        return unshown_gate(
            name, "The oxygen has not been forecast.", "Enter readings of this brew so that it can be.", limit.source
        )
    if not 0.0 <= risk <= limit.value:
        return shut_gate(
            name,
            f"The chance that oxygen is under {floor:.1f} mg/L is {percent(risk)}; at most {percent(limit.value)} is let pass.",
            "Give more air or wait until the food is used up; an oxygen reading above the floor narrows the forecast.",
            limit.source,
        )
    return open_gate(name, f"The chance that oxygen is under {floor:.1f} mg/L is {percent(risk)}.", limit.source)


def _smell(facts: BrewFacts) -> Gate:
    name, source = "smell", "tea-common-practice"
    finding = smell_of(facts.smell)
    if finding == FAILS:
        return shut_gate(
            name,
            f"It smells '{facts.smell}', which goes with missing oxygen.",
            "Aerate until it smells of earth or nothing and note that; else do not use it on anything eaten: "
            "back to a compost heap.",
            source,
        )
    if finding == SHOWN:
        return open_gate(name, f"It smells '{facts.smell}'. Smell finds missing oxygen and no germs.", source)
    return unshown_gate(
        name,
        "The smell is not noted, or not in words that are known.",
        "Fan some air from the vessel towards you (do not lean over it) and note the smell: earthy, none, sour ...",
        source,
    )


def _without_air(facts: BrewFacts) -> Gate:
    name, cap, hours = "time without air", threshold("hold-at-most"), facts.hours_since_air_stopped
    if hours is None:
        return unshown_gate(
            name, "It is not known whether the air is running.", "Note when the air stopped, or that it runs.", cap.source
        )
    if hours < 0.0:
        return unshown_gate(
            name, "The air is noted as stopped in the future.", "Correct the time at which the air stopped.", cap.source
        )
    if hours == 0.0:
        return open_gate(name, "The air is running.", cap.source)
    lasts = _lasts_h(facts)
    if lasts is None:
        return unshown_gate(
            name,
            f"The air has been off for {hours:.1f} h; without a measured uptake nobody knows how long the oxygen lasted.",
            "Start the air again, or measure the uptake before stopping it.",
            cap.source,
        )
    holds = min(cap.value, lasts)
    if hours > holds:
        return shut_gate(
            name,
            f"The air has been off for {hours:.1f} h; by the measured uptake the oxygen lasts {holds:.1f} h.",
            "Start the air again and measure the oxygen; next time use the tea sooner.",
            cap.source,
        )
    return open_gate(name, f"Air off for {hours:.1f} h; the oxygen lasts {holds:.1f} h by the measured uptake.", cap.source)


def _lasts_h(facts: BrewFacts) -> float | None:
    """The shorter of what the fit and what the measured uptake say; None where neither is known."""
    found = [] if facts.holding_time_h is None else [facts.holding_time_h]
    if facts.oxygen_when_air_stopped_mg_per_l is not None and facts.uptake_mg_per_l_per_h is not None:
        found.append(holding_time_h(facts.oxygen_when_air_stopped_mg_per_l, facts.uptake_mg_per_l_per_h, floor_of(facts)))
    return min(found, default=None)


def _temperature(facts: BrewFacts) -> Gate:
    name, warm, reading = "temperature", threshold("warm-limit"), facts.temperature_degc
    sources = (warm.source, "ross-2003", "who-legionella-2007")
    if reading is None:
        return unshown_gate(name, "The temperature is not known.", "Measure the water and enter it.", *sources)
    if reading > warm.value:
        return shut_gate(
            name,
            f"The brew reached {reading:.1f} degC; above {warm.value:g} degC gut bacteria and Legionella grow fast.",
            f"Cool it to {warm.value:g} degC or less and start anew, or use it only where nothing is eaten "
            "and nobody breathes the spray.",
            *sources,
        )
    return open_gate(name, f"{reading:.1f} degC is at or below {warm.value:g} degC.", *sources)


def _compost(facts: BrewFacts) -> Gate:
    name, source = "compost history", "duffy-2004"
    if facts.compost == SHOWN:
        return open_gate(name, facts.compost_why, source)
    if facts.edible is False:
        return open_gate(
            name, "The compost is not shown to have been heated; the tea is meant for a place where nothing is eaten.", source
        )
    how = "Use compost with a heat log that meets the rule of your place, or keep this tea to plants that nobody eats." + DECIDE
    make = shut_gate if facts.compost == FAILS else unshown_gate
    return make(name, facts.compost_why, how, source)
