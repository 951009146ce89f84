"""Rows that a single entry would be asked about: ahead of the clock, long before the air, far off its neighbours."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from aerobe.records import Brew
from aerobe.tables import ProbeColumn, Question, RowRead, RowsRead
from aerobe.usecases.notebook._moments import impossible

LEAVE_OUT, KEEP = "leave out", "keep"
FAR = 2.0  # powers of ten from both neighbours in time, which agree within one
Find = Callable[[RowRead | ProbeColumn], Brew | None]


def checked_rows(
    rows: RowsRead, replies: dict[str, str], *, brew_of: Find, started_at: datetime | None, now: datetime
) -> tuple[RowsRead, tuple[Question, ...]]:
    """The rows that hold, and questions about those that cannot have been, or hardly.

    Parameters
    ----------
    rows, replies
        What the table gave, and what was answered.
    brew_of
        The brew of the notebook that a row belongs to; None for one that the table begins.
    started_at, now
        When the air went on for brews that the table begins, where somebody said so; and this machine's clock.
    """
    asked: list[Question] = []
    doubtful: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for row in rows.results:
        why = _impossible(row.elapsed_h, row.clock, brew_of(row), started_at, now)
        if why:
            doubtful[why].append((row.row, row.place))
    for probe in rows.probes:
        brew = brew_of(probe)
        for number, place, hour, clock in zip(probe.rows, probe.places, probe.elapsed_h, probe.clocks, strict=True):
            why = _impossible(hour, clock, brew, started_at, now)
            if why:
                doubtful[why].append((number, place))
    gone: set[int] = set()
    for why, found in doubtful.items():
        key = f"rows {why}"
        said = replies.get(key, "")
        asked.append(
            Question(
                key=key,
                asks=f"Rows lie {why}. What shall become of them?",
                because="A single entry would be refused. Mend zone, day order or the start of the air, or leave these rows out.",
                options=(LEAVE_OUT,),
                rows=tuple(dict.fromkeys(number for number, _ in found))[:50],
                reply=said if said == LEAVE_OUT else "",
            )
        )
        gone |= {place for _, place in found} if said == LEAVE_OUT else set()
    far = _far_off(rows)
    if far:
        said = replies.get("far off", "")
        asked.append(
            Question(
                key="far off",
                asks="Single results lie a hundred times above or below those before and after them. Keep them?",
                because=f"For example '{far[0].typed_as}'; a slip of the pen or of the decimal mark looks like that.",
                options=(KEEP, LEAVE_OUT),
                rows=tuple(row.row for row in far)[:50],
                reply=said if said in (KEEP, LEAVE_OUT) else "",
            )
        )
        gone |= {row.place for row in far} if said == LEAVE_OUT else set()
    return _without(rows, gone), tuple(asked)


def _impossible(hour: float | None, clock: datetime | None, brew: Brew | None, started_at: datetime | None, now: datetime) -> str:
    if hour is None:
        if clock is None:
            return ""
        if brew is None and started_at is None:
            return "ahead of the clock" if clock > now else ""
        hour = brew.hours_at(clock) if brew else (clock - started_at).total_seconds() / 3600.0  # type: ignore[operator]
    if brew is None:
        if hour < -48.0:
            return "long before the air went on"
        return "ahead of the clock" if started_at is not None and hour > (now - started_at).total_seconds() / 3600.0 + 0.2 else ""
    said = impossible(hour, brew, now=now)
    return "" if not said else "ahead of the clock" if "ahead" in said else "long before the air went on"


def _far_off(rows: RowsRead) -> list[RowRead]:
    courses: dict[object, list[RowRead]] = defaultdict(list)
    for row in rows.results:
        if row.role == "sample" and not row.is_mean and row.value > 0.0 and not row.below_detection and not row.above_range:
            courses[row.label, row.method, row.variable, row.measured, row.assay, row.unit].append(row)
    found = []
    for course in courses.values():
        course.sort(key=lambda row: row.elapsed_h if row.elapsed_h is not None else row.clock.timestamp() if row.clock else 0.0)
        logs = [math.log10(row.value * row.dilution) for row in course]
        for place in range(1, len(course) - 1):
            before, here, after = logs[place - 1 : place + 2]
            if (
                abs(before - after) < 1.0
                and min(abs(here - before), abs(here - after)) >= FAR
                and (here - before) * (here - after) > 0
            ):
                found.append(course[place])
    return found


def _without(rows: RowsRead, gone: set[int]) -> RowsRead:
    if not gone:
        return rows
    for probe in rows.probes:
        kept = [at for at, place in enumerate(probe.places) if place not in gone]
        probe.elapsed_h, probe.clocks = [probe.elapsed_h[at] for at in kept], [probe.clocks[at] for at in kept]
        probe.values, probe.rows = [probe.values[at] for at in kept], [probe.rows[at] for at in kept]
        probe.places = [probe.places[at] for at in kept]
    results = tuple(row for row in rows.results if row.place not in gone)
    return replace(rows, results=results, left_out=(*rows.left_out, f"{len(gone)} rows left out as you say."))
