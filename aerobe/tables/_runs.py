"""Times that go back: a logger that began anew, two logs in one file, clocks that pass midnight without a date."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable
from dataclasses import replace
from datetime import datetime, timedelta

from aerobe.tables._ask import Questions
from aerobe.tables._results import ProbeColumn, RowsRead

APART, ONE, FIRST_RUN, LAST_RUN = (
    "runs of their own",
    "one run, rows out of order",
    "only the first counts",
    "only the last counts",
)


def log_runs(rows: RowsRead, questions: Questions) -> RowsRead:
    """Logs whose time goes back over hours that they covered before: asked, since two courses would become one."""
    kept: list[ProbeColumn] = []
    for probe in rows.probes:
        runs = _runs(probe)
        if len(runs) < 2:
            kept.append(probe)
            continue
        said = questions.ask(
            f"runs:{probe.label or 'log'}",
            f"The time of the log {probe.label or 'of this file'} goes back {len(runs) - 1} times. What are its parts?",
            because="They cover the same hours: as one log they would run into each other.",
            options=(APART, ONE, FIRST_RUN, LAST_RUN),
            rows=tuple(probe.rows[run[0]] for run in runs[1:]),
        )
        if said == FIRST_RUN:
            kept.append(_part(probe, runs[0]))
        elif said == LAST_RUN:
            kept.append(_part(probe, runs[-1]))
        elif said == APART:
            kept += [_part(probe, run, f"run {at}") for at, run in enumerate(runs, 1)]
        else:
            kept.append(probe)
    return replace(rows, probes=tuple(kept))


def _moments(probe: ProbeColumn) -> list[float]:
    return [
        hour if hour is not None else clock.timestamp() / 3600.0 if clock else 0.0
        for hour, clock in zip(probe.elapsed_h, probe.clocks, strict=True)
    ]


def _runs(probe: ProbeColumn) -> list[list[int]]:
    """Places of each stretch in which time does not fall; one stretch where none covers the hours of another anew."""
    moments = _moments(probe)
    runs: list[list[int]] = [[]]
    for place, moment in enumerate(moments):
        if runs[-1] and moment < moments[runs[-1][-1]]:
            runs.append([])
        runs[-1].append(place)
    whole = [list(range(len(moments)))]
    met: set[tuple[float, float]] = set()
    spans: list[tuple[float, float]] = []
    overlap = False
    for run in runs:
        pairs = {(moments[place], probe.values[place]) for place in run}
        if pairs <= met:
            continue  # pasted twice
        met |= pairs
        span = moments[run[0]], moments[run[-1]]
        overlap = overlap or any(span[0] <= last and first <= span[1] for first, last in spans)
        spans.append(span)
    return runs if overlap else whole


def _part(probe: ProbeColumn, places: list[int], name: str = "") -> ProbeColumn:
    return ProbeColumn(
        labels=replace(probe.labels, block=f"{probe.labels.block} {name}".strip()) if name else probe.labels,
        channel=probe.channel,
        unit=probe.unit,
        label=f"{probe.label} {name}".strip(),
        rows=[probe.rows[place] for place in places],
        places=[probe.places[place] for place in places],
        elapsed_h=[probe.elapsed_h[place] for place in places],
        clocks=[probe.clocks[place] for place in places],
        values=[probe.values[place] for place in places],
    )


def with_midnights(rows: RowsRead, questions: Questions) -> RowsRead:
    """Clock times of one named day that go back: the day after, if the person agrees."""
    steps: dict[Hashable, list[tuple[int, datetime]]] = defaultdict(list)
    for row in rows.results:
        if row.clock is not None:
            steps[row.label, row.role, row.method, row.variable, row.measured, row.replicate].append((row.place, row.clock))
    for probe in rows.probes:
        steps[probe.label, probe.channel] += [
            (place, clock) for place, clock in zip(probe.places, probe.clocks, strict=True) if clock is not None
        ]
    days: dict[int, int] = {}
    falls: list[float] = []
    for course in steps.values():
        day, last = 0, course[0][1] if course else None
        for place, clock in course:
            if last is not None and clock < last:
                day += 1
                falls.append((last - clock).total_seconds() / 3600.0)
            last = clock
            if day:
                days[place] = day
    if not days:
        return rows
    numbers = [row.row for row in rows.results if row.place in days]
    numbers += [number for probe in rows.probes for number, place in zip(probe.rows, probe.places, strict=True) if place in days]
    said = questions.ask(
        "midnight",
        "The clock times go back. Are the rows from there on of the next day?",
        because="The table names no dates.",
        options=("yes", "no"),
        default="yes" if min(falls) > 12.0 else "",
        rows=tuple(dict.fromkeys(numbers)),
    )
    if said != "yes":
        return rows
    for probe in rows.probes:
        probe.clocks = [
            clock + timedelta(days=days.get(place, 0)) if clock else None
            for place, clock in zip(probe.places, probe.clocks, strict=True)
        ]
    results = tuple(
        replace(row, clock=row.clock + timedelta(days=days.get(row.place, 0))) if row.clock else row for row in rows.results
    )
    return replace(rows, results=results)
