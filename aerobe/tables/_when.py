"""When rows were sampled: zone, order of day and month, clocks without a date, one hour for all."""

from __future__ import annotations

import re
from dataclasses import replace

from aerobe.errors import AerobeError, ImportFault
from aerobe.tables._ask import Questions
from aerobe.tables._block import Block
from aerobe.tables._clock import day_order, duration_h, has_offset, looks_clocked, looks_dated, zone_in, zone_of
from aerobe.tables._columns import Column
from aerobe.tables._decimals import cells_of
from aerobe.units import ELAPSED, parse_number

# Lines above a table that speak of clocks; a place named there is no zone of theirs.
_ZONED = re.compile(r"zone|utc|gmt|time|zeit|clock|heure|hora", re.IGNORECASE)


def when_sampled(
    block: Block, columns: tuple[Column, ...], questions: Questions, zone: str
) -> tuple[str, bool | None, float | None, str, tuple[Column, ...]]:
    if questions.replies.get("zone"):
        zone_of(questions.replies["zone"])  # a zone that does not exist is refused, needed or not
    fields = {column.field for column in columns}
    said = questions.replies.get("hour", "")
    if not fields & {"elapsed", "clock", "date", "time"}:
        said = questions.ask(
            "hour",
            "No column tells the time. When were all rows sampled, since the air went on?",
            because="Write for example 24 h; or say which column is the time.",
        )
    at_h = _hours(said) if said else None
    columns = _clocks_alone(block, columns, questions)
    places = [place for place, column in enumerate(columns) if column.field in ("clock", "date", "time")]
    fields = {column.field for column in columns}
    if not places or "elapsed" in fields:
        return "", None, at_h, "", columns
    cells = [cell for place in places for cell in cells_of(block, place) if looks_dated(cell) or looks_clocked(cell)]
    dated = [cell for cell in cells if looks_dated(cell)]
    date = ""
    if not dated:
        date = questions.ask("date", "The clock times have no date. Which day was it?", because="Write 2026-05-01.")
    order, matters = day_order(dated)
    reply = {"yes": True, "no": False}.get(questions.replies.get("day first", ""))
    if order is None and matters:
        said = questions.ask(
            "day first",
            f"Does the day stand first in dates such as {dated[0]}?",
            because="No date of the table tells.",
            options=("yes", "no"),
        )
        reply = {"yes": True, "no": False}.get(said)
    if any(not has_offset(cell) for cell in cells):
        names = [column.header for column in columns if column.field in ("clock", "date", "time")]
        stated = dict.fromkeys(filter(None, map(zone_in, [*names, *(line for line in block.above if _ZONED.search(line))])))
        because = "The times of the table have none. Write Europe/Berlin, or +02:00."
        if stated:
            because = f"The file states {' and '.join(stated)}. Write that, or Europe/Berlin, or +02:00."
            zone = next(iter(stated)) if len(stated) == 1 else ""
        zone = questions.ask("zone", "Which time zone did the clock show?", because=because, default=zone)
    return zone, order if reply is None else reply, at_h, date, columns


SINCE, OF_DAY = "hours and minutes since the start", "time of day"


def _clocks_alone(block: Block, columns: tuple[Column, ...], questions: Questions) -> tuple[Column, ...]:
    """Times such as 08:30 without a date: since the start, or of the day?"""
    found = []
    for place, column in enumerate(columns):
        cells = cells_of(block, place, 2000)
        if column.field == "elapsed" and cells and sum(map(looks_clocked, cells)) > 0.7 * len(cells):
            hours = [duration_h(cell) for cell in cells if duration_h(cell) is not None]
            since = bool(hours) and (hours[0] < 0.1 or max(hours) >= 24.0)  # type: ignore[type-var,operator]
            said = questions.ask(
                f"clock:{column.header}",
                f"Are times such as {cells[0]} in '{column.header}' {SINCE}, or a {OF_DAY}?",
                because="They begin near nought or pass 24 hours." if since else "They have no date.",
                options=(SINCE, OF_DAY),
                default=SINCE if since else "",
            )
            column = replace(column, field="clock") if said == OF_DAY else column
        found.append(column)
    return tuple(found)


def _hours(said: str) -> float:
    try:
        return (
            ELAPSED.convert(parse_number(said), "h", typed=said)
            if re.fullmatch(r"[+-]?[\d.,]+", said.strip())
            else ELAPSED.read(said)
        )
    except AerobeError as fault:
        raise ImportFault(f"'{said[:60]}' is no hour of sampling. {fault.problem}", "Write for example 24 h.") from None
