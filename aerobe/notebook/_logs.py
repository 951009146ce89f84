"""Probe logs in packed chunks: a reading a second for days is stored and read back in well under a second."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from aerobe.errors import UnusableReading
from aerobe.notebook._schema import log_chunks
from aerobe.records import SensorLog

Array = NDArray[np.float64]

CHUNK_POINTS = 8192  # a chunk of this size is closed; smaller ones are joined when they get many
LOOSE_CHUNKS = 64  # so many small chunks of one probe are joined into one
EARLIEST_H, LATEST_H = -1000.0, 10_000.0  # of a point, from the air on; a probe may hang in the water for weeks before [h]
_FLOAT = np.dtype("<f8")  # the same bytes on every machine


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEnvelope:
    """A long log made short for drawing: in each bucket of time the lowest, highest and mean value.

    Parameters
    ----------
    elapsed_h
        Middle of each bucket that holds points, shape (buckets,). [h]
    low, high, mean
        Values in the bucket, shape (buckets,). [mg/L, degC, pH or uS/cm]
    points
        How many points each bucket stands for, shape (buckets,).
    """

    channel: str
    elapsed_h: Array
    low: Array
    high: Array
    mean: Array
    points: NDArray[np.int64]


def arrays_of(log: SensorLog) -> tuple[Array, Array]:
    """Times and values of a log, sorted by time. Refused if any is not finite."""
    times, values = np.asarray(log.elapsed_h, dtype=_FLOAT), np.asarray(log.values, dtype=_FLOAT)
    if not (np.isfinite(times).all() and np.isfinite(values).all()):
        raise UnusableReading("A log holds values that are not numbers.", "Leave those points out; a gap is no fault.")
    if len(times) and (times.min() < EARLIEST_H or times.max() > LATEST_H):
        raise UnusableReading(
            f"A log holds times from {times.min():g} to {times.max():g} h since the air went on.",
            "Check the clock of the probe and of this machine, and that the log belongs to this brew.",
        )
    order = np.argsort(times, kind="stable")
    return times[order], values[order]


def append(connection: sa.Connection, log: SensorLog) -> int:
    """Add the points of a log that are not there yet; gives how many were new."""
    times, values = arrays_of(log)
    if len(times) == 0:
        return 0
    held_times, held_values = _read(connection, log.brew, log.channel, log.probe, float(times[0]), float(times[-1]))
    if len(held_times):
        # A logger file sent twice, or a probe that repeats itself after a lost signal: same time and value, no new point.
        fresh = ~np.isin(times + 1j * values, held_times + 1j * held_values)
        times, values = times[fresh], values[fresh]
    if len(times) == 0:
        return 0
    _insert(connection, log, times, values)
    _join_loose(connection, log)
    return len(times)


def read(
    connection: sa.Connection,
    brew: str,
    channel: str,
    *,
    probe: str | None = None,
    from_h: float = -np.inf,
    to_h: float = np.inf,
) -> tuple[Array, Array]:
    """Times [h] and values of one channel in order of time, shapes (points,)."""
    return _read(connection, brew, channel, probe, from_h, to_h)


def envelope(channel: str, times: Array, values: Array, buckets: int) -> LogEnvelope:
    """Lowest, highest and mean value in equal buckets of time; empty buckets are left out."""
    if len(times) == 0:
        nothing = np.empty(0)
        none = nothing.astype(np.int64)
        return LogEnvelope(channel=channel, elapsed_h=nothing, low=nothing, high=nothing, mean=nothing, points=none)
    edges = np.linspace(times[0], times[-1], buckets + 1)
    starts = np.searchsorted(times, edges[:-1], side="left")
    full = np.diff(np.append(starts, len(times))) > 0
    starts = starts[full]
    points = np.diff(np.append(starts, len(times)))
    middles = (edges[:-1] + edges[1:])[full] / 2 if times[-1] > times[0] else times[:1]
    return LogEnvelope(
        channel=channel,
        elapsed_h=middles,
        low=np.minimum.reduceat(values, starts),
        high=np.maximum.reduceat(values, starts),
        mean=np.add.reduceat(values, starts) / points,
        points=points,
    )


def chunk_hash(times: bytes, values: bytes) -> str:
    """What a chunk's bytes must still hash to when the notebook is checked."""
    return hashlib.sha256(times + values).hexdigest()


def _read(
    connection: sa.Connection, brew: str, channel: str, probe: str | None, from_h: float, to_h: float
) -> tuple[Array, Array]:
    wanted = sa.select(log_chunks.c.times, log_chunks.c["values"])
    wanted = wanted.where(log_chunks.c.brew == brew, log_chunks.c.channel == channel)
    if probe is not None:
        wanted = wanted.where(log_chunks.c.probe == probe)
    if np.isfinite(from_h):
        wanted = wanted.where(log_chunks.c.to_h >= from_h)
    if np.isfinite(to_h):
        wanted = wanted.where(log_chunks.c.from_h <= to_h)
    rows = connection.execute(wanted.order_by(log_chunks.c.from_h, log_chunks.c.id)).all()
    if not rows:
        return np.empty(0), np.empty(0)
    times = np.concatenate([np.frombuffer(row[0], dtype=_FLOAT) for row in rows])
    values = np.concatenate([np.frombuffer(row[1], dtype=_FLOAT) for row in rows])
    inside = (times >= from_h) & (times <= to_h)
    times, values = times[inside], values[inside]
    if np.any(np.diff(times) < 0):
        order = np.argsort(times, kind="stable")
        times, values = times[order], values[order]
    return times, values


def _insert(connection: sa.Connection, log: SensorLog, times: Array, values: Array) -> None:
    rows: list[dict[str, object]] = []
    for start in range(0, len(times), CHUNK_POINTS):
        part, shown = times[start : start + CHUNK_POINTS], values[start : start + CHUNK_POINTS]
        packed = part.astype(_FLOAT).tobytes(), shown.astype(_FLOAT).tobytes()
        rows.append(
            {
                "brew": log.brew,
                "channel": log.channel,
                "probe": log.probe,
                "from_h": float(part[0]),
                "to_h": float(part[-1]),
                "points": len(part),
                "times": packed[0],
                "values": packed[1],
                "hash": chunk_hash(*packed),
            }
        )
    connection.execute(log_chunks.insert(), rows)


def _join_loose(connection: sa.Connection, log: SensorLog) -> None:
    """A live probe adds a chunk a point; joining them now and then keeps reading quick."""
    same = (log_chunks.c.brew == log.brew, log_chunks.c.channel == log.channel, log_chunks.c.probe == log.probe)
    loose = connection.execute(
        sa.select(log_chunks.c.id, log_chunks.c.times, log_chunks.c["values"], log_chunks.c.hash)
        .where(*same, log_chunks.c.points < CHUNK_POINTS)
        .order_by(log_chunks.c.from_h, log_chunks.c.id)
    ).all()
    # A chunk that was damaged keeps its own hash: joined with others it would look as if it had been written so.
    loose = [row for row in loose if chunk_hash(row[1], row[2]) == row[3]]
    if len(loose) < LOOSE_CHUNKS:
        return
    times = np.concatenate([np.frombuffer(row[1], dtype=_FLOAT) for row in loose])
    values = np.concatenate([np.frombuffer(row[2], dtype=_FLOAT) for row in loose])
    order = np.argsort(times, kind="stable")
    connection.execute(log_chunks.delete().where(log_chunks.c.id.in_([row[0] for row in loose])))
    _insert(connection, log, times[order], values[order])
