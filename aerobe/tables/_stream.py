"""Logs too long to be held as text: read piece by piece, thinned to lowest, mean, highest and number in each interval of time."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import ImportFault
from aerobe.tables._ask import Questions
from aerobe.tables._clock import winter_of
from aerobe.tables._read import NEVER_MOVED, TableReading
from aerobe.tables._results import Labels
from aerobe.tables._stream_ask import ODD, ask_about, refuse_new_names
from aerobe.tables._stream_plan import Array, Folded, StreamPlan, kind_of, labels_of, linear, plan_of, zone_table
from aerobe.tables._way import LEAVE_OUT
from aerobe.units import OXYGEN_PERCENT

LONG_BYTES = 20_000_000  # text above it is read this way
HEAD_BYTES = 300_000
_PIECE = 8 << 20
_MOST_INTERVALS = 5_000_000
_MOST_BREWS = 200
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
    labels: Labels
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
    said: tuple[str, ...] = ()


def head_of(stream: BinaryIO) -> bytes:
    """The first lines of a log, whole, as far as they are needed to tell how it is written."""
    stream.seek(0)
    head = stream.read(HEAD_BYTES)
    return head[: head.rfind(b"\n") + 1] or head


def read_long_log(
    stream: BinaryIO,
    reading: TableReading,
    questions: Questions | None = None,
    *,
    width_s: float = 60.0,
    progress: Callable[[float], None] | None = None,
) -> LongLog:
    """Read a whole log by the structure of its head.

    Parameters
    ----------
    stream
        The file, opened for bytes: letters of one byte or UTF-8, lines that end in a line feed.
    reading
        How its head is read; no question open.
    questions
        Takes what only the whole log raises: hours that never were, time that goes back, numbers that are no reading.
    width_s
        Width of an interval. [s]
    progress
        Told the share that is done, 0 to 1.

    Raises
    ------
    ImportFault
        If it has times that cannot be read so, spans too long, or changes its columns on the way.
    """
    questions = questions or Questions({})
    plan = plan_of(reading)
    labels, hashes = _labels(stream, plan)
    span = _span(stream, reading, plan)
    drop = np.ones((len(plan.channels), len(ODD)), dtype=np.bool_)
    folded = _whole(stream, reading, plan, hashes, drop, span, width_s, progress)
    refuse_new_names(stream, reading, plan, folded)
    keep = ask_about(folded, plan, labels, questions)
    moved = next((question.taken for question in questions.asked if question.key == "no such hour"), "")
    if moved == NEVER_MOVED:
        plan = replace(plan, zone=winter_of(plan.zone))
    if keep.any() or moved == NEVER_MOVED:
        folded = _whole(stream, reading, plan, hashes, drop & ~keep, span, width_s, progress)
    said = [f"{int(folded.tally[7])} rows of an hour that never was: {LEAVE_OUT}."] if folded.tally[7] else []
    said += [f"{int(folded.tally[8])} rows of the hour that came twice are read as its second time."] if folded.tally[8] else []
    left_out = int((folded.odd_counts * (drop & ~keep)).sum())
    return _long_log(folded, plan, labels, width_s, tuple(said), left_out)


def _whole(
    stream: BinaryIO,
    reading: TableReading,
    plan: StreamPlan,
    hashes: NDArray[np.uint64],
    drop: NDArray[np.bool_],
    span: tuple[float, float],
    width_s: float,
    progress: Callable[[float], None] | None,
) -> Folded:
    zone = zone_table(plan.zone if plan.by_clock else "", *span)
    first_s, last_s = span[0] - (86400.0 if len(zone) > 1 else 0.0), span[1] + (86400.0 if len(zone) > 1 else 0.0)
    for _ in range(2):
        folded = _fold(stream, reading, plan, zone, hashes, drop, first_s, last_s, width_s, progress)
        if not folded.tally[4]:
            break
        first_s, last_s = float(folded.tally[5]), float(folded.tally[6])  # times that jump: once more, over their whole span
        zone = zone_table(plan.zone if plan.by_clock else "", first_s, last_s)
    return folded


def _labels(stream: BinaryIO, plan: StreamPlan) -> tuple[list[Labels], NDArray[np.uint64]]:
    """The brews that a log names, by one look at every line; none where no column names them."""
    from aerobe.tables._stream_compiled import LABEL, find_labels

    if not (plan.kinds == LABEL).any():
        return [Labels()], np.zeros(0, dtype=np.uint64)
    hashes, spans, known = np.zeros(_MOST_BREWS, np.uint64), np.zeros((_MOST_BREWS, len(plan.kinds), 2), np.int64), 0
    found: list[Labels] = []
    for _, piece in _pieces(stream, plan.skip):
        known = int(find_labels(np.frombuffer(piece, dtype=np.uint8), plan.mark, plan.kinds, hashes, known, spans))
        if known > _MOST_BREWS:
            raise ImportFault(f"The log names more than {_MOST_BREWS} brews.", "Is the right column their name? Split it.")
        for place in range(len(found), known):
            cells = [piece[start:end].decode(plan.letters, "replace").strip(' "\r') for start, end in spans[place]]
            found.append(labels_of(cells, plan.columns))
    return found, hashes[:known]


def _span(stream: BinaryIO, reading: TableReading, plan: StreamPlan) -> tuple[float, float]:
    """First and last moment, from the head and the tail of the file. [s]"""
    found = []
    size = stream.seek(0, 2)
    stream.seek(max(0, size - _TAIL))
    tail = stream.read()
    tail = tail[tail.find(b"\n") + 1 :] if size > _TAIL else _without_head(tail, plan.skip)
    no_zone, no_names, all_odd = np.zeros((1, 3)), np.zeros(0, np.uint64), np.ones((len(plan.channels), len(ODD)), np.bool_)
    for piece in (_without_head(head_of(stream), plan.skip), tail):
        folded = _empty(1, plan, 1, 0.0)
        _fold_piece(piece, 0, plan, no_zone, no_names, all_odd, folded, 1e18)
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


def _empty(intervals: int, plan: StreamPlan, names: int, first_s: float) -> Folded:
    shape = intervals * names, len(plan.channels)
    tally = np.zeros(10)
    tally[5], tally[6] = math.inf, -math.inf
    return Folded(
        lows=np.zeros(shape),
        highs=np.zeros(shape),
        sums=np.zeros(shape),
        counts=np.zeros(shape, dtype=np.int64),
        offsets=np.zeros(shape),
        tally=tally,
        first_s=first_s,
        odd_counts=np.zeros((len(plan.channels), len(ODD)), dtype=np.int64),
        lasts=np.full(names, -math.inf),
        backs=np.zeros((names, 2)),
        bad_at=[],
    )


def _pieces(stream: BinaryIO, skip: int):  # type: ignore[no-untyped-def]
    """Whole lines, some megabytes at a time, with where they begin in the file; without the lines above the values."""
    size = stream.seek(0, 2)
    stream.seek(0)
    done, rest, begun = 0, b"", 0
    while piece := stream.read(_PIECE):
        done += len(piece)
        piece = rest + piece
        cut = piece.rfind(b"\n") + 1 if done < size else len(piece)
        whole, rest = piece[:cut], piece[cut:]
        lines = _without_head(whole, skip) if begun == 0 else whole
        yield begun + len(whole) - len(lines), lines
        begun += len(whole)


def _fold(
    stream: BinaryIO,
    reading: TableReading,
    plan: StreamPlan,
    zone: Array,
    hashes: NDArray[np.uint64],
    drop: NDArray[np.bool_],
    first_s: float,
    last_s: float,
    width_s: float,
    progress: Callable[[float], None] | None,
) -> Folded:
    begin, names = math.floor(first_s / width_s) * width_s, max(len(hashes), 1)
    intervals = int((last_s - begin) // width_s) + 2
    if intervals * names > _MOST_INTERVALS:
        raise ImportFault(f"{reading.name} spans {(last_s - first_s) / 86400:.0f} days.", "Check its times, or split it.")
    folded = _empty(intervals, plan, names, begin)
    size = stream.seek(0, 2)
    for place, piece in _pieces(stream, plan.skip):
        _fold_piece(piece, place, plan, zone, hashes, drop, folded, width_s)
        if progress is not None:
            progress(min(1.0, (place + len(piece)) / max(size, 1)))
    return folded


def _fold_piece(
    piece: bytes,
    place: int,
    plan: StreamPlan,
    zone: Array,
    hashes: NDArray[np.uint64],
    drop: NDArray[np.bool_],
    folded: Folded,
    width_s: float,
) -> None:
    from aerobe.tables._stream_compiled import fold_lines

    text, bad_at = np.frombuffer(piece, dtype=np.uint8), np.zeros(64, dtype=np.int64)
    told = plan.mark, plan.comma, plan.kinds, plan.order, plan.factor_s, plan.origin_s, zone, width_s, folded.first_s, plan.limits
    filled = folded.odd_counts, folded.lasts, folded.backs, bad_at
    arrays = folded.lows, folded.highs, folded.sums, folded.counts, folded.offsets, folded.tally
    folded.tally[9] = 0
    fold_lines(text, *told, np.array(ODD), drop, hashes, *filled, *arrays)
    folded.bad_at += [place + int(at) for at in bad_at[: int(folded.tally[9])]]


def _long_log(folded: Folded, plan: StreamPlan, labels: list[Labels], width_s: float, said: tuple[str, ...], odd: int) -> LongLog:
    intervals = len(folded.lows) // len(labels)
    starts = folded.first_s + width_s * np.arange(intervals)
    logs = []
    for name, mine in enumerate(labels):
        part = slice(name * intervals, (name + 1) * intervals)
        lows, highs, sums, counts = (array[part] for array in (folded.lows, folded.highs, folded.sums, folded.counts))
        for at, column in enumerate(plan.channels):
            full = np.flatnonzero(counts[:, at])
            if not len(full):
                continue
            count = counts[full, at]
            factor, offset = linear(column)
            ends = lows[full, at] * factor + offset, highs[full, at] * factor + offset
            moments = starts[full] + folded.offsets[part][full, at] / count
            logs.append(
                ThinLog(
                    channel=column.field,
                    unit="% saturation" if kind_of(column).name == OXYGEN_PERCENT.name else kind_of(column).house,
                    labels=mine,
                    times=moments if plan.by_clock else moments / 3600.0,
                    low=np.minimum(*ends),
                    mean=sums[full, at] / count * factor + offset,
                    high=np.maximum(*ends),
                    count=count,
                )
            )
    rows, bad_rows, empty, bad_cells = (int(value) for value in folded.tally[:4])
    return LongLog(
        logs=tuple(logs),
        by_clock=plan.by_clock,
        width_s=width_s,
        rows=rows,
        bad_rows=bad_rows,
        empty=empty,
        bad_cells=bad_cells + odd,
        said=said,
    )
