"""What an oxygen probe shows while air goes on and off: exact, and linear in all but the transfer coefficient and the lag."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Columns of a response: the water at the start, the probe at the start, saturation, uptake rate.
WATER, PROBE, SATURATION, UPTAKE = range(4)


def responses(times_h: Array, switches: tuple[tuple[float, bool], ...], kla: Array, lag_h: Array, surface: float) -> Array:
    """Reading of a lagging probe for a unit of each linear coefficient.

    The water follows dC/dt = a kLa (C* - C) + s (C* - C) - r, a being 1 with air and 0 without; the probe dM/dt = (C - M) / lag.
    Both are solved exactly between events, so no step size enters.

    Parameters
    ----------
    times_h
        Times of the readings, increasing, shape (n,). [h]
    switches
        Moments at which the air was set and whether it then ran; the first holds from the start. [h]
    kla, lag_h
        Transfer coefficients [1/h] and probe time constants [h], both shape (g,).
    surface
        Transfer through the surface without air. [1/h]

    Returns
    -------
    array
        Shape (g, n, 4); multiply by (water at start, probe at start, saturation, uptake) for the reading. [mg/L]
    """
    state_water = np.zeros((len(kla), 4))
    state_probe = np.zeros((len(kla), 4))
    state_water[:, WATER] = 1.0
    state_probe[:, PROBE] = 1.0
    result = np.empty((len(kla), len(times_h), 4))
    now = float(times_h[0])
    on = air_at(now, switches)
    later = [(at, running) for at, running in switches if at > now]
    for index, time in enumerate(times_h):
        while later and later[0][0] <= time:
            at, running = later.pop(0)
            state_water, state_probe = _advance(state_water, state_probe, at - now, kla * on + surface, lag_h)
            now, on = at, running
        state_water, state_probe = _advance(state_water, state_probe, float(time) - now, kla * on + surface, lag_h)
        now = float(time)
        result[:, index] = state_probe
    return result


def air_at(time_h: float, switches: tuple[tuple[float, bool], ...]) -> bool:
    """Whether the air ran at a moment."""
    on = switches[0][1]
    for at, running in switches:
        if at <= time_h:
            on = running
    return on


def _advance(water: Array, probe: Array, step_h: float, rate: Array, lag_h: Array) -> tuple[Array, Array]:
    if step_h <= 0.0:
        return water, probe
    memory = np.exp(-step_h / np.maximum(lag_h, 1e-12))[:, None]
    lag = lag_h[:, None]
    if not np.any(rate > 0.0):
        fresh = water.copy()
        fresh[:, UPTAKE] -= step_h
        reading = fresh + (probe - water) * memory
        reading[:, UPTAKE] += lag_h * (1.0 - memory[:, 0])
        return fresh, reading
    slope = rate[:, None]
    goal = np.zeros_like(water)
    goal[:, SATURATION] = 1.0
    goal[:, UPTAKE] = -1.0 / rate
    decay = np.exp(-slope * step_h)
    gap = 1.0 - slope * lag
    # Where probe and water are equally fast the quotient is 0/0; its limit is (step / lag) exp(-step / lag).
    near = np.abs(gap) < 1e-6
    shared = np.where(near, step_h / np.maximum(lag, 1e-12) * memory, (decay - memory) / np.where(near, 1.0, gap))
    return goal + (water - goal) * decay, goal + (water - goal) * shared + (probe - goal) * memory
