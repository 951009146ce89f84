"""Many brews at once: the scalar solver run over sets of parameters on every core, or on a graphics card."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.kinetics._compiled import N_OUT, N_PARAMETERS, N_STATES, run_all
from aerobe.kinetics._temperature import decay_factor, growth_factor, transfer_factor

Array = NDArray[np.float64]
_ONE_AT_A_TIME = threading.Lock()
TOLERANCE = 1e-5  # local error; the answers then agree with a tight reference to 1e-4 (tests/kinetics)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What acts on a brew from outside, at the output times.

    Parameters
    ----------
    times_h
        Output times, shape (times,), the first is the start. [h]
    temperature_degc
        Water temperature at those times, shape (times,); straight lines between. [degC]
    saturation_mg_per_l
        Oxygen in balance with air at those times, shape (times,). [mg/L]
    added_food_mg_c_per_l, added_slow_mg_c_per_l
        Food added just after each time, shape (times,); zero where none. [mg C/L]
    """

    times_h: Array
    temperature_degc: Array
    saturation_mg_per_l: Array
    added_food_mg_c_per_l: Array
    added_slow_mg_c_per_l: Array
    air_is_on: Array | None = None  # 1.0 or 0.0 from each time on, shape (times,); None: always on


def simulate(
    start: Array,
    parameters: Array,
    growth_minimum_degc: Array,
    around: Surroundings,
    *,
    food_scale: Array | None = None,
    tolerance: float = TOLERANCE,
    on_gpu: bool = False,
) -> Array:
    """States of many brews at the output times.

    Parameters
    ----------
    start
        State at the first time, shape (brews, 7), in the order of `STATES`. [mg C/L, mg/L, -]
    parameters
        Shape (brews, 10), in the order of `PARAMETERS`.
    growth_minimum_degc
        Notional minimum temperature of growth, shape (brews,). [degC]
    around
        Temperature, saturation and feeding, common to all brews.
    food_scale
        Factor on the added readily used food, shape (brews,). [-]
    tolerance
        Relative local error of the solver. [-]
    on_gpu
        Run the same functions on a CUDA card.

    Returns
    -------
    Array
        Shape (brews, times, 8): the states in the order of `STATES`, then at `OXYGEN_MEAN` the mean oxygen since the
        time before [mg/L]. A brew that cannot be carried on is nan from there on.

    Source
    ------
    hairer-wanner-1996
    """
    start = np.ascontiguousarray(start, float)
    parameters = np.ascontiguousarray(parameters, float)
    if start.shape[1] != N_STATES or parameters.shape[1] != N_PARAMETERS:
        raise ValueError("start needs 7 columns and parameters 10")
    growth = growth_factor(around.temperature_degc[None, :], np.asarray(growth_minimum_degc, float)[:, None])
    shared = np.stack(
        [
            decay_factor(around.temperature_degc),
            transfer_factor(around.temperature_degc),
            around.saturation_mg_per_l,
            np.ones_like(around.times_h) if around.air_is_on is None else around.air_is_on,
            around.added_food_mg_c_per_l,
            around.added_slow_mg_c_per_l,
        ]
    )
    scale = np.ones(len(start)) if food_scale is None else np.ascontiguousarray(food_scale, float)
    out = np.empty((len(start), len(around.times_h), N_OUT))
    times = np.ascontiguousarray(around.times_h, float)
    if on_gpu:
        from aerobe.kinetics._gpu import run_on_gpu

        run_on_gpu(start, parameters, growth, shared, scale, times, tolerance, out)
    else:
        # Other threads go on meanwhile, but not into here: not every threading layer bears two callers.
        with _ONE_AT_A_TIME:
            run_all(start, parameters, growth, shared, scale, times, tolerance, out)
    return out
