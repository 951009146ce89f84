"""Probe logs made fit for inference: faults are found, said and left out; the rest is thinned to the model's grid."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._story import Log
from aerobe.oxygen import saturation_mg_per_l

Array = NDArray[np.float64]

STUCK_H = 3.0  # a probe in a brew never shows one value for so long [h]
NEXT_TO_NONE = 0.3  # oxygen that cannot be told from none [mg/L]
ONE_STEP = 2.5  # a brew can use no more from one value of a log to the next; a probe that dies falls at once [mg/L]
PERCENT_ABOVE = 22.0  # no fresh water between 0 and 45 degC holds so much oxygen from air [mg/L]
COLDEST_DEGC, WARMEST_DEGC = 0.0, 40.0  # of brews; the formula of saturation ends there too (benson-krause-1984)
GAP_H = 3.0  # a silence worth saying [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Thinned:
    """Medians of a log around grid times.

    Parameters
    ----------
    index
        Places in the grid that have a value, shape (bins,).
    values
        Medians there, shape (bins,). [unit of the log]
    counts
        How many log values each stands for, shape (bins,).
    notes
        What was found wrong, in plain words.
    """

    index: NDArray[np.int64]
    values: Array
    counts: Array
    notes: tuple[str, ...]


def thin_oxygen(
    log: Log | None,
    grid_h: Array,
    temperature_degc: Array,
    altitude_m: float,
    lag_h: float,
    left_out: Callable[[Array], NDArray[np.bool_]] | None = None,
) -> Thinned:
    """An oxygen log on the grid, after its faults are taken out, and what `left_out` says of its times.

    `temperature_degc` has the shape of the grid.
    """
    if log is None or len(log.values) == 0:
        return _nothing()
    times, values, notes = in_order(log)
    most = saturation_mg_per_l(np.interp(times, grid_h, temperature_degc), altitude_m=altitude_m)
    values, keep, said = possible_oxygen(times, values, np.asarray(most, float))
    if left_out is not None:
        keep &= ~left_out(times)
    # A first-order probe shows the water of about one time constant ago.
    return _bin(times[keep] - lag_h, values[keep], grid_h, [*notes, *said])


def possible_oxygen(times: Array, values: Array, most: Array) -> tuple[Array, NDArray[np.bool_], list[str]]:
    """Oxygen in mg/L, which values a brew can have, and what was found; `most` is saturation, shape (points,). [mg/L]"""
    notes: list[str] = []
    if len(values) and np.median(values) > PERCENT_ABOVE:
        values = values / 100.0 * most
        notes.append("The oxygen log looks like percent of saturation, not mg/L; it was converted. Check the probe's unit.")
    dead = _stuck(times, values)
    none_left = dead & _used_up(values, dead)
    if none_left.any():
        notes.append(
            f"The oxygen probe showed {values[none_left][0]:.3g} mg/L without a change for over {STUCK_H:g} h: taken as next to "
            "no oxygen, since it came down to it. Swing the probe in fresh water: if it does not rise, it is dead."
        )
    dead = dead & ~none_left
    if dead.any():
        notes.append(f"The oxygen probe stood at {values[dead][0]:.3g} mg/L for over {STUCK_H:g} h; that stretch is left out.")
    impossible = (values < -1.0) | (values > 1.6 * float(np.max(most, initial=0.0)))
    if (impossible & ~dead).any():
        notes.append(f"{int((impossible & ~dead).sum())} oxygen values that no brew can have are left out.")
    return values, ~dead & ~impossible, notes


def thin_temperature(log: Log | None, grid_h: Array, expected_degc: float | Array) -> tuple[Array, tuple[str, ...]]:
    """Water temperature at every grid time: the log where there is one, its last day's mean after it. [degC]

    `expected_degc` is what is expected without a log, a number or one a grid time; where it steps after the last log value,
    the step is followed. Whatever lies outside the saturation table is brought to its end, and said.
    """
    expected = np.broadcast_to(np.asarray(expected_degc, float), grid_h.shape)
    said: list[str] = []
    if expected.min() < COLDEST_DEGC or expected.max() > WARMEST_DEGC:
        odd = expected.max() if expected.max() > WARMEST_DEGC else expected.min()
        said.append(
            f"A water temperature of {odd:g} degC is beyond {COLDEST_DEGC:g} to {WARMEST_DEGC:g} degC, where oxygen in water is "
            "known; the nearest end is used. Check thermometer and unit."
        )
    expected = np.clip(expected, COLDEST_DEGC, WARMEST_DEGC)
    if log is None or len(log.values) == 0:
        return expected.copy(), tuple(said)
    times, values, notes = in_order(log)
    wild = ~possible_degc(values)
    if wild.any():
        kept = f"{COLDEST_DEGC:g} to {WARMEST_DEGC:g} degC"
        notes.append(f"{int(wild.sum())} temperatures outside {kept} are left out: no brew has them; check unit and probe.")
    times, values = times[~wild], values[~wild]
    if len(values) == 0:
        return expected.copy(), (*said, *notes)
    binned = _bin(times, values, grid_h, notes)
    at = grid_h[binned.index]
    out = np.interp(grid_h, at, binned.values) if len(at) else np.full(len(grid_h), float(values.mean()))
    last_day = values[times >= times[-1] - 24.0]
    ahead = grid_h > times[-1]
    # The weather to come is not known: glide within two hours from the last value to the mean of the last day.
    blend = np.exp(-(grid_h[ahead] - times[-1]) / 2.0)
    out[ahead] = blend * values[-1] + (1.0 - blend) * float(last_day.mean())
    steps = np.flatnonzero(ahead[1:] & (np.diff(expected) != 0.0)) + 1
    if len(steps):
        out[steps[0] :] = expected[steps[0] :]
    return np.clip(out, COLDEST_DEGC, WARMEST_DEGC), (*binned.notes,)


def water_temperature(log: Log | None, times_h: Array, expected_degc: float) -> Array:
    """Temperature at some times, the log's where it has possible values, within what saturation is known for. [degC]"""
    fixed = np.full(len(times_h), float(np.clip(expected_degc, COLDEST_DEGC, WARMEST_DEGC)))
    if log is None or len(log.values) == 0:
        return fixed
    times, values, _ = in_order(log)
    good = possible_degc(values)
    return np.interp(times_h, times[good], values[good]) if good.any() else fixed


