"""From the notebook to what gates ask of a brew; what the notebook does not hold stays unknown."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from aerobe.notebook import Kept, Notebook
from aerobe.oxygen import saturation_mg_per_l
from aerobe.records import Brew, Harvest, as_json
from aerobe.safety import (
    DECIDES,
    NOT_SHOWN,
    BrewFacts,
    Gate,
    OxygenHistory,
    harvest_gates,
    heat_place,
    judge_compost,
    oxygen_history,
    threshold,
)
from aerobe.usecases.brews._behind_code import recipe_and_compost
from aerobe.usecases.safety._air_and_smell import Air, air_of_brew, smell_of_brew
from aerobe.usecases.safety._material import material_of
from aerobe.usecases.safety._notes import pieces_of, place_of


def brew_facts(notebook: Notebook, brew: str, *, now: datetime, risk: float | None = None) -> BrewFacts:
    """What the notebook holds that gates ask of a brew; what it does not hold stays unknown.

    Parameters
    ----------
    notebook
        The open notebook.
    brew
        Key of the brew.
    now
        The moment asked about.
    risk
        Chance that oxygen falls below the floor, from a forecast just made; left out, the last kept advice is asked
        if it is fresh enough. [-]

    Raises
    ------
    NotFound
        If there is no such brew.
    """
    record = notebook.get(Brew, brew)
    now_h = record.hours_at(now)
    end = _harvest(notebook, brew)
    air = air_of_brew(notebook, record, None if end is None else end.elapsed_h, now=now)
    stopped_h, again_h = air.judged or (None, None)
    runs = air.judged is None or again_h is not None
    # The time looked at ends with the air, unless it was started again.
    until_h = now_h if runs or stopped_h is None else stopped_h
    lowest, at_stop, uptake = _oxygen(notebook, brew, now_h, stopped_h, again_h, air.restarted_h)
    outlook = _fresh_outlook(notebook, brew, now if end is None and runs else None, record, stopped_h)
    compost, why = compost_state(notebook, record)
    smell = smell_of_brew(notebook, record, end, now=now)
    past = _oxygen_history(notebook, record, until_h, (stopped_h, again_h))
    seen_to = past.last_unseen_to_h
    return BrewFacts(
        oxygen_floor_mg_per_l=record.aim.oxygen_floor_mg_per_l,
        oxygen=past,
        lowest_recent_oxygen_mg_per_l=lowest,
        probability_below_floor=_number(outlook, "probability_below") if risk is None else risk,
        # An answer speaks for the time before it was given.
        air_unbroken=_unbroken(notebook, brew, air, seen_to),
        smell=smell.words,
        smell_at_h=smell.at_h,
        # The record of a brew begins with its air; only a recorded harvest ends it.
        hours_since_air_stopped=_hours_off(now_h, stopped_h, again_h),
        oxygen_when_air_stopped_mg_per_l=at_stop,
        uptake_mg_per_l_per_h=uptake,
        holding_time_h=_number(outlook, "holding_time_low_h"),
        held_degc=None if stopped_h is None else _warmest(notebook, brew, stopped_h, again_h or now_h),
        hold_before_h=air.longest_before_h,
        restarted_at_h=air.restarted_h,
        temperature_degc=_warmest_known(notebook, brew, until_h),
        compost=compost,
        compost_why=why,
        made_of=material_of(notebook, recipe_and_compost(notebook, record)[1].key).made_of,
    )


def gates_of_brew(notebook: Notebook, brew: str, *, now: datetime, risk: float | None = None) -> tuple[Gate, ...]:
    """The gates between a brew and its harvest, now. Give them to every call on it.

    Parameters
    ----------
    notebook
        The open notebook.
    brew
        Key of the brew.
    now
        The moment asked about.
    risk
        Chance that oxygen falls below the floor, from a forecast just made. [-]
    """
    return harvest_gates(brew_facts(notebook, brew, now=now, risk=risk))


def gates_as_data(gates: Sequence[Gate], *notes: str) -> dict[str, Any]:
    """Gates for programs, each with its state, who decides, and what else should be known."""
    return {
        "notes": [note for note in notes if note],
        "gates": [{**as_json(gate), "state": gate.state} for gate in gates],
        "all_open": all(gate.is_open for gate in gates),
        "decides": DECIDES,
    }


def _harvest(notebook: Notebook, brew: str) -> Harvest | None:
    found = notebook.find(Harvest, of=brew)
    return found[0] if found else None


def _hours_off(now_h: float, stopped_h: float | None, restarted_h: float | None) -> float | None:
    if now_h < 0:
        return None
    return 0.0 if stopped_h is None or restarted_h is not None else max(now_h - stopped_h, 0.0)


def _unbroken(notebook: Notebook, brew: str, air: Air, seen_to_h: float | None) -> bool | None:
    """Whether the air is noted to have run where no reading shows the oxygen: a stop that was entered there says no."""
    if seen_to_h is None:
        return None
    for stop in air.stops:
        # The stop that is judged by itself is left out of the log.
        if stop != air.judged and stop[1] is not None and not _points(notebook, brew, stop[0], stop[1]):
            return False
    return None if air.answered_at_h < seen_to_h else air.unbroken


def _oxygen(
    notebook: Notebook, brew: str, now_h: float, stopped_h: float | None, again_h: float | None, restarted_h: float | None
) -> tuple[float | None, float | None, float | None]:
    """Lowest recent reading, the last one before the air stopped, and the steepest fall after it. [mg/L, mg/L, mg/L/h]"""
    window = threshold("recent-oxygen").value
    end_h = now_h if stopped_h is None or again_h is not None else stopped_h
    recent = _points(notebook, brew, max(end_h - window, restarted_h or -math.inf), max(now_h, end_h))
    lowest = min((value for _, value in recent), default=None)
    if stopped_h is None:
        return lowest, None, None
    pairs = _points(notebook, brew, stopped_h - 1.0, now_h if again_h is None else again_h)
    before = [value for at, value in pairs if at <= stopped_h]
    after = [(at, value) for at, value in pairs if at > stopped_h]
    uptake = None
    if before and len(after) >= 2:
        # From the stop to each later reading: the steepest mean fall is the careful one.
        uptake = max(0.0, *((before[-1] - value) / (at - stopped_h) for at, value in after))
    return lowest, before[-1] if before else None, uptake


def _points(notebook: Notebook, brew: str, from_h: float, to_h: float) -> list[tuple[float, float]]:
    times, values = notebook.log(brew, "oxygen", from_h=from_h, to_h=to_h)
    return [(float(at), float(value)) for at, value in zip(times, values, strict=True) if math.isfinite(value)]


def _oxygen_history(notebook: Notebook, record: Brew, until_h: float, off: tuple[float | None, float | None]) -> OxygenHistory:
    """The oxygen from the start, each probe judged by itself: one that is stuck must not hide behind another."""
    probes = [probe for _, channel, probe, _ in notebook.logged(record.key) if channel == "oxygen"]
    _, temperatures = notebook.log(record.key, "temperature", to_h=until_h)
    coldest = min([record.temperature_degc, *(float(value) for value in temperatures if 0.0 <= value <= 40.0)])
    return oxygen_history(
        [notebook.log(record.key, "oxygen", probe=probe, to_h=until_h) for probe in probes],
        until_h=until_h,
        floor_mg_per_l=max(record.aim.oxygen_floor_mg_per_l, threshold("least-floor").value),
        most_mg_per_l=threshold("oxygen-over-saturation").value * saturation_mg_per_l(min(coldest, 40.0)),
        off_h=None if off[0] is None or off[1] is None else (off[0], off[1]),
    )


def _fresh_outlook(
    notebook: Notebook, brew: str, now: datetime | None, record: Brew, stopped_h: float | None
) -> Mapping[str, Any]:
    """The oxygen part of the last advice, if it was made within the recent hours before now, or before the air stopped."""
    asked_h = record.hours_at(now) if now is not None else stopped_h
    if asked_h is None:
        return {}

    def is_fresh(kept: Kept) -> bool:
        made_h = record.hours_at(kept.at)
        return isinstance(kept.payload, dict) and 0.0 <= asked_h - made_h <= threshold("recent-oxygen").value

    # Advice asked for after the harvest speaks of a brew under air that is no longer there: the last one before counts.
    kept = next((item for item in reversed(notebook.kept("advice", brew)) if is_fresh(item)), None)
    if kept is None:
        return {}
    outlook = kept.payload.get("oxygen")
    # Advice made for another floor says nothing about this one.
    if not isinstance(outlook, dict) or outlook.get("floor_mg_per_l", 0.0) < record.aim.oxygen_floor_mg_per_l:
        return {}
    return outlook


def _number(outlook: Mapping[str, Any], name: str) -> float | None:
    value = outlook.get(name)
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None


def _warmest_known(notebook: Notebook, brew: str, until_h: float) -> float | None:
    """The highest temperature of the brew; None unless it was measured lately, for an expectation is no measurement. [degC]"""
    if _warmest(notebook, brew, until_h - threshold("recent-oxygen").value, until_h) is None:
        return None
    return _warmest(notebook, brew, -math.inf, until_h)


def _warmest(notebook: Notebook, brew: str, from_h: float, to_h: float) -> float | None:
    _, values = notebook.log(brew, "temperature", from_h=from_h, to_h=to_h)
    # Water under 0 degC does not brew: such a value is of another unit.
    return max((float(value) for value in values if math.isfinite(value) and value >= 0.0), default=None)


def compost_state(notebook: Notebook, record: Brew) -> tuple[str, str]:
    """What is shown of a brew's compost under the rules chosen, and why."""
    place = place_of(notebook)
    if not heat_place(place):
        return NOT_SHOWN, "No place is chosen whose compost rules could be asked. Local codes and licensed practice decide."
    _, compost = recipe_and_compost(notebook, record)
    finding = judge_compost(compost, place, largest_piece_mm=pieces_of(notebook, compost.key))
    return finding.state, f"{finding.why} {finding.next_step}"
