"""What a brew's oxygen log shows from its start: hours under the floor, hours without oxygen, hours that nobody saw.

A probe that comes back up has not undone what happened before, and a probe that said nothing, or nothing that can be
believed, has shown nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.safety._thresholds import threshold

Array = NDArray[np.float64]

LOWEST = -0.3  # a zero that is off by more is no reading [mg/L]
ODD_SHARE = 0.05  # more values than this outside what water holds: the unit is wrong, not the moment [-]
# A value that repeats: a coarse display in a calm tank does so for a while. Common practice, no source.
STUCK_AFTER_MOVING = (6.0, 12)  # hours and points, for a probe that did move
COARSE_MG_PER_L, COARSE_EVERY_H = 0.1, 0.5  # a meter with one decimal repeats itself when it is read less often than this
STUCK_LOGGER = (3.0, 12.0)  # hours and points an hour, for a logger, also one that never moved


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenHistory:
    """The oxygen of a brew from its start to the end of its air, or to now."""

    until_h: float  # end of the time looked at [h]
    readings: int  # that can be believed
    lowest_mg_per_l: float | None  # None without a reading [mg/L]
    below_h: float  # hours under the floor; between two readings the lower one counts [h]
    without_h: float  # hours under the limit `no-oxygen`, counted alike [h]
    last_below_at_h: float | None  # when it was back at the floor after the last time under it; None: never under [h]
    longest_unseen_h: float  # longest time without a reading [h]
    last_unseen_to_h: float | None  # when the last such time ended; None: readings throughout [h]
    doubts: tuple[str, ...] = ()  # why readings were not believed


def oxygen_history(
    logs: Sequence[tuple[ArrayLike, ArrayLike]],
    *,
    until_h: float,
    floor_mg_per_l: float,
    most_mg_per_l: float,
    off_h: tuple[float, float] | None = None,
) -> OxygenHistory:
    """What the oxygen logs of a brew show from its start until a time.

    Parameters
    ----------
    logs
        Times and values of each probe, in order of time. [h, mg/L]
    until_h
        End of the time looked at; readings after it are left aside. [h]
    floor_mg_per_l
        The oxygen floor. [mg/L]
    most_mg_per_l
        The most that water of this temperature holds, with room for supersaturation and an error of the meter. [mg/L]
    off_h
        When the air was off, from and to, if it was started again: that time is judged by itself and left out here. [h]

    Returns
    -------
    OxygenHistory
        Without readings everything is unseen; nothing is filled in.

    Source
    ------
    aerobe-cautious-choice, qartod-dissolved-oxygen-2018
    """
    doubts: list[str] = []
    start, end = (until_h, until_h) if off_h is None else off_h
    read = [_believed(*_inside(*log, until_h, (start, end)), most_mg_per_l, floor_mg_per_l, doubts) for log in logs]
    times, values = _merged(read)
    last, gap = max(until_h, 0.0), threshold("oxygen-log-gap").value
    # On a clock that stands still while the air was off.
    edges = np.concatenate([[0.0], times, [last]])
    steps = np.diff(np.where(edges > start, np.maximum(edges - (end - start), start), edges))
    unseen, low = np.flatnonzero(steps > gap), np.flatnonzero(values < floor_mg_per_l)
    return OxygenHistory(
        until_h=last,
        readings=len(times),
        lowest_mg_per_l=float(values.min()) if len(values) else None,
        below_h=_hours_under(floor_mg_per_l, values, steps, gap),
        without_h=_hours_under(threshold("no-oxygen").value, values, steps, gap),
        last_below_at_h=float(edges[low[-1] + 2]) if len(low) else None,
        longest_unseen_h=float(steps[unseen].max()) if len(unseen) else 0.0,
        last_unseen_to_h=float(edges[unseen[-1] + 1]) if len(unseen) else None,
        doubts=tuple(dict.fromkeys(doubts)),
    )


def _hours_under(limit: float, values: Array, steps: Array, gap: float) -> float:
    """Hours for which a reading under the limit stands: up to its neighbours, or half a gap where they are far."""
    low = np.concatenate([[False], values < limit, [False]])
    short = steps <= gap
    whole = steps[short & (low[:-1] | low[1:])].sum()
    far = 0.5 * gap * (np.sum(low[:-1] & ~short) + np.sum(low[1:] & ~short))
    return float(whole + far)


def _inside(times: ArrayLike, values: ArrayLike, until_h: float, off_h: tuple[float, float]) -> tuple[Array, Array]:
    at, shown = np.asarray(times, dtype=float), np.asarray(values, dtype=float)
    kept = (at >= 0.0) & (at <= until_h) & np.isfinite(shown) & ~((at > off_h[0]) & (at < off_h[1]))
    return at[kept], shown[kept]


def _believed(times: Array, values: Array, most: float, floor: float, doubts: list[str]) -> tuple[Array, Array]:
    """The readings of one probe that can be believed; what is left out says so in `doubts`."""
    odd = (values > most) | (values < LOWEST)
    if odd.any():
        if odd.mean() > ODD_SHARE:
            doubts.append(
                f"Oxygen readings reach {values[np.argmax(np.abs(values))]:g} mg/L, where water here holds "
                f"{most:.0f} mg/L at most: they look like % of saturation, or the meter is off"
            )
            return times[:0], values[:0]
        doubts.append(f"{int(odd.sum())} of {len(odd)} oxygen readings cannot be and are left out")
        times, values = times[~odd], values[~odd]
    kept = np.ones(len(values), dtype=bool)
    for first, last in _stuck(times, values):
        # No oxygen is a value that rightly stands still: a low one is believed.
        if values[first] >= floor:
            kept[first + 1 : last + 1] = False
            doubts.append(
                f"The meter showed {values[first]:g} mg/L without any change from {times[first]:.1f} to {times[last]:.1f} h"
            )
    return times[kept], values[kept]


def _stuck(times: Array, values: Array) -> Iterator[tuple[int, int]]:
    """First and last point of each run of one value that is too long to be the water's."""
    if len(values) < 2:
        return
    tenths = values / COARSE_MG_PER_L
    coarse = bool(np.all(np.abs(tenths - np.round(tenths)) < 1e-6))
    starts = np.concatenate([[0], np.flatnonzero(np.diff(values) != 0.0) + 1])
    ends = np.concatenate([starts[1:] - 1, [len(values) - 1]])
    for first, last in zip(starts.tolist(), ends.tolist(), strict=True):
        hours, points = times[last] - times[first], last - first + 1
        dense = hours >= STUCK_LOGGER[0] and points >= STUCK_LOGGER[1] * hours
        rests = len(starts) > 1 and hours >= STUCK_AFTER_MOVING[0] and points >= STUCK_AFTER_MOVING[1]
        rests = rests and not (coarse and hours > points * COARSE_EVERY_H)
        if dense or rests:
            yield first, last


def _merged(logs: Sequence[tuple[Array, Array]]) -> tuple[Array, Array]:
    if not logs:
        return np.empty(0), np.empty(0)
    times, values = np.concatenate([item[0] for item in logs]), np.concatenate([item[1] for item in logs])
    order = np.argsort(times, kind="stable")
    return times[order], values[order]
