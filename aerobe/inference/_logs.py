"""Probe logs made fit for inference: faults are found, said and left out; the rest is thinned to the model's grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._story import Log
from aerobe.oxygen import saturation_mg_per_l

Array = NDArray[np.float64]

STUCK_H = 3.0  # a probe in a brew never shows one value for so long [h]
PERCENT_ABOVE = 22.0  # no fresh water between 0 and 45 degC holds so much oxygen from air [mg/L]
COLDEST_DEGC, WARMEST_DEGC = 1.0, 40.0  # of brews; the formula of saturation ends at 40 degC too (benson-krause-1984)
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


def thin_oxygen(log: Log | None, grid_h: Array, temperature_degc: Array, altitude_m: float, lag_h: float) -> Thinned:
    """An oxygen log on the grid, after its faults are taken out. `temperature_degc` has the shape of the grid."""
    if log is None or len(log.values) == 0:
        return _nothing()
    times, values, notes = _usable(log)
    if len(values) and np.median(values) > PERCENT_ABOVE:
        saturation = saturation_mg_per_l(np.interp(times, grid_h, temperature_degc), altitude_m=altitude_m)
        values = values / 100.0 * saturation
        notes.append("The oxygen log looks like percent of saturation, not mg/L; it was converted. Check the probe's unit.")
    dead = _stuck(times, values)
    if dead.any():
        notes.append(f"The oxygen probe stood at {values[dead][0]:.3g} mg/L for over {STUCK_H:g} h; that stretch is left out.")
    impossible = (values < -1.0) | (
        values > 1.6 * float(saturation_mg_per_l(float(np.min(temperature_degc)), altitude_m=altitude_m))
    )
    if (impossible & ~dead).any():
        notes.append(f"{int((impossible & ~dead).sum())} oxygen values that no brew can have are left out.")
    keep = ~dead & ~impossible
    # A first-order probe shows the water of about one time constant ago.
    return _bin(times[keep] - lag_h, values[keep], grid_h, notes)


def thin_temperature(log: Log | None, grid_h: Array, expected_degc: float) -> tuple[Array, tuple[str, ...]]:
    """Water temperature at every grid time: the log where there is one, its last day's mean after it. [degC]"""
    if log is None or len(log.values) == 0:
        return np.full(len(grid_h), expected_degc), ()
    times, values, notes = _usable(log)
    wild = (values < COLDEST_DEGC) | (values > WARMEST_DEGC)
    if wild.any():
        kept = f"{COLDEST_DEGC:g} to {WARMEST_DEGC:g} degC"
        notes.append(f"{int(wild.sum())} temperatures outside {kept} are left out: no brew has them; check unit and probe.")
    times, values = times[~wild], values[~wild]
    if len(values) == 0:
        return np.full(len(grid_h), expected_degc), tuple(notes)
    binned = _bin(times, values, grid_h, notes)
    at = grid_h[binned.index]
    out = np.interp(grid_h, at, binned.values) if len(at) else np.full(len(grid_h), float(values.mean()))
    last_day = values[times >= times[-1] - 24.0]
    ahead = grid_h > times[-1]
    # The weather to come is not known: glide within two hours from the last value to the mean of the last day.
    blend = np.exp(-(grid_h[ahead] - times[-1]) / 2.0)
    out[ahead] = blend * values[-1] + (1.0 - blend) * float(last_day.mean())
    return np.clip(out, COLDEST_DEGC, WARMEST_DEGC), tuple(binned.notes)


def _usable(log: Log) -> tuple[Array, Array, list[str]]:
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