def possible_degc(values: Array) -> NDArray[np.bool_]:
    """Which temperatures water of a brew can have, shape of the values."""
    return np.asarray((values >= COLDEST_DEGC) & (values <= WARMEST_DEGC))


def in_order(log: Log) -> tuple[Array, Array, list[str]]:
    """Times and values in order of time, those without a number or before the start left out, and what was found."""
    notes: list[str] = []
    finite = np.isfinite(log.values) & np.isfinite(log.elapsed_h)
    if not finite.all():
        notes.append(f"{int((~finite).sum())} log entries without a number are left out.")
    before = finite & (log.elapsed_h < 0.0)
    if before.any():
        notes.append(f"{int(before.sum())} log entries before the start are left out.")
    keep = finite & ~before
    order = np.argsort(log.elapsed_h[keep], kind="stable")
    times, values = log.elapsed_h[keep][order], log.values[keep][order]
    if len(times) > 1 and np.max(np.diff(times)) > GAP_H:
        place = int(np.argmax(np.diff(times)))
        notes.append(f"The log is silent from {times[place]:.1f} to {times[place + 1]:.1f} h.")
    return times, values, notes


def _stuck(times: Array, values: Array) -> NDArray[np.bool_]:
    """Runs of one unchanging value over more than `STUCK_H` and at least five entries. Shape (points,)."""
    dead = np.zeros(len(values), bool)
    if len(values) < 5:
        return dead
    edges = np.flatnonzero(np.abs(np.diff(values)) > 1e-9)
    for first, last in zip(np.concatenate([[0], edges + 1]), np.concatenate([edges, [len(values) - 1]]), strict=True):
        if last - first >= 4 and times[last] - times[first] > STUCK_H:
            dead[first : last + 1] = True
    return dead


def _used_up(values: Array, dead: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Unchanging runs near nought that the values before came down to: oxygen that is gone, no dead probe. Shape (points,)."""
    out = np.zeros(len(values), bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], dead, [False]]).astype(int)))
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        came_down = first > 0 and values[first - 1] - values[first] <= ONE_STEP
        out[first:after] = came_down and values[first] <= NEXT_TO_NONE
    return out


def _bin(times: Array, values: Array, grid_h: Array, notes: list[str]) -> Thinned:
    if len(times) == 0:
        return Thinned(index=np.zeros(0, np.int64), values=np.zeros(0), counts=np.zeros(0), notes=tuple(notes))
    middle = 0.5 * (grid_h[1:] + grid_h[:-1])
    place = np.searchsorted(middle, times)
    index, first, counts = np.unique(place, return_index=True, return_counts=True)
    medians = np.array([np.median(values[start : start + n]) for start, n in zip(first, counts, strict=True)])
    return Thinned(index=index.astype(np.int64), values=medians, counts=counts.astype(float), notes=tuple(notes))


def _nothing() -> Thinned:
    return Thinned(index=np.zeros(0, np.int64), values=np.zeros(0), counts=np.zeros(0), notes=())
