"""Times in an oxygen log at which the air seems to have stood still, found from the log alone.

Under air, oxygen is where transfer and uptake balance: it can fall no faster than uptake grows, which is by half an hour's
doubling at the very most. Without air it falls by the whole uptake, in a straight line, until it is gone; when the air
comes back it rises as fast as transfer allows, to about where it was (the dynamic method of bandyopadhyay-1967 rests on
this). Food that is spent raises oxygen; food that is added lowers it towards a new balance, quickly first and then ever more
slowly, and such times are known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHORTEST_H = 0.5  # a shorter one is not looked for [h]
BEFORE_H = 0.75  # of log that shows the balance before [h]
STEP_H = 0.1  # the log is made no finer than this [h]
GROWTH_PER_H = 1.3  # steepest growth of uptake in a brew, as a lag ends; a fall no steeper than this needs no stop [1/h]
# A corner: windows in which slopes are taken [h], and how much steeper the fall must be after it than before, plus [mg/L/h].
CORNERS = ((0.2, 4.0), (0.3, 2.5), (0.6, 1.0))
CORNER = 2.5  # and times [-]
CORNER_NOISES = 7.0  # a corner's slope is at least so many times the probe's noise over the window [-]
LEAST_FALL = 1.0  # [mg/L]
NOISES = 6.0  # a fall is at least so many times the probe's noise [-]
GONE_SHARE = 0.12  # of saturation: as good as no oxygen, with the error of a probe's zero [-]
QUICK_H = 0.6  # a fall that takes longer is looked at for its shape [h]
BENDS_DOWN, BENDS_UP = 1.7, 0.45  # slope of the second half of a fall over the first: more, uptake grows; less, a new balance [-]
BACK_SHARE = 0.35  # of the fall that comes back when the air does [-]
BACK_H = 1.0  # within which it does [h]
FED_BEFORE_H, FED_AFTER_H = 1.0, 0.75  # a fall so long after food, or before it on a clock a little off, is the food's [h]
LARGEST_GAP_H = 0.75  # in the log, over which nothing can be told [h]
FIRST_H = 1.5  # until then a brew finds its balance [h]
LEAST_UPTAKE = 1.3  # mean slope of a fall that is looked at for its shape [mg/L/h]
FIRST_DROP = 2.2  # slope over the first `QUICK_H` / 2 of such a fall over its mean, at most: a sudden new demand starts so [-]
SURE_LEVEL = 2.5  # below this a fall alone, without the way back, shows no stop [mg/L]


@dataclass(frozen=True, slots=True, kw_only=True)
class AirStop:
    """A time without air."""

    off_h: float
    on_h: float | None  # None: still off at the end of the log

    def says(self) -> str:
        """The notice, with the question that settles it."""
        if self.on_h is None:
            return f"The log looks as if the air has stood still since {self.off_h:.1f} h. Is that so? Look at the pump."
        return (
            f"The log looks as if the air stood still from {self.off_h:.1f} to {self.on_h:.1f} h. Is that so? "
            "It is taken so until you say that the air ran."
        )


def find_stops(times_h: Array, oxygen: Array, saturation_mg_per_l: Array, fed_h: tuple[float, ...] = ()) -> tuple[AirStop, ...]:
    """Stops of the air of half an hour or more that an oxygen log shows.

    Parameters
    ----------
    times_h, oxygen
        The log in order of time, impossible values left out, shape (points,). [h, mg/L]
    saturation_mg_per_l
        Oxygen in balance with air at those times, shape (points,). [mg/L]
    fed_h
        Times at which food was added. [h]

    Source
    ------
    bandyopadhyay-1967
    """
    times, values, most = _evened(times_h, oxygen, saturation_mg_per_l)
    best: dict[int, tuple[float, AirStop]] = {}  # one fall has many beginnings to choose from: by its end
    for at, sharp in _corners(times, values, most):
        if any(-FED_AFTER_H <= times[at] - fed <= FED_BEFORE_H for fed in fed_h):
            continue
        fall = _fall_from(times, values, most, at)
        if fall is not None and (fall.last not in best or sharp > best[fall.last][0]):
            stop = AirStop(off_h=_onset(times, values, at), on_h=float(times[fall.last]) if fall.came_back else None)
            best[fall.last] = (sharp, stop)
    stops = [stop for _, (_, stop) in sorted(best.items())]
    return tuple(item for item in stops if (times[-1] if item.on_h is None else item.on_h) - item.off_h >= SHORTEST_H)


def _corners(times: Array, values: Array, most: Array) -> list[tuple[int, float]]:
    """Places where the course breaks downwards as growing uptake cannot break it, each with how sharply. [mg/L/h]"""
    if len(times) < 6:
        return []
    places, out = np.arange(len(times)), np.full(len(times), -np.inf)
    # Second differences see the noise of the probe and hardly the brew: their size is that of noise times root six.
    noise = 1.48 * float(np.median(np.abs(np.diff(values, 2)))) / np.sqrt(6.0)
    for window, plus in CORNERS:
        on = np.maximum(np.searchsorted(times, times + window + 1e-6, side="right") - 1, np.minimum(places + 1, len(times) - 1))
        back = np.minimum(np.searchsorted(times, times - window - 1e-6), np.maximum(places - 1, 0))
        after = (values - values[on]) / np.maximum(times[on] - times, 1e-6)
        before = (values[back] - values) / np.maximum(times - times[back], 1e-6)
        near = (times[on] - times <= LARGEST_GAP_H) & (times - times[back] <= LARGEST_GAP_H)
        least = max(plus, CORNER_NOISES * noise / max(window, float(np.median(np.diff(times)))))
        sharp = after - np.maximum(CORNER * np.maximum(before, 0.0) + least, GROWTH_PER_H * np.maximum(most - values, 0.3))
        out = np.maximum(out, np.where(near & (back < places), sharp, -np.inf))
    return [(int(at), float(out[at])) for at in np.flatnonzero(out > 0.0)]


def _evened(times: Array, values: Array, most: Array) -> tuple[Array, Array, Array]:
    """Medians over steps of the log's own spacing, or of `STEP_H` where that is finer; then over three."""
    if len(times) < 6:
        return times[:0], values[:0], most[:0]
    place = np.floor(times / STEP_H + 1e-6).astype(np.int64)
    _, first, counts = np.unique(place, return_index=True, return_counts=True)
    parts = [slice(a, a + n) for a, n in zip(first, counts, strict=True)]
    t, v, s = (np.array([np.median(item[part]) for part in parts]) for item in (times, values, most))
    smooth = v.copy()
    if len(v) > 2 and np.median(np.diff(t)) < 0.2:
        smooth[1:-1] = np.median(np.stack([v[:-2], v[1:-1], v[2:]]), axis=0)
    return t, smooth, s


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fall:
    last: int  # place of the last value before the way back, or of the log
    came_back: bool


