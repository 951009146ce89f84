"""Logs too long to be held as text: read piece by piece, thinned to lowest, mean, highest and number in each interval of time."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import ImportFault
from aerobe.tables._clock import zone_of
from aerobe.tables._columns import Column, is_channel
from aerobe.tables._read import TableReading
from aerobe.tables._scores import LABELS
from aerobe.tables._text import MARKS
from aerobe.tables._units import channel_kind
from aerobe.units import ELAPSED, OXYGEN_PERCENT, Kind

Array = NDArray[np.float64]
LONG_BYTES = 20_000_000  # text above it is read this way
HEAD_BYTES = 300_000
_PIECE = 8 << 20
_MOST_INTERVALS = 5_000_000
_TAIL = 1 << 16


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinLog:
    """One channel in house units. Of each interval: mean time, and lowest, mean and highest value of `count` readings.

    Parameters
    ----------
    times
        Hours since the start, or seconds since 1970 in universal time where the log has a clock, shape (n,). [h or s]
    low, mean, high
        Shape (n,). [mg/L, % saturation, degC, pH or uS/cm]
    count
        Shape (n,). [-]
    """

    channel: str
    unit: str
    times: Array
    low: Array
    mean: Array
    high: Array
    count: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LongLog:
    """A long log, thinned, and what was met on the way."""

    logs: tuple[ThinLog, ...]
    by_clock: bool
    width_s: float
    rows: int
    bad_rows: int
    empty: int
    bad_cells: int


def head_of(stream: BinaryIO) -> bytes:
    """The first lines of a log, whole, as far as they are needed to tell how it is written."""
    stream.seek(0)
    head = stream.read(HEAD_BYTES)
    return head[: head.rfind(b"\n") + 1] or head


def read_long_log(
    stream: BinaryIO, reading: TableReading, *, width_s: float = 60.0, progress: Callable[[float], None] | None = None
) -> LongLog:
    """Read a whole log by the structure of its head.

    Parameters
    ----------
    stream
        The file, opened for bytes.
    reading
        How its head is read; no question open.
    width_s
        Width of an interval. [s]
    progress
        Told the share that is done, 0 to 1.

    Raises
    ------
    ImportFault
        If the log names brews, has times that cannot be read so, or spans too long.
    """
    plan = _plan(reading)
    first_s, last_s = _span(stream, reading, plan)
    for _ in range(2):
        folded = _fold(stream, reading, plan, first_s, last_s, width_s, progress)
        outside = folded.tally[4]
        if not outside:
            break
        first_s, last_s = float(folded.tally[5]), float(folded.tally[6])  # times that jump: once more, over their whole span
    return _long_log(folded, plan, width_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    kinds: NDArray[np.int64]
    channels: tuple[Column, ...]
    mark: int
    comma: int
    order: int
    factor_s: float
    by_clock: bool
    zone: str
    skip: int  # lines above the values
    limits: Array


@dataclass(slots=True, kw_only=True)
class _Folded:
    lows: Array
    highs: Array
    sums: Array
    counts: NDArray[np.int64]
    offsets: Array
    tally: Array
    first_s: float


def _plan(reading: TableReading) -> _Plan:
    from aerobe.tables._stream_compiled import NUMBER, TIME_CLOCK, TIME_NUMBER, TIME_OF_DAY, UNUSED

    columns = reading.columns
    labelled = [column.header for column in columns if column.field in LABELS]
    if labelled or reading.shape.form != "long" or any(column.field == "value" for column in columns):
        what = f"names brews ('{labelled[0]}')" if labelled else "is no plain log of probes"
        raise ImportFault(f"{reading.name} is long and {what}.", "Split it into one file for each brew, or below 20 MB.")
    times = {"elapsed": TIME_NUMBER, "clock": TIME_CLOCK, "date": TIME_CLOCK, "time": TIME_OF_DAY}
    kinds = [NUMBER if is_channel(column.field) else times.get(column.field, UNUSED) for column in columns]
    channels = tuple(column for column in columns if is_channel(column.field))
    elapsed = next((column for column in columns if column.field == "elapsed"), None)
    answers = {question.key: question.taken for question in reading.questions}
    decimal = next((column.decimal for column in channels), ".")
    mark = next(mark for mark, word in MARKS.items() if word == reading.mark.what) if reading.mark.what in MARKS.values() else ","
    return _Plan(
        kinds=np.array(kinds, dtype=np.int64),
        channels=channels,
        mark=ord(mark),
        comma=ord(decimal),
        order=_order(reading, answers),
        factor_s=3600.0 * ELAPSED.accepts[elapsed.unit] if elapsed else 1.0,
        by_clock=elapsed is None,
        zone=answers.get("zone", ""),
        skip=reading.block.numbers[0] - 1,
        limits=np.array([_limits(column) for column in channels]),
    )


def _order(reading: TableReading, answers: dict[str, str]) -> int:
    place = next((at for at, column in enumerate(reading.columns) if column.field in ("clock", "date")), None)
    if place is None or not reading.block.rows or reading.block.rows[0][place][:4].isdigit():
        return 0
    day_first = answers.get("day first", "")
    if not day_first:
        from aerobe.tables._clock import day_order

        order, _ = day_order([row[place] for row in reading.block.rows])
        return 2 if order is False else 1
    return 1 if day_first == "yes" else 2


def _kind(column: Column) -> Kind:
    kind = channel_kind(column.field, column.unit)
    if kind is None:
        raise ImportFault(f"'{column.header}' has no unit of {column.field}.", "Say which, and try again.")
    return kind


def _linear(column: Column) -> tuple[float, float]:
    """Factor and offset to the house unit: every unit of a channel is linear."""
    kind = replace(_kind(column), low=-math.inf, high=math.inf)
    nought = kind.convert(0.0, column.unit)
    return kind.convert(1.0, column.unit) - nought, nought


def _limits(column: Column) -> tuple[float, float]:
    kind, (factor, offset) = _kind(column), _linear(column)
    return (kind.low - offset) / factor, (kind.high - offset) / factor


def _span(stream: BinaryIO, reading: TableReading, plan: _Plan) -> tuple[float, float]:
    """First and last moment, from the head and the tail of the file. [s]"""
    found = []
    size = stream.seek(0, 2)
    stream.seek(max(0, size - _TAIL))
    tail = stream.read()
    tail = tail[tail.find(b"\n") + 1 :] if size > _TAIL else _without_head(tail, plan.skip)
    for piece in (_without_head(head_of(stream), plan.skip), tail):
        folded = _empty(1, len(plan.channels), 0.0)
        _fold_piece(piece, plan, folded, 1e18, -5e17)
        found += [float(folded.tally[5]), float(folded.tally[6])]
    good = [moment for moment in found if math.isfinite(moment)]
    if not good:
        raise ImportFault(f"{reading.name} has no line with a time that can be read.", "Look at its first lines.")
    return min(good), max(good)


def _without_head(content: bytes, lines: int) -> bytes:
    place = 0
    for _ in range(lines):
        place = content.find(b"\n", place) + 1
    return content[place:]


def _empty(intervals: int, channels: int, first_s: float) -> _Folded:
    shape = intervals, channels
    tally = np.zeros(7)
    tally[5], tally[6] = math.inf, -math.inf
    return _Folded(
        lows=np.zeros(shape),
        highs=np.zeros(shape),
        sums=np.zeros(shape),
        counts=np.zeros(shape, dtype=np.int64),
        offsets=np.zeros(shape),
        tally=tally,
        first_s=first_s,
    )


def _fold(
    stream: BinaryIO,
    reading: TableReading,
    plan: _Plan,
    first_s: float,
    last_s: float,
    width_s: float,
    progress: Callable[[float], None] | None,
) -> _Folded:
    begin = math.floor(first_s / width_s) * width_s
    intervals = int((last_s - begin) // width_s) + 2
    if intervals > _MOST_INTERVALS:
        raise ImportFault(f"{reading.name} spans {(last_s - first_s) / 86400:.0f} days.", "Check its times, or split it.")
    folded = _empty(intervals, len(plan.channels), begin)
    size = stream.seek(0, 2)
    stream.seek(0)
    done, rest, first = 0, b"", True
    while piece := stream.read(_PIECE):
        done += len(piece)
        piece = rest + piece
        cut = piece.rfind(b"\n") + 1
        whole, rest = (piece[:cut], piece[cut:]) if done < size else (piece, b"")
        whole = _without_head(whole, plan.skip) if first else whole
        first = False
        _fold_piece(whole, plan, folded, width_s, begin)
        if progress is not None:
            progress(done / max(size, 1))
    return folded


def _fold_piece(piece: bytes, plan: _Plan, folded: _Folded, width_s: float, first_s: float) -> None:
    from aerobe.tables._stream_compiled import fold_lines

    text = np.frombuffer(piece, dtype=np.uint8)
    arrays = folded.lows, folded.highs, folded.sums, folded.counts, folded.offsets, folded.tally
    fold_lines(text, plan.mark, plan.comma, plan.kinds, plan.order, plan.factor_s, width_s, first_s, plan.limits, *arrays)


def _long_log(folded: _Folded, plan: _Plan, width_s: float) -> LongLog:
    starts = folded.first_s + width_s * np.arange(len(folded.lows))
    logs = []
    for at, column in enumerate(plan.channels):
        full = np.flatnonzero(folded.counts[:, at])
        if not len(full):
            continue
        count = folded.counts[full, at]
        factor, offset = _linear(column)
        ends = folded.lows[full, at] * factor + offset, folded.highs[full, at] * factor + offset
        moments = starts[full] + folded.offsets[full, at] / count
        logs.append(
            ThinLog(
                channel=column.field,
                unit="% saturation" if _kind(column).name == OXYGEN_PERCENT.name else _kind(column).house,
                times=_universal(moments, plan.zone) if plan.by_clock else moments / 3600.0,
                low=np.minimum(*ends),
                mean=folded.sums[full, at] / count * factor + offset,
                high=np.maximum(*ends),
                count=count,
            )
        )
    rows, bad_rows, empty, bad_cells = (int(value) for value in folded.tally[:4])
    return LongLog(
        logs=tuple(logs), by_clock=plan.by_clock, width_s=width_s, rows=rows, bad_rows=bad_rows, empty=empty, bad_cells=bad_cells
    )


def _universal(moments: Array, zone: str) -> Array:
    """Seconds since 1970 in universal time of moments on a local clock."""
    if not zone or not len(moments):
        return moments
    place = zone_of(zone)
    hours = np.floor(moments / 3600.0)
    offsets = {hour: _offset_s(hour, place) for hour in np.unique(hours)}
    return moments - np.array([offsets[hour] for hour in hours])


def _offset_s(hour: float, place: object) -> float:
    local = datetime.fromtimestamp(hour * 3600.0, tz=UTC).replace(tzinfo=place)  # type: ignore[arg-type]
    offset = local.utcoffset()
    return offset.total_seconds() if offset is not None else 0.0
