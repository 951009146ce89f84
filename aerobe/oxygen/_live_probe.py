"""Is a probe still telling the truth? Silence, a stuck value and jumps in a live log, said in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# Thresholds are common practice, no source; the forms of the tests are those of the manual named below.
SPIKE = {"oxygen": 1.5, "temperature": 2.0, "pH": 0.5, "conductivity": 300.0}  # over the middle of its neighbours
GROSS = {"oxygen": (-0.3, 25.0), "temperature": (-2.0, 60.0), "pH": (0.0, 14.0), "conductivity": (0.0, 100_000.0)}
SILENT_AFTER_H = 0.25  # and after five times its usual step [h]
STUCK_FOR_H = 1.0  # and for twelve points [h]
RECENT_H = 1.0  # jumps older than this are history [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeTrouble:
    """What is wrong with a live probe, and what to do."""

    kind: str  # "silent", "stuck", "jumping" or "out of range"
    channel: str
    problem: str
    remedy: str


def probe_troubles(channel: str, elapsed_h: ArrayLike, values: ArrayLike, *, now_h: float) -> tuple[ProbeTrouble, ...]:
    """What a log's last hours say about its probe.

    Parameters
    ----------
    channel
        One of the channels of a log: it sets the thresholds.
    elapsed_h, values
        The log in order of time, shape (points,). [h], [mg/L, degC, pH or uS/cm]
    now_h
        The present, on the same clock. [h]

    Returns
    -------
    tuple of ProbeTrouble
        Empty while nothing is found; a log of fewer than three points says nothing.

    Notes
    -----
    Gap, gross range, spike and flat line are the tests of the manual. A spike is the distance of a point from the mean of
    its two neighbours. A flat line counts only where the probe did move before: a coarse display in a calm tank repeats
    itself and is no fault.

    Source
    ------
    qartod-dissolved-oxygen-2018
    """
    times, shown = np.asarray(elapsed_h, dtype=float), np.asarray(values, dtype=float)
    if len(times) < 3:
        return ()
    found = [
        _silent(channel, times, now_h),
        _out_of_range(channel, shown),
        _stuck(channel, times, shown),
        _jumping(channel, times, shown),
    ]
    return tuple(item for item in found if item is not None)


def spike_heights(values: ArrayLike) -> Array:
    """Distance of each inner point from the mean of its two neighbours, shape (points - 2,). [unit of the values]

    Parameters
    ----------
    values
        Points in order of time, shape (points,). [any unit]

    Source
    ------
    qartod-dissolved-oxygen-2018
    """
    shown = np.asarray(values, dtype=float)
    return np.abs(shown[1:-1] - 0.5 * (shown[2:] + shown[:-2]))


def _silent(channel: str, times: Array, now_h: float) -> ProbeTrouble | None:
    usual = float(np.median(np.diff(times[-50:])))
    quiet = now_h - float(times[-1])
    if quiet <= max(SILENT_AFTER_H, 5.0 * usual):
        return None
    return ProbeTrouble(
        kind="silent",
        channel=channel,
        problem=f"The {channel} probe has said nothing for {_spoken(quiet)}.",
        remedy="Check its power, cable and connection; until then the forecast rests on older values.",
    )


def _out_of_range(channel: str, shown: Array) -> ProbeTrouble | None:
    low, high = GROSS[channel]
    last = float(shown[-1])
    if low <= last <= high:
        return None
    return ProbeTrouble(
        kind="out of range",
        channel=channel,
        problem=f"The {channel} probe shows {last:g}, which no tea can have.",
        remedy="Check that it hangs in the tea, its cap is off and its unit is set right; then calibrate it.",
    )


def _stuck(channel: str, times: Array, shown: Array) -> ProbeTrouble | None:
    moved = np.flatnonzero(np.diff(shown) != 0.0)
    start = int(moved[-1]) + 1 if len(moved) else 0
    held_h, points = float(times[-1] - times[start]), len(shown) - start
    if len(moved) == 0 or held_h < STUCK_FOR_H or points < 12:
        return None
    # The longest pause before, in points: a probe that often rests is not stuck when it rests once more.
    longest = int(np.max(np.diff(np.concatenate([[-1], moved])))) if len(moved) else 0
    if points < 3 * longest:
        return None
    return ProbeTrouble(
        kind="stuck",
        channel=channel,
        problem=f"The {channel} probe has shown {shown[-1]:g} without any change for {_spoken(held_h)}.",
        remedy="Stir it or lift it out for a moment: a value that does not move comes from the meter and not from the tea.",
    )


def _jumping(channel: str, times: Array, shown: Array) -> ProbeTrouble | None:
    recent = times >= times[-1] - RECENT_H
    if np.sum(recent) < 3:
        return None
    spikes = int(np.sum(spike_heights(shown[recent]) > SPIKE[channel]))
    if spikes < 2:
        return None
    return ProbeTrouble(
        kind="jumping",
        channel=channel,
        problem=f"The {channel} probe jumped {spikes} times in the last hour.",
        remedy="Look for a bubble on its membrane, a loose plug, or the air stone right under it.",
    )


def _spoken(hours: float) -> str:
    minutes = round(60.0 * hours)
    return f"{minutes} minutes" if minutes < 120 else f"{hours:.1f} hours"
