"""Gates of oxygen and air: measured now, over the whole brew, ahead, and after the air has stopped."""

from __future__ import annotations

from aerobe.oxygen import hours_to_floor
from aerobe.safety._facts import BrewFacts, Gate, floor_of, open_gate, shut_gate, unshown_gate
from aerobe.safety._findings import SHOWN
from aerobe.safety._oxygen_history import OxygenHistory
from aerobe.safety._smell import smell_of
from aerobe.safety._thresholds import DECIDE, threshold
from aerobe.units import percent

OURS, PRACTICE = "aerobe-cautious-choice", "tea-common-practice"
THROW_OUT = (
    "It does not open for this brew: work it into a compost heap that heats again, and begin anew with less food or more air."
    + DECIDE
)


def oxygen_measured(facts: BrewFacts) -> Gate:
    """Whether the readings of the last hours keep the floor. A forecast does not stand in for a reading."""
    name, floor = "oxygen measured", floor_of(facts)
    lowest, window = facts.lowest_recent_oxygen_mg_per_l, threshold("recent-oxygen").value
    if lowest is None:
        return unshown_gate(
            name,
            f"There is no oxygen reading of the last {window:g} h.",
            "Measure the oxygen in the middle of the vessel with the air running, and enter it.",
            OURS,
        )
    if not lowest >= floor:
        return shut_gate(
            name,
            f"Oxygen fell to {lowest:.1f} mg/L in the last {window:g} h; the floor is {floor:.1f} mg/L.",
            f"More air or no more food, until every reading of {window:g} h lies at {floor:.1f} mg/L or above.",
            OURS,
        )
    return open_gate(
        name, f"The lowest oxygen reading of the last {window:g} h is {lowest:.1f} mg/L, at or above the floor.", OURS
    )


def oxygen_over_the_brew(facts: BrewFacts) -> Gate:
    """Whether the whole brew had oxygen: what happened early is not undone by a good reading late."""
    name, past = "oxygen over the brew", facts.oxygen
    if past is None or past.readings == 0 or past.lowest_mg_per_l is None:
        why = "There is no oxygen reading of this brew that can be believed, so nobody knows whether it ran out."
        most, gap = threshold("oxygen-unseen-most").value, threshold("oxygen-log-gap").value
        how = f"Log the oxygen from the start; after {most:g} h that nobody saw it stays shut for this brew."
        if past is not None and past.until_h <= most:
            how = (
                f"Measure the oxygen now and every {gap:g} h, in the middle of the vessel. A hand meter will do: up to "
                f"{most:g} h between two readings, such as a night, pass if you note that the air ran without a break "
                "and that the smell is good."
            )
        return unshown_gate(name, _doubted(why, past), how, OURS)
    if past.without_h >= threshold("no-oxygen-most").value:
        limit = threshold("no-oxygen")
        return shut_gate(
            name,
            f"Oxygen was under {limit.value:g} mg/L for {past.without_h:.1f} h of this brew, to {_hour(past.last_below_at_h)}. "
            f"Air afterwards does not undo that. {threshold('no-oxygen-most').says}",
            THROW_OUT,
            OURS,
            PRACTICE,
            limit.source,
        )
    return _after_a_low(name, facts, past) or _unseen(name, facts, past) or _kept_the_floor(name, facts, past)


def _after_a_low(name: str, facts: BrewFacts, past: OxygenHistory) -> Gate | None:
    """Asked after any time under the floor: hours of air since, and a smell noted since. None where nothing more is asked."""
    back = past.last_below_at_h
    if back is None:
        return None
    floor, window = floor_of(facts), threshold("recent-oxygen").value
    said = (
        f"Oxygen was under {floor:.1f} mg/L for {past.below_h:.1f} h of this brew, "
        f"{past.without_h:.1f} h of it under {threshold('no-oxygen').value:g} mg/L, until {_hour(back)}."
    )
    if past.until_h - back < window:
        return shut_gate(
            name,
            f"{said} Since then {past.until_h - back:.1f} h have passed.",
            f"Aerate for {window:g} h with every reading at {floor:.1f} mg/L or above, then note the smell.",
            OURS,
            PRACTICE,
        )
    if not _smelt_well_since(facts, back):
        return unshown_gate(
            name,
            f"{said} Nobody has noted a good smell since.",
            "Smell it now and note the smell; if it is sour, rotten or sulphurous, do not use it.",
            OURS,
            PRACTICE,
        )
    return None


