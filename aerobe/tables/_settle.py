"""What names and cells leave open about a table, asked with the likeliest answer: units, decimal marks, time, limits, flags."""

from __future__ import annotations

import re
from dataclasses import replace

from aerobe.tables._ask import Questions
from aerobe.tables._block import Block
from aerobe.tables._cells import SENTINELS, read_cell
from aerobe.tables._clock import looks_clocked
from aerobe.tables._codes import flags_of, limits_of, sentinels_of
from aerobe.tables._columns import WORKED_OUT, Column, is_channel
from aerobe.tables._decimals import cells_of, with_decimals
from aerobe.tables._dilutions import with_dilutions
from aerobe.tables._scores import BARE_PERCENT
from aerobe.tables._units import CHANNEL_KINDS, channel_kind, unit_of
from aerobe.tables._way import Way
from aerobe.tables._when import when_sampled
from aerobe.tables._wide import Wide
from aerobe.tables._words import folded_name, meanings_of
from aerobe.units import ELAPSED

ABOVE_SAME, NOTHING = "the same as above", "nothing"
FILLED = ("experiment", "block", "brew", "arm", "dose", "bottle", "date", "method", "organism", "variable", "elapsed", "clock")
MIXED = "mixed: up to 25 is mg/L, above is %"


def filled_down(block: Block, columns: tuple[Column, ...], questions: Questions) -> Block:
    """Cells left empty under a name, as merged cells are: the name holds for them too, if the person agrees."""
    rows = [list(row) for row in block.rows]
    for place, column in enumerate(columns):
        cells = [row[place] for row in rows]
        if column.field not in FILLED or not cells or not cells[0] or all(cells):
            continue
        filled = [cell for cell in cells if cell]
        if len(filled) > 0.7 * len(cells) or _only_at_the_foot(cells):
            continue
        once = len(set(filled)) == len(filled) or column.field in ("date", "elapsed", "clock")
        blank = tuple(number for number, cell in zip(block.numbers, cells, strict=True) if not cell)
        said = questions.ask(
            f"fill:{column.header}",
            f"Cells under '{filled[0]}' in '{column.header}' are empty. What holds for them?",
            because="Each name stands once, as in merged cells." if once else "Names stand more than once.",
            options=(ABOVE_SAME, NOTHING),
            default=ABOVE_SAME if once else "",
            rows=blank,
        )
        if said == ABOVE_SAME:
            last = ""
            for row in rows:
                last = row[place] or last
                row[place] = last
    return replace(block, rows=tuple(tuple(row) for row in rows))


def _only_at_the_foot(cells: list[str]) -> bool:
    """Whether only the last cells are empty, below several names: rows of sums, not merged cells."""
    last = max(place for place, cell in enumerate(cells) if cell)
    return last > 0 and all(cells[: last + 1])


def settled_way(
    block: Block, columns: tuple[Column, ...], questions: Questions, *, shape: Wide, zone: str, test_named: bool
) -> tuple[tuple[Column, ...], Way]:
    """The columns with decimal marks and units, and how rows are to be read."""
    columns = with_decimals(block, columns, questions)
    columns = _with_value_column(block, columns, questions)
    columns = with_dilutions(block, columns, questions)
    columns = _with_units(block, columns, questions, test_named)
    columns, mixed = _with_mixed_oxygen(block, columns, questions)
    zone, day_first, at_h, date, columns = when_sampled(block, columns, questions, zone)
    return columns, Way(
        columns=columns,
        zone=zone,
        day_first=day_first,
        at_h=at_h,
        date=date,
        limits=limits_of(block, columns, questions),
        sentinels=sentinels_of(block, columns, questions),
        mixed=mixed,
        leave_flags=flags_of(block, columns, questions),
        tidy={},
    )


def _with_value_column(block: Block, columns: tuple[Column, ...], questions: Questions) -> tuple[Column, ...]:
    if any(column.field == "value" or is_channel(column.field) for column in columns):
        return columns
    numeric = [
        column.header
        for place, column in enumerate(columns)
        if column.field in ("ignore", "brew temperature", "mean")
        and not column.because.startswith(WORKED_OUT)
        and cells_of(block, place)
        and all(read_cell(cell).kind != "text" for cell in cells_of(block, place, 200))
    ]
    worded = [
        column for column in columns if column.field == "ignore" and "value" in meanings_of(column.header)
    ]  # a column of words
    means = [header for header in numeric if re.match(r"(mean|average|avg|mittelwert|moyenne)", folded_name(header))]
    said = questions.ask(
        "value column",
        "No column is known to hold results. Which one does?",
        because="Its name and cells must say what was measured, and in which unit; or give a column its meaning.",
        options=tuple(numeric),
        default=(means or numeric)[0] if len(means or numeric) == 1 and not worded else "",
    )
    return tuple(
        replace(column, field="value", score=0.6, because="the only column of numbers left") if column.header == said else column
        for column in columns
    )


def _with_units(block: Block, columns: tuple[Column, ...], questions: Questions, test_named: bool) -> tuple[Column, ...]:
    has_unit = any(column.field == "unit" for column in columns)
    found = []
    for place, column in enumerate(columns):
        cells = cells_of(block, place)
        if column.field == "elapsed" and column.unit not in ELAPSED.accepts and not _own_units(cells, "elapsed"):
            column = _with_unit(column, questions, ("h", "min", "s", "d"), _span(cells, column.decimal))
        elif is_channel(column.field) and channel_kind(column.field, column.unit) is None and not _own_units(cells, column.field):
            units = tuple(unit for kind in CHANNEL_KINDS[column.field] for unit in kind.accepts if unit)
            column = _with_unit(column, questions, units, _span(cells, column.decimal))
        elif column.field == "oxygen" and column.unit.startswith("%") and _like_shares(cells, column.decimal):
            column = _with_share(column, questions, _span(cells, column.decimal))
        elif column.field == "oxygen" and column.unit in BARE_PERCENT and _like_air(cells, column.decimal):
            column = _with_percent(column, questions, _span(cells, column.decimal))
        elif column.field == "value" and not column.unit and not has_unit and not test_named and not _own_units(cells, "value"):
            column = _with_unit(column, questions, (), _span(cells, column.decimal), _unit_above(block))
        found.append(column)
    return tuple(found)


