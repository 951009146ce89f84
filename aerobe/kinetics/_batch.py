"""Many brews at once: the scalar solver run over sets of parameters on every core, or on a graphics card."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.kinetics._compiled import N_OUT, N_PARAMETERS, N_STATES, run_all
from aerobe.kinetics._temperature import decay_factor, growth_factor
from aerobe.oxygen import transfer_factor

Array = NDArray[np.float64]
_ONE_AT_A_TIME = threading.Lock()
AIR_RUNS = 0.1  # less transfer than this share of the usual is that of the surface alone [-]
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
    air
        Oxygen transfer from each time on, over that of the vessel as it began, shape (times,): 0 while the air is off,
        more or less than 1 after the flow or the volume was changed. None: 1 throughout. [-]
    kept_share
        Old volume over new where water is added just after a time, before any food, shape (times,); the water brings
        oxygen in balance with air. None: 1 throughout. [-]
    """

    times_h: Array
    temperature_degc: Array
    saturation_mg_per_l: Array
    added_food_mg_c_per_l: Array
    added_slow_mg_c_per_l: Array
    air: Array | None = None
    kept_share: Array | None = None

    def until(self, end: int) -> Surroundings:
        """The same up to, not including, a place in the times."""
        return Surroundings(
            times_h=self.times_h[:end],
            temperature_degc=self.temperature_degc[:end],
            saturation_mg_per_l=self.saturation_mg_per_l[:end],
            added_food_mg_c_per_l=self.added_food_mg_c_per_l[:end],
            added_slow_mg_c_per_l=self.added_slow_mg_c_per_l[:end],
            air=None if self.air is None else self.air[:end],
            kept_share=None if self.kept_share is None else self.kept_share[:end],
        )

    def running(self) -> Array:
        """Whether the air runs from each time on, 1 or 0, shape (times,). [-]"""
        return np.ones_like(self.times_h) if self.air is None else np.asarray(self.air > AIR_RUNS, float)

    def shares_kept(self) -> Array:
        """Old volume over new just after each time, shape (times,). [-]"""
        return np.ones_like(self.times_h) if self.kept_share is None else self.kept_share

    def transfer(self) -> Array:
        """Oxygen transfer over that of the vessel as it began at 20 degC, shape (times,). [-]"""
        warm = transfer_factor(self.temperature_degc)
        return warm if self.air is None else warm * self.air


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
        Shape (brews, 10), in the order of `PARAMETERS`. [each its own]
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

    Raises
    ------
    ValueError
        If the columns are not as many as said.

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
            np.ones_like(around.times_h) if around.air is None else around.air,
            around.added_food_mg_c_per_l,
            around.added_slow_mg_c_per_l,
            np.ones_like(around.times_h) if around.kept_share is None else around.kept_share,
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