def _unseen(name: str, facts: BrewFacts, past: OxygenHistory) -> Gate | None:
    """Asked where no reading shows the oxygen. None where nothing more is asked."""
    seen_to, gap, most = past.last_unseen_to_h, threshold("oxygen-log-gap"), threshold("oxygen-unseen-most")
    if seen_to is None:
        return None
    why = _doubted(f"No oxygen reading for up to {past.longest_unseen_h:.1f} h of this brew: {gap.says}", past)
    if past.longest_unseen_h > most.value:
        return unshown_gate(
            name,
            why,
            f"For this brew it stays shut. The next: a reading every {gap.value:g} h, never {most.value:g} h without one.",
            OURS,
        )
    if seen_to >= past.until_h:
        return unshown_gate(name, why, "Measure the oxygen now, in the middle of the vessel, and enter it.", OURS)
    if facts.air_unbroken is False:
        return shut_gate(
            name, f"{why} The air is noted as broken off in that time.", "It does not open for this brew." + DECIDE, OURS
        )
    if facts.air_unbroken is None or not _smelt_well_since(facts, seen_to):
        return unshown_gate(name, why, "Note whether the air ran without a break in that time, and the smell now.", OURS)
    return None


def _kept_the_floor(name: str, facts: BrewFacts, past: OxygenHistory) -> Gate:
    words = [f"Lowest of {past.readings} readings over {past.until_h:.0f} h: {past.lowest_mg_per_l:.1f} mg/L."]
    if past.last_below_at_h is not None:
        words.append(
            f"It was under {floor_of(facts):.1f} mg/L for {past.below_h:.1f} h until {_hour(past.last_below_at_h)}; "
            "since then aired, and the smell was good."
        )
    if past.last_unseen_to_h is not None:
        words.append(f"Up to {past.longest_unseen_h:.1f} h were not seen; the air is noted as unbroken.")
    return open_gate(name, _doubted(" ".join(words), past), OURS)


def oxygen_forecast(facts: BrewFacts) -> Gate:
    """Whether the oxygen is likely to stay over the floor until the next hours are over."""
    name, limit, risk = "oxygen forecast", threshold("oxygen-risk"), facts.probability_below_floor
    floor = floor_of(facts)
    stopped = (facts.hours_since_air_stopped or 0.0) > 0.0 or facts.hold_before_h > 0.0
    if stopped and facts.lowest_recent_oxygen_mg_per_l is not None:
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


def time_without_air(facts: BrewFacts) -> Gate:
    """Whether the oxygen lasted while the air was off, now or before it was started again."""
    name, cap, hours = "time without air", threshold("hold-at-most"), facts.hours_since_air_stopped
    if hours is None:
        return unshown_gate(
            name, "It is not known whether the air is running.", "Note when the air stopped, or that it runs.", cap.source
        )
    if hours < 0.0 or facts.hold_before_h < 0.0:
        return unshown_gate(
            name, "The air is noted as stopped in the future.", "Correct the time at which the air stopped.", cap.source
        )
    # What was held before the last start of the air is judged beside a stop that lasts.
    found = [_held(facts, held, lasts_on) for held, lasts_on in ((hours, True), (facts.hold_before_h, False)) if held > 0.0]
    if not found:
        return open_gate(name, "The air is running.", cap.source)
    return next((gate for gate in found if not gate.is_open), found[0])