def _fall_from(times: Array, values: Array, most: Array, at: int) -> _Fall | None:
    """The fall that begins at a place, if it is one that only air which stands still explains."""
    reach = max(BEFORE_H, 2.0 * float(np.median(np.diff(times))))
    before = (times >= times[at] - reach - 1e-6) & (times <= times[at])
    if (
        times[at] - times[0] < reach - 1e-6
        or times[at] < FIRST_H
        or before.sum() < 3
        or np.diff(times[before]).max() > LARGEST_GAP_H
    ):
        return None
    level = float(np.median(values[before][-3:]))
    noise = float(np.median(np.abs(np.diff(values[before])))) + 0.05
    lowest, rise = level, None
    for now in range(at + 1, len(times)):
        if times[now] - times[now - 1] > LARGEST_GAP_H:
            return None
        lowest = min(lowest, float(values[now]))
        if values[now] >= lowest + max(BACK_SHARE * (level - lowest), 0.4, 3.0 * noise):
            rise = now
            break
    depth = level - lowest
    if depth < max(LEAST_FALL, NOISES * noise):
        return None
    last = len(times) - 1
    if rise is not None:
        last = rise - 1
        while last > at + 1 and values[last] > lowest + max(0.15 * depth, 0.2, 2.0 * noise):
            last -= 1
        if times[rise] - times[last] > BACK_H:
            return None
    elif level < SURE_LEVEL:
        return None
    if not _as_without_air(times[at : last + 1], values[at : last + 1], GONE_SHARE * float(most[at]) + 0.1):
        return None
    return _Fall(last=last, came_back=rise is not None)


def _as_without_air(times: Array, values: Array, gone: float) -> bool:
    """Whether a fall is straight until the oxygen is gone: bent down, uptake grows; bent up, it nears a new balance."""
    under = np.flatnonzero(values <= gone)
    end = int(under[0]) if len(under) else len(values) - 1
    if len(under) and times[end] - times[0] <= QUICK_H:
        return True
    if end < 3:
        return bool(len(under))
    middle = max(int(np.searchsorted(times, 0.5 * (times[0] + times[end]))), 1)
    first = (values[0] - values[middle]) / (times[middle] - times[0])
    second = (values[middle] - values[end]) / max(float(times[end] - times[middle]), 1e-6)
    pace = (values[0] - values[end]) / (times[end] - times[0])
    early = min(int(np.searchsorted(times, times[0] + 0.5 * QUICK_H)), end)
    drop = (values[0] - values[early]) / (times[early] - times[0])
    straight = second <= BENDS_DOWN * first and (len(under) > 0 or second >= BENDS_UP * first)
    return bool(straight and pace >= LEAST_UPTAKE and drop <= FIRST_DROP * pace + 1.0)


def _onset(times: Array, values: Array, at: int) -> float:
    """When the fall began: where its line meets the level before. [h]"""
    level = float(np.median(values[max(at - 2, 0) : at + 1]))
    following = slice(at + 1, min(at + 4, len(times)))
    slope = float(np.min(np.diff(values[at : following.stop]) / np.diff(times[at : following.stop])))
    if slope >= 0.0:
        return float(times[at])
    meets = times[at + 1] + (level - values[at + 1]) / slope
    return float(np.clip(meets, times[max(at - 1, 0)], times[at + 1]))
