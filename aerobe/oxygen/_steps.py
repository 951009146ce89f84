"""Transfer and uptake of a live brew from turning its air off and on again: no chemicals, a few minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.oxygen._faults import RunFault
from aerobe.oxygen._grid_fit import Prior, fit_on_grid
from aerobe.oxygen._reaeration import MOST_POINTS, clean_log, thin_log
from aerobe.oxygen._response import PROBE, SATURATION, UPTAKE, WATER, air_at, responses
from aerobe.oxygen._saturation import saturation_mg_per_l
from aerobe.oxygen._standard import kla_at_20

Array = NDArray[np.float64]
Z90 = 1.6449


@dataclass(frozen=True, slots=True, kw_only=True)
class StepEstimate:
    """What air off and air on tell of a brew."""

    kla_per_h: float  # median, at the brew's temperature, foam and solutes as they are [1/h]
    kla_low_per_h: float  # 90 % interval [1/h]
    kla_high_per_h: float
    kla20_per_h: float
    log_sd: float
    uptake_mg_per_l_h: float  # oxygen uptake rate during the test [mg/L/h]
    uptake_sd_mg_per_l_h: float
    uptake_low_mg_per_l_h: float  # 90 % interval
    uptake_high_mg_per_l_h: float
    saturation_mg_per_l: float
    saturation_sd_mg_per_l: float
    lowest_mg_per_l: float  # lowest reading of the test [mg/L]
    faults: tuple[RunFault, ...]


SATURATION_LOG_SD = 0.03  # how far the brew's saturation may lie from the table: calibration and depth


def transfer_from_steps(
    times_h: ArrayLike,
    oxygen_mg_per_l: ArrayLike,
    switches: tuple[tuple[float, bool], ...],
    *,
    temperature_degc: float,
    altitude_m: float = 0.0,
    probe_lag_h: float = 0.0,
    probe_lag_log_sd: float = 0.3,
    surface_per_h: float = 0.0,
) -> StepEstimate:
    """Transfer coefficient and uptake rate from a log over which the air was turned off and on.

    Parameters
    ----------
    times_h, oxygen_mg_per_l
        The log, shape (n,). [h, mg/L]
    switches
        When the air was set and whether it then ran: ((0, True), (0.05, False), (0.15, True)). [h]
    temperature_degc, altitude_m
        Of the water, and height above sea level. [degC, m]
    probe_lag_h, probe_lag_log_sd
        Time constant of the probe [h] and its log standard uncertainty [-].
    surface_per_h
        Transfer through the surface while the air is off. [1/h]

    Returns
    -------
    StepEstimate
        Uptake is taken as steady during the test; keep it under a quarter of an hour.

    Raises
    ------
    NotEnoughData
        If there is no stretch without air followed by one with air, each with readings.
    UnusableReading
        If times run backwards.

    Source
    ------
    bandyopadhyay-1967
    """
    times, values = clean_log(times_h, oxygen_mg_per_l)
    ordered = tuple(sorted(switches))
    _check(times, ordered)
    table = saturation_mg_per_l(temperature_degc, altitude_m=altitude_m)
    used_times, used_values = thin_log(times, values, MOST_POINTS)

    def design(kla: Array, lag: Array) -> Array:
        return responses(used_times, ordered, kla, lag, surface_per_h)[:, :, [WATER, PROBE, SATURATION, UPTAKE]]

    prior = Prior(
        mean=np.array([values[0], values[0], table, 0.0]),
        sd=np.array([5.0, 1.0, SATURATION_LOG_SD * table, np.inf]),
    )
    span, step = used_times[-1] - used_times[0], float(np.median(np.diff(used_times)))
    posterior = fit_on_grid(
        used_times,
        used_values,
        design,
        prior,
        lag_h=probe_lag_h,
        lag_log_sd=probe_lag_log_sd,
        k_low=0.05 / span,
        k_high=min(4.0 / step, 300.0 / span),
    )
    kla, uptake, spread = posterior.quantile(0.5), float(posterior.mean[UPTAKE]), float(posterior.sd[UPTAKE])
    return StepEstimate(
        kla_per_h=kla,
        kla_low_per_h=posterior.quantile(0.05),
        kla_high_per_h=posterior.quantile(0.95),
        kla20_per_h=kla_at_20(kla, temperature_degc),
        log_sd=posterior.log_sd,
        uptake_mg_per_l_h=uptake,
        uptake_sd_mg_per_l_h=spread,
        uptake_low_mg_per_l_h=uptake - Z90 * spread,
        uptake_high_mg_per_l_h=uptake + Z90 * spread,
        saturation_mg_per_l=float(posterior.mean[SATURATION]),
        saturation_sd_mg_per_l=float(posterior.sd[SATURATION]),
        lowest_mg_per_l=float(values.min()),
        faults=_faults(times, values, ordered, uptake, spread, kla * probe_lag_h),
    )


def _check(times: Array, switches: tuple[tuple[float, bool], ...]) -> None:
    if len(times) < 10:
        raise NotEnoughData(f"{len(times)} readings are too few for a step test.", "Read every few seconds through off and on.")
    if np.any(np.diff(times) <= 0.0):
        raise UnusableReading("The times of the log repeat or run backwards.", "Sort the log and remove doubled rows.")
    on = np.array([air_at(float(time), switches) for time in times]) if switches else np.array([])
    if not switches or (~on).sum() < 4 or (on & (times > times[np.argmin(on)])).sum() < 4:
        raise NotEnoughData(
            "The log holds no stretch without air followed by a stretch with air, with four readings each.",
            "Note when the air went off and on: off until oxygen fell by 1 to 2 mg/L, then on until it is back.",
        )


def _faults(
    times: Array, values: Array, switches: tuple[tuple[float, bool], ...], uptake: float, spread: float, lag_ratio: float
) -> tuple[RunFault, ...]:
    found = []
    on = np.array([air_at(float(time), switches) for time in times])
    if values[~on].max() - values[~on].min() < 0.3:
        found.append(
            RunFault(
                name="hardly any fall",
                problem="Oxygen fell by less than 0.3 mg/L without air.",
                forbids=False,
                remedy="Leave the air off longer, but not below the floor.",
            )
        )
    if uptake < Z90 * spread:
        found.append(
            RunFault(
                name="uptake not seen",
                problem="The uptake rate cannot be told from zero.",
                forbids=False,
                remedy="Repeat later in the brew, or leave the air off longer.",
            )
        )
    if values.min() < 1.0:
        found.append(
            RunFault(
                name="fell too low",
                problem=f"Oxygen fell to {values.min():.1f} mg/L, where uptake itself slows.",
                forbids=False,
                remedy="Turn the air on sooner, at 2 mg/L at the latest.",
            )
        )
    if lag_ratio > 0.6:
        found.append(
            RunFault(
                name="probe too slow",
                problem="The probe is about as slow as the water.",
                forbids=lag_ratio > 1.5,
                remedy="Use a faster probe, or less air during the test.",
            )
        )
    return tuple(found)