def _held(facts: BrewFacts, held: float, lasts_on: bool) -> Gate:
    """One time without air: the one that lasts on, or the longest before it."""
    name, cap, lasts = "time without air", threshold("hold-at-most"), _lasts_h(facts)
    most = threshold("no-oxygen-most")
    if held - (lasts or 0.0) >= most.value:
        said = "nobody knows how long the oxygen lasted" if lasts is None else f"by the measured uptake it lasts {lasts:.1f} h"
        return shut_gate(name, f"The air was off for {held:.1f} h; {said}. {most.says}", THROW_OUT, cap.source, OURS)
    against = _against_the_hold(facts, held, lasts)
    if against is None:
        tense = "Air off for" if lasts_on else "The air was started again; it was off for"
        return open_gate(name, f"{tense} {held:.1f} h; the oxygen lasts {lasts or 0.0:.1f} h by the measured uptake.", cap.source)
    why, known = against
    if not lasts_on and (asked := _asked_after_a_hold(facts)) is None:
        return open_gate(name, f"{why} Since then it was aired again and the smell was good.", cap.source, OURS)
    how = (
        "Start the air again, keep every reading at the floor or above for "
        f"{threshold('recent-oxygen').value:g} h, then note the smell. {threshold('hold-at-most').says}"
        if lasts_on
        else str(asked)
    )
    return (shut_gate if known else unshown_gate)(name, why, how, cap.source, OURS)


def _against_the_hold(facts: BrewFacts, held: float, lasts: float | None) -> tuple[str, bool] | None:
    """What stands against a time without air, and whether it is known (False: a fact is missing)."""
    cap, warm = threshold("hold-at-most"), threshold("hold-warmth-most")
    if facts.held_degc is not None and facts.held_degc > warm.value:
        return f"The air was off for {held:.1f} h at up to {facts.held_degc:.1f} degC. {warm.says}", True
    if lasts is None:
        return f"The air was off for {held:.1f} h; without a measured uptake nobody knows how long the oxygen lasted.", False
    if held > min(cap.value, lasts):
        return f"The air was off for {held:.1f} h; the oxygen lasts {min(cap.value, lasts):.1f} h at most.", True
    if facts.held_degc is None and held > threshold("hold-unmeasured-most").value:
        return f"The air was off for {held:.1f} h and its temperature in that time is not known. {warm.says}", False
    return None


def _asked_after_a_hold(facts: BrewFacts) -> str | None:
    """What is still asked of a tea that was aired again; None where all is answered."""
    window, since = threshold("recent-oxygen").value, facts.restarted_at_h
    if since is None or facts.oxygen is None or facts.oxygen.until_h - since < window:
        return f"Aerate for {window:g} h with every reading at the floor or above, then note the smell."
    if facts.lowest_recent_oxygen_mg_per_l is None:
        return "Measure the oxygen with the air running, and enter it."
    if not _smelt_well_since(facts, since):
        return "Note the smell now that it is aired again; if it is sour, rotten or sulphurous, do not use it."
    return None


def _lasts_h(facts: BrewFacts) -> float | None:
    """The shorter of what the fit and what the measured uptake say; None where neither is known."""
    found = [] if facts.holding_time_h is None else [facts.holding_time_h]
    if facts.oxygen_when_air_stopped_mg_per_l is not None and facts.uptake_mg_per_l_per_h is not None:
        at_stop, uptake = facts.oxygen_when_air_stopped_mg_per_l, facts.uptake_mg_per_l_per_h
        found.append(float(hours_to_floor(max(at_stop, 0.0), uptake, floor_of(facts))))
    return min(found, default=None)


def _smelt_well_since(facts: BrewFacts, hour: float) -> bool:
    return facts.smell_at_h is not None and facts.smell_at_h >= hour and smell_of(facts.smell) == SHOWN


def _doubted(text: str, past: OxygenHistory | None) -> str:
    return text if past is None or not past.doubts else f"{text} {'. '.join(past.doubts)}."


def _hour(hour: float | None) -> str:
    return "now" if hour is None else f"{hour:.1f} h"
