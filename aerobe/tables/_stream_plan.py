"""How the lines of a long log are read: worked out from how its head was, and from the zone of its clock."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import ImportFault
from aerobe.tables._clock import day_order, zone_of
from aerobe.tables._columns import Column, is_channel
from aerobe.tables._counted import SCALES
from aerobe.tables._read import TableReading
from aerobe.tables._results import Labels
from aerobe.tables._row_parts import dose_of
from aerobe.tables._scores import LABELS
from aerobe.tables._text import MARKS
from aerobe.tables._units import channel_kind
from aerobe.units import ELAPSED, Kind

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamPlan:
    """What the compiled reader is told."""

    kinds: NDArray[np.int64]
    channels: tuple[Column, ...]
    columns: tuple[Column, ...]
    mark: int
    comma: int
    order: int  # of year, month and day
    factor_s: float  # seconds in one of the time's unit
    origin_s: float  # where that unit's nought lies, since 1970
    by_clock: bool
    zone: str
    skip: int  # lines above the values
    limits: Array
    letters: str


@dataclass(slots=True, kw_only=True)
class Folded:
    """The arrays that the compiled reader fills."""

    lows: Array
    highs: Array
    sums: Array
    counts: NDArray[np.int64]
    offsets: Array
    tally: Array
    first_s: float
    odd_counts: NDArray[np.int64]
    lasts: Array
    backs: Array
    bad_at: list[int]  # where lines without a time begin in the file


def plan_of(reading: TableReading) -> StreamPlan:
    """How to read the rest of a log.

    Raises
    ------
    ImportFault
        If it is no plain log of probes.
    """
    from aerobe.tables._stream_compiled import LABEL, NUMBER, TIME_CLOCK, TIME_NUMBER, TIME_OF_DAY, UNUSED

    columns = reading.columns
    if reading.shape.form != "long" or any(column.field == "value" for column in columns):
        raise ImportFault(
            f"{reading.name} is long and no plain log of probes.",
            "Take in its probes alone; its results as a file below 20 MB.",
        )
    counted = dict(reading.block.counted)
    times = {"elapsed": TIME_NUMBER, "clock": TIME_CLOCK, "date": TIME_CLOCK, "time": TIME_OF_DAY}
    times |= dict.fromkeys(LABELS, LABEL)
    kinds = [NUMBER if is_channel(column.field) else times.get(column.field, UNUSED) for column in columns]
    scale = (1.0, 0.0)
    for place, column in enumerate(columns):
        if column.header in counted and column.field == "clock":
            kinds[place], scale = TIME_NUMBER, SCALES.get(counted[column.header], (1.0, 0.0))
        elif column.header in counted and column.field in ("date", "time"):
            raise ImportFault(f"{reading.name} counts days beside a time of day.", "Write both in one column: 2026-05-01 08:30.")
    channels = tuple(column for column in columns if is_channel(column.field))
    elapsed = next((column for column in columns if column.field == "elapsed"), None)
    answers = {question.key: question.taken for question in reading.questions}
    mark = next(mark for mark, word in MARKS.items() if word == reading.mark.what) if reading.mark.what in MARKS.values() else ","
    return StreamPlan(
        kinds=np.array(kinds, dtype=np.int64),
        channels=channels,
        columns=columns,
        mark=ord(mark),
        comma=ord(next((column.decimal for column in channels), ".")),
        order=_order(reading, answers),
        factor_s=3600.0 * ELAPSED.accepts[elapsed.unit] if elapsed else scale[0],
        origin_s=0.0 if elapsed else scale[1],
        by_clock=elapsed is None,
        zone=answers.get("zone", ""),
        skip=reading.block.numbers[0] - 1,
        limits=np.array([_limits(column) for column in channels]),
        letters=reading.letters.what if reading.letters.what == "cp1252" else "utf-8",
    )


def _order(reading: TableReading, answers: dict[str, str]) -> int:
    place = next((at for at, column in enumerate(reading.columns) if column.field in ("clock", "date")), None)
    if place is None or not reading.block.rows or reading.block.rows[0][place][:4].isdigit():
        return 0
    day_first = answers.get("day first", "")
    if not day_first:
        order, _ = day_order([row[place] for row in reading.block.rows])
        return 2 if order is False else 1
    return 1 if day_first == "yes" else 2


def kind_of(column: Column) -> Kind:
    """The kind of quantity of a channel's column."""
    kind = channel_kind(column.field, column.unit)
    if kind is None:
        raise ImportFault(f"'{column.header}' has no unit of {column.field}.", "Say which, and try again.")
    return kind


def linear(column: Column) -> tuple[float, float]:
    """Factor and offset to the house unit: every unit of a channel is linear."""
    kind = replace(kind_of(column), low=-math.inf, high=math.inf)
    nought = kind.convert(0.0, column.unit)
    return (kind.convert(1.0, column.unit) - nought) * column.factor, nought


def _limits(column: Column) -> tuple[float, float]:
    kind, (factor, offset) = kind_of(column), linear(column)
    return (kind.low - offset) / factor, (kind.high - offset) / factor


def labels_of(cells: list[str], columns: tuple[Column, ...]) -> Labels:
    """What a line says about its brew."""
    found: dict[str, list[str]] = {field: [] for field in LABELS}
    for cell, column in zip(cells, columns, strict=True):
        if column.field in found and cell:
            found[column.field].append(dose_of(cell, column) if column.field == "dose" else cell)
    return Labels(**{field: " ".join(dict.fromkeys(words)) for field, words in found.items()})


def zone_table(zone: str, first_s: float, last_s: float) -> Array:
    """For each hour of the local clock its offset from universal time, as `fold_lines` wants it; empty without a zone. [h, s]"""
    if not zone:
        return np.zeros((1, 3))
    place = zone_of(zone)
    first, last = math.floor(first_s / 3600.0) - 26, math.ceil(last_s / 3600.0) + 26
    table = np.zeros((2 + last - first, 3))
    table[0, 0] = first
    for at, hour in enumerate(range(first, last + 1), start=1):
        local = datetime.fromtimestamp(hour * 3600.0, tz=UTC).replace(tzinfo=place)
        offsets = [(local.replace(fold=fold).utcoffset()) for fold in (0, 1)]
        table[at, :2] = [offset.total_seconds() if offset else 0.0 for offset in offsets]
        there = local.astimezone(UTC).astimezone(place).replace(tzinfo=None) == local.replace(tzinfo=None)
        table[at, 2] = 0.0 if there else 1.0
    return table
