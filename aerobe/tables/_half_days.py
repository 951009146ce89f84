"""Clocks that show twelve hours without saying which half of the day: 12:00 is followed by 1:00."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable
from dataclasses import replace
from datetime import date, datetime, timedelta

from aerobe.tables._ask import Questions
from aerobe.tables._clock import zone_of
from aerobe.tables._results import RowsRead

TWELVE, ORDER = "a clock of 12 hours: the later ones are of the afternoon", "a clock of 24 hours, rows out of order"


def with_half_days(rows: RowsRead, zone: str, questions: Questions) -> RowsRead:
    """Times that go back within a day on a clock that never passes twelve: of the afternoon, if the person agrees."""
    if not zone:
        return rows
    courses = _courses(rows, zone)
    local = [moment for course in courses for _, moment in course]
    if not local or any(not 1 <= moment.hour <= 12 for moment in local):
        return rows
    later: set[int] = set()
    for course in courses:
        half, day, last = False, date.min, None
        for place, moment in course:
            back = last is not None and moment.timestamp() < last.timestamp()
            if moment.date() != day:
                half, day = moment.hour == 12, moment.date()
            elif moment.hour == 12:
                half = True
            elif back:
                if half and last is not None and last.hour != 12:
                    return rows  # goes back again and again: no clock of twelve hours
                half = True
            last = moment
            if half and moment.hour != 12:
                later.add(place)
    if not later:
        return rows
    numbers = {row.place: row.row for row in rows.results}
    numbers |= {place: number for probe in rows.probes for number, place in zip(probe.rows, probe.places, strict=True)}
    said = questions.ask(
        "twelve hours",
        "Times go back within a day, and no hour passes 12. What does the clock show?",
        because="A clock of 12 hours whose AM and PM are lost looks like that.",
        options=(TWELVE, ORDER),
        rows=tuple(numbers[place] for place in sorted(later)[:20]),
    )
    if said != TWELVE:
        return rows
    noon = timedelta(hours=12)
    for probe in rows.probes:
        pairs = zip(probe.places, probe.clocks, strict=True)
        probe.clocks = [clock + noon if clock and place in later else clock for place, clock in pairs]
    results = tuple(replace(row, clock=row.clock + noon) if row.clock and row.place in later else row for row in rows.results)
    return replace(rows, results=results)


def _courses(rows: RowsRead, zone: str) -> list[list[tuple[int, datetime]]]:
    """Place and local clock of each row of each course, in the order of the file."""
    here = zone_of(zone)
    found: dict[Hashable, list[tuple[int, datetime]]] = defaultdict(list)
    for row in rows.results:
        if row.clock is not None and not row.is_mean:
            key = row.label, row.role, row.method, row.variable, row.measured, row.replicate
            found[key].append((row.place, row.clock.astimezone(here)))
    for probe in rows.probes:
        pairs = zip(probe.places, probe.clocks, strict=True)
        found[probe.label, probe.channel] = [(place, clock.astimezone(here)) for place, clock in pairs if clock is not None]
    return list(found.values())