def _like_air(cells: list[str], decimal: str) -> bool:
    """Whether percents never pass what air holds of oxygen, and come near it: they may be percent of a gas."""
    values = [cell.value for text in cells if (cell := read_cell(text, decimal)).kind == "number" and not cell.unit]
    return bool(values) and 17.0 <= max(values) <= 22.5


def _like_shares(cells: list[str], decimal: str) -> bool:
    """Whether what is named percent never passes 1.5, and comes near 1: shares as a spreadsheet keeps them."""
    values = [cell.value for text in cells if (cell := read_cell(text, decimal)).kind == "number" and not cell.unit]
    return len(values) > 1 and 0.3 < max(values) <= 1.5


def _with_share(column: Column, questions: Questions, seen: str) -> Column:
    said = questions.ask(
        f"share:{column.header}",
        f"Does 1 in '{column.header}' stand for 1 % or for 100 %?",
        because=f"{seen} Spreadsheets show 0.98 as 98 %, and some programs write it out as 0.98.",
        options=("100 %", "1 %"),
    )
    return replace(column, factor=100.0) if said == "100 %" else column


def _with_percent(column: Column, questions: Questions, seen: str) -> Column:
    said = questions.ask(
        f"percent:{column.header}",
        f"What are the percents of '{column.header}'?",
        because=f"{seen} Air itself holds 20.9 % of oxygen; a probe in water shows 100 % for it.",
        options=("% saturation", "% O2 in gas"),
    )
    return replace(column, unit=said or column.unit)


def _own_units(cells: list[str], field: str) -> bool:
    """Whether the cells carry their unit themselves, or are durations."""
    read = [read_cell(cell) for cell in cells[:200]]
    good = sum(
        1
        for cell, text in zip(read, cells, strict=False)
        if (cell.unit and (unit := unit_of(cell.unit)) and field in unit.kinds) or looks_clocked(text) or cell.kind == "text"
    )
    return bool(cells) and good >= 0.9 * len(read)


def _span(cells: list[str], decimal: str) -> str:
    values = [cell.value for text in cells if (cell := read_cell(text, decimal)).kind == "number"]
    return f"It holds numbers from {min(values):g} to {max(values):g}." if values else ""


def _unit_above(block: Block) -> str:
    """The one unit of results that the lines above a table name (`Units: 10^6 cells/mL`); else empty."""
    found: dict[str, None] = {}
    for line in block.above:
        words = re.sub(r"[:;,()\[\]]", " ", line).split()
        place = 0
        while place < len(words):
            spans = (" ".join(words[place : place + size]) for size in (4, 3, 2, 1))
            span = next((text for text in spans if "/" in text and (unit := unit_of(text)) and "value" in unit.kinds), "")
            if span:
                found[span] = None
            place += len(span.split()) or 1
    return next(iter(found)) if len(found) == 1 else ""


def _with_unit(column: Column, questions: Questions, units: tuple[str, ...], seen: str, above: str = "") -> Column:
    word = {"elapsed": "time", "value": "the result"}.get(column.field, column.field)
    said = questions.ask(
        f"unit:{column.header}",
        f"'{column.header}' has no unit of {word}. Which is it?",
        because=f"{seen} A line above the table names {above}." if above else seen,
        options=units,
        default=above,
    )
    unit = unit_of(said) if said else None
    if unit is None:
        return replace(column, unit=said or column.unit)
    return replace(column, unit=unit.name, factor=unit.factor, log10=unit.log10)


def _with_mixed_oxygen(
    block: Block, columns: tuple[Column, ...], questions: Questions
) -> tuple[tuple[Column, ...], frozenset[str]]:
    """Percent and mg/L in one column: two clouds of numbers, far apart."""
    mixed = set()
    found = []
    for place, column in enumerate(columns):
        if column.field == "oxygen":
            cells = [
                (number, cell.value)
                for number, row in zip(block.numbers, block.rows, strict=True)
                if (cell := read_cell(row[place], column.decimal)).kind == "number" and not cell.unit and abs(cell.value) < 600
            ]
            small = [number for number, value in cells if 2.0 < value <= 16.0]
            large = [number for number, value in cells if value > 25.0 and value not in SENTINELS]
            if (
                len(small) >= max(3, 0.05 * len(cells))
                and len(large) >= max(2, 0.05 * len(cells))
                and _two_clouds([value for _, value in cells])
            ):
                said = questions.ask(
                    f"mixed:{column.header}",
                    f"'{column.header}' holds numbers as of mg/L and as of percent. What are they?",
                    because=f"{len(small)} lie between 2 and 16, {len(large)} above 25, none between.",
                    options=(MIXED, f"all {column.unit or 'mg/L'}"),
                    rows=tuple(large[:25]),
                )
                mixed |= {column.header} if said == MIXED else set()
                column = replace(column, unit="mg/L") if said == MIXED else column
        found.append(column)
    return tuple(found), frozenset(mixed)


def _two_clouds(values: list[float]) -> bool:
    return not any(16.0 < value <= 25.0 for value in values)


__all__ = ["filled_down", "settled_way"]
