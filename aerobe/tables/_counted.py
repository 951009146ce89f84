"""Moments written as numbers: days as spreadsheets count them, seconds since 1970; and clocks of four digits beside a date."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from aerobe.tables._block import Block
from aerobe.tables._cells import read_cell
from aerobe.tables._clock import looks_dated
from aerobe.tables._units import split_header
from aerobe.tables._words import meanings_of

_DAYS = 36526.0, 62000.0  # 2000 to 2069, counted from the end of 1899
_SECONDS = 978307200.0, 2208988800.0  # 2001 to 2039, counted from 1970
_FOUR_DIGITS = re.compile(r"([01]?\d|2[0-4])([0-5]\d)")


def with_moments(block: Block) -> Block:
    """The table with counted days and seconds as dates: where the name says a moment and all cells lie in these years."""
    names = [meanings_of(split_header(name)[0]).keys() | meanings_of(name).keys() for name in block.header]
    columns = [[row[place] for row in block.rows] for place in range(len(block.header))]
    noted: list[str] = []
    read_as: list[tuple[str, str]] = []
    for place, meant in enumerate(names):
        if not meant & {"clock", "date", "time", "elapsed"}:
            continue
        counted = [read_cell(cell, "," if "," in cell else ".") for cell in columns[place] if cell]
        if not counted or any(cell.kind != "number" or cell.unit or cell.bound for cell in counted):
            continue
        values = [cell.value for cell in counted]
        how = _how(min(values), max(values), meant)
        if how:
            read = dict(zip(filter(None, columns[place]), values, strict=True))
            columns[place] = [_moment(read[cell], how) if cell else "" for cell in columns[place]]
            read_as.append((block.header[place], how))
            noted.append(f"'{block.header[place]}' counts {how}: {columns[place][0] or columns[place][-1]} comes first.")
        elif "time" in meant and _has_date(columns, names, place) and _are_clocks(columns[place]):
            columns[place] = [_with_colon(cell) for cell in columns[place]]
            noted.append(f"'{block.header[place]}' writes clock times without a colon.")
    if not noted:
        return block
    return replace(block, rows=tuple(zip(*columns, strict=True)), noted=(*block.noted, *noted), counted=tuple(read_as))


# Seconds in what is counted, and the moment of nought in seconds since 1970.
SCALES = {"days as spreadsheets do": (86400.0, -25569 * 86400.0), "milliseconds since 1970": (0.001, 0.0)}
_OF_DAYS, _OF_SECONDS, _OF_MILLIS = "days as spreadsheets do", "seconds since 1970, in universal time", "milliseconds since 1970"


def _how(low: float, high: float, meant: set[str]) -> str:
    if _SECONDS[0] <= low and high <= _SECONDS[1]:
        return _OF_SECONDS
    if _SECONDS[0] <= low / 1000.0 and high / 1000.0 <= _SECONDS[1]:
        return _OF_MILLIS
    # Tens of thousands under `time` may be seconds since the start: only a date is counted in days.
    return _OF_DAYS if meant & {"clock", "date"} and _DAYS[0] <= low and high <= _DAYS[1] else ""


def _moment(value: float, how: str) -> str:
    if how == _OF_DAYS:
        return (datetime(1899, 12, 30) + timedelta(seconds=round(value * 86400.0))).isoformat(sep=" ")
    seconds = value / (1000.0 if how == _OF_MILLIS else 1.0)
    return datetime.fromtimestamp(seconds, tz=UTC).isoformat(sep=" ")


def _has_date(columns: list[list[str]], names: list[set[str]], place: int) -> bool:
    return any(
        at != place and "date" in meant and all(looks_dated(cell) for cell in columns[at] if cell)
        for at, meant in enumerate(names)
    )


def _are_clocks(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return all(_FOUR_DIGITS.fullmatch(cell) for cell in filled) and any(len(cell) == 4 for cell in filled)


def _with_colon(cell: str) -> str:
    match = _FOUR_DIGITS.fullmatch(cell)
    return f"{match[1]}:{match[2]}" if match else cell
