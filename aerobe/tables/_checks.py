"""Questions that only the rows raise: columns that tell rows apart and are not used, doubles, conflicts."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

import numpy as np

from aerobe.tables._across import is_place
from aerobe.tables._ask import Questions
from aerobe.tables._block import Block
from aerobe.tables._columns import Column
from aerobe.tables._results import ProbeColumn, RowRead, RowsRead
from aerobe.tables._scores import MADE

MEANINGS_OFFERED = ("brew", "arm", "dose", "bottle", "block", "experiment", "replicate", "variable", "notes")
REPEATED, LAST, FIRST, OWN_BREW, OUT = (
    "repeated tests",
    "the last one counts",
    "the first one counts",
    "brews of their own",
    "leave them out",
)
RIGHT = "they are right"
DAYS_APART_H, TIMES_WIDER = 240.0, 20.0  # a gap so long [h], and so much longer than the next, is asked about
KEEP_BOTH = "keep both"
_ROUND = 6


def splits(block: Block, columns: tuple[Column, ...], rows: RowsRead, questions: Questions) -> None:
    """Ask about every unused column that tells apart rows of the same brew and hour."""
    unused = [
        place
        for place, column in enumerate(columns)
        if column.field == "ignore" and column.score < 1.0 and not column.because.startswith("the ")
    ]
    if not unused:
        return
    cells = block.rows
    groups = list(_groups(rows))
    courses = _courses(rows)
    for place in unused:
        apart = next((numbers for numbers in groups if len({cells[number][place] for number in numbers}) > 1), None)
        mixed = apart or next(
            (numbers for times, numbers in courses if _interleaved(times, [cells[number][place] for number in numbers])), None
        )
        if mixed is None:
            continue
        header = columns[place].header
        numbers = tuple(dict.fromkeys(block.numbers[at] for at in mixed))
        said = list(dict.fromkeys(cells[at][place] or "(empty)" for at in mixed))[:3]
        questions.ask(
            f"column:{header}",
            f"What does '{header}' tell apart?",
            because=f"Rows of the same brew{' and hour' if apart else ''} differ in it ({', '.join(said)}); "
            "without it they would be one.",
            options=MEANINGS_OFFERED,
            default=_likely(header, [row[place] for row in block.rows], columns),
            rows=numbers,
        )


def _likely(header: str, cells: list[str], columns: tuple[Column, ...]) -> str:
    """Lines between rows, sheets and tables that are named as vessels are, where no column names the brew."""
    named = any(column.field in ("brew", "bottle") for column in columns)
    return "brew" if header in MADE and not named and all(is_place(cell) for cell in cells if cell) else ""


def _groups(rows: RowsRead) -> Iterable[list[int]]:
    """Places of rows that nothing in use tells apart."""
    found: dict[object, list[int]] = defaultdict(list)
    for row in rows.results:
        if not row.is_mean:
            found[_same(row)].append(row.place)
    for probe in rows.probes:
        for place, hour, clock in zip(probe.places, probe.elapsed_h, probe.clocks, strict=True):
            found[probe.label, probe.channel, hour if hour is not None else clock].append(place)
    return [numbers for numbers in found.values() if len(set(numbers)) > 1]


def _same(row: RowRead) -> tuple[object, ...]:
    when = round(row.elapsed_h, _ROUND) if row.elapsed_h is not None else row.clock
    return (
        row.label,
        when,
        row.role,
        row.method,
        row.variable,
        row.measured,
        row.assay,
        row.unit,
        row.replicate,
        row.dilution,
        row.sample,
    )


def _courses(rows: RowsRead) -> list[tuple[list[float], list[int]]]:
    """Times and places of each quantity of each brew."""
    found: dict[object, tuple[list[float], list[int]]] = defaultdict(lambda: ([], []))
    for row in rows.results:
        if not row.is_mean and row.elapsed_h is not None:
            times, places = found[row.label, row.role, row.method, row.variable, row.measured]
            times.append(row.elapsed_h)
            places.append(row.place)
    return list(found.values())


def _interleaved(times: list[float], cells: list[str]) -> bool:
    """Whether a column splits one course into two or more that run side by side in time."""
    spans = {cell: [time for time, other in zip(times, cells, strict=True) if other == cell] for cell in dict.fromkeys(cells)}
    if not 2 <= len(spans) <= 12 or any(len(span) < 2 for span in spans.values()):
        return False
    ends = sorted((min(span), max(span)) for span in spans.values())
    return any(later[0] < earlier[1] for earlier, later in itertools.pairwise(ends))


def far_apart(rows: RowsRead, questions: Questions) -> RowsRead:
    """Times days away from all others of their brew, as a mistyped year or hour makes them: asked, by row."""
    found: dict[int, int] = {}
    for times, places, numbers in _times(rows):
        lone = _lone(times)
        found |= {places[at]: numbers[at] for at in lone}
    if not found:
        return rows
    said = questions.ask(
        "far apart",
        "Some times lie days away from all others of the brew. Are they right?",
        because="A mistyped year, day or hour looks like that; so does a tea kept in store.",
        options=(RIGHT, OUT),
        rows=tuple(found[place] for place in sorted(found))[:20],
    )
    if said != OUT:
        return rows
    for probe in rows.probes:
        _drop(probe, {at for at, place in enumerate(probe.places) if place in found})
    noted = f"{len(found)} rows whose times lie far from all others are left out."
    return replace(rows, results=tuple(row for row in rows.results if row.place not in found), left_out=(*rows.left_out, noted))


def _times(rows: RowsRead) -> list[tuple[list[float], list[int], list[int]]]:
    """Hours, places and numbers of the rows of each brew."""
    found: dict[str, tuple[list[float], list[int], list[int]]] = defaultdict(lambda: ([], [], []))

    def add(label: str, hour: float | None, clock: datetime | None, place: int, number: int) -> None:
        if hour is not None or clock is not None:
            times, places, numbers = found[label]
            times.append(hour if hour is not None else clock.timestamp() / 3600.0 if clock is not None else 0.0)
            places.append(place)
            numbers.append(number)

    for row in rows.results:
        if not row.is_mean:
            add(row.label, row.elapsed_h, row.clock, row.place, row.row)
    for probe in rows.probes:
        for cells in zip(probe.elapsed_h, probe.clocks, probe.places, probe.rows, strict=True):
            add(probe.label, *cells)
    return list(found.values())


def _lone(times: list[float]) -> list[int]:
    """Places on the smaller side of a gap of days that is far wider than every other; none where there is no such gap."""
    order = np.argsort(times)
    gaps = np.diff(np.asarray(times)[order])
    gaps = gaps[gaps > 0.0]
    if len(gaps) < 2:
        return []
    widest, second = (float(value) for value in np.sort(gaps)[-1:-3:-1])
    if widest < DAYS_APART_H or widest < TIMES_WIDER * second:
        return []
    cut = int(np.argmax(np.diff(np.asarray(times)[order]))) + 1
    return [int(at) for at in (order[:cut] if cut <= len(order) - cut else order[cut:])]


def doubles(rows: RowsRead, questions: Questions) -> RowsRead:
    """Several results for one brew, hour and test: repeats, a correction, or brews that the table does not tell apart?"""
    groups: dict[object, list[int]] = defaultdict(list)
    for place, row in enumerate(rows.results):
        if not row.is_mean:
            groups[_same(row)].append(place)
    several = {key: places for key, places in groups.items() if len(places) > 1}
    if not several:
        return rows
    sizes = Counter(len(places) for places in groups.values())
    even = len(sizes) == 1 or (len(several) >= 0.8 * len(groups) and max(sizes) <= 12)
    differ = any(len({rows.results[place].value for place in places}) > 1 for places in several.values())
    pasted = not differ and (not even or len(several) > 1)  # one twin may be honest, all of them are not
    first = next(iter(several.values()))
    numbers = tuple(rows.results[place].row for places in list(several.values())[:8] for place in places)
    example = ", ".join(rows.results[place].typed_as for place in first[:4])
    because = f"{len(several)} brews and hours have several results ({example}); " + (
        "nearly all have as many, so they are taken for repeats."
        if even and not pasted
        else "most have one."
        if not pasted
        else "each repeats its values, as rows pasted twice do."
    )
    said = questions.ask(
        "doubles",
        "Rows that name the same brew, hour and test: what are they?",
        because=because,
        options=(REPEATED, LAST, FIRST, OWN_BREW, OUT),
        default=FIRST if pasted else REPEATED if even else "",
        rows=numbers,
    )
    return _with_doubles(rows, several, said)


def _with_doubles(rows: RowsRead, several: dict[object, list[int]], said: str) -> RowsRead:
    results: list[RowRead | None] = list(rows.results)
    for places in several.values():
        if said == LAST:
            results = _without(results, places[:-1])
        elif said == FIRST:
            results = _without(results, places[1:])
        elif said == OUT:
            results = _without(results, places)
        elif said == OWN_BREW:
            for order, place in enumerate(places, start=1):
                row = rows.results[place]
                labels = replace(row.labels, bottle=" ".join(filter(None, (row.labels.bottle, str(order)))))
                results[place] = replace(row, label=f"{row.label} {order}".strip(), labels=labels)
        elif len({rows.results[place].replicate for place in places}) == 1 and not rows.results[places[0]].sample:
            for order, place in enumerate(places, start=1):
                results[place] = replace(rows.results[place], replicate=order)
    gone = sum(1 for row in results if row is None)
    noted = (f"{gone} doubled rows left out: {said}.",) if gone else ()
    return replace(rows, results=tuple(row for row in results if row is not None), left_out=(*rows.left_out, *noted))


def _without(results: list[RowRead | None], places: list[int]) -> list[RowRead | None]:
    for place in places:
        results[place] = None
    return results


def log_doubles(rows: RowsRead, questions: Questions) -> RowsRead:
    """Two values of one probe at one moment that do not agree: two vessels in one, or a file joined twice."""
    for probe in rows.probes:
        found = _conflicts(probe)
        if not found:
            continue
        said = questions.ask(
            f"log doubles:{probe.label or 'log'}:{probe.channel}",
            f"The log of {probe.channel}{f' of {probe.label}' if probe.label else ''} has different values at one moment. "
            "What are they?",
            because="One probe shows one value at a time: two vessels may be in one log, or two files joined.",
            options=(KEEP_BOTH, OUT),
            rows=tuple(probe.rows[place] for place in found[:20]),
        )
        if said == OUT:
            _drop(probe, set(found))
    return rows


def _conflicts(probe: ProbeColumn) -> list[int]:
    groups: dict[object, list[int]] = defaultdict(list)
    for place, (hour, clock) in enumerate(zip(probe.elapsed_h, probe.clocks, strict=True)):
        groups[hour if hour is not None else clock].append(place)
    several = [places for places in groups.values() if len(places) > 1]
    if not several:
        return []
    values = np.asarray(probe.values)
    usual = float(np.median(np.abs(np.diff(values)))) if len(values) > 2 else 0.0
    scale = max(0.02 * float(np.ptp(values)), 0.005 * float(np.abs(values).max()), 1e-9)
    bad = [
        places
        for places in several
        if np.ptp(values[places]) > max(4.0 * usual if len(several) < 0.5 * len(groups) else 0.0, scale)
    ]
    # A stamp to the minute holds several readings of one probe; those differ by as little as neighbours do.
    if len(bad) < 0.2 * len(several) and len(several) > 10:
        return []
    return [place for places in bad for place in places]


def _drop(probe: ProbeColumn, gone: set[int]) -> None:
    kept = [place for place in range(len(probe.rows)) if place not in gone]
    for field in ("rows", "places", "elapsed_h", "clocks", "values"):
        values = getattr(probe, field)
        setattr(probe, field, [values[place] for place in kept])
