"""Transfer from a re-aeration run: oxygen taken out of clean water, air on, the return of oxygen read off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.oxygen._faults import RunFault, faults_before_fit, faults_of_fit, rising_window
from aerobe.oxygen._grid_fit import GridPosterior, Prior, fit_on_grid
from aerobe.oxygen._models import Mixed, OneModel
from aerobe.oxygen._response import PROBE, SATURATION, WATER, responses
from aerobe.oxygen._saturation import saturation_mg_per_l
from aerobe.oxygen._standard import kla_at_20

Array = NDArray[np.float64]
MOST_POINTS = 200
FEWEST_POINTS = 6
# A probe drifts little in ten minutes; 0.5 mg/L an hour as one standard deviation (common practice, no source).
_DRIFT_SD_MG_PER_L_H = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class KlaEstimate:
    """A measured transfer coefficient with its interval, and what is wrong with the run if anything."""

    kla_per_h: float  # median, at the temperature of the run [1/h]
    kla_low_per_h: float  # 90 % interval [1/h]
    kla_high_per_h: float
    kla20_per_h: float  # at 20 degC [1/h]
    log_sd: float  # standard uncertainty of log kLa [-]
    saturation_mg_per_l: float  # fitted C* [mg/L]
    saturation_sd_mg_per_l: float
    start_mg_per_l: float  # fitted oxygen at the start of the window [mg/L]
    noise_mg_per_l: float  # of one reading [mg/L]
    temperature_degc: float
    window_h: tuple[float, float]  # part of the run that was used [h]
    points: int
    faults: tuple[RunFault, ...]
    models: tuple[OneModel, ...] = ()  # reasonable ways to read the run; their spread is in the interval

    @property
    def usable(self) -> bool:
        """Whether nothing found forbids the number."""
        return not any(fault.forbids for fault in self.faults)


def kla_from_reaeration(
    times_h: ArrayLike,
    oxygen_mg_per_l: ArrayLike,
    *,
    temperature_degc: float,
    altitude_m: float = 0.0,
    probe_lag_h: float = 0.0,
    probe_lag_log_sd: float = 0.3,
    saturation_log_sd: float | None = 0.03,
    nominal_step_h: float | None = None,
) -> KlaEstimate:
    """Transfer coefficient from one re-aeration run, with an interval that allows for lag, drift and noise with a memory.

    Parameters
    ----------
    times_h, oxygen_mg_per_l
        The log of the run, shape (n,). [h, mg/L]
    temperature_degc
        Of the water. [degC]
    altitude_m
        Height above sea level. [m]
    probe_lag_h
        Time constant of the probe; a quoted t90 divided by 2.3. [h]
    probe_lag_log_sd
        How well it is known, on the log scale. [-]
    saturation_log_sd
        How far the run's own saturation may lie from the table: calibration and depth; None fits it freely. [-]
    nominal_step_h
        What the logger was set to, to catch a wrong clock. [h]

    Returns
    -------
    KlaEstimate
        Median and 90 % interval, and the faults found. A run whose fault forbids a number raises nothing; read `usable`.

    Raises
    ------
    NotEnoughData
        If no part of the run rises long enough to fit.
    UnusableReading
        If times and values do not match.

    Source
    ------
    asce-ewri-2-06, benson-krause-1984
    """
    times, values = clean_log(times_h, oxygen_mg_per_l)
    table = saturation_mg_per_l(temperature_degc, altitude_m=altitude_m)
    early = faults_before_fit(times, values, table, nominal_step_h)
    times, values = one_value_a_moment(times, values)
    window = rising_window(times, values, table)
    if window is None or window.stop - window.start < FEWEST_POINTS:
        first = next((fault for fault in early if fault.forbids), None)
        problem = first.problem if first else "No part of the run rises long enough between a fifth of saturation and the top."
        remedy = first.remedy if first else "Repeat the run, with readings every few seconds from the moment the air starts."
        raise NotEnoughData(f"{first.name if first else 'no usable window'}: {problem}", remedy)
    used_times, used_values = thin_log(times[window], values[window], MOST_POINTS)
    mixed = _readings(used_times, used_values, table, saturation_log_sd, probe_lag_h, probe_lag_log_sd)
    posterior = mixed.posteriors[0]
    kla = mixed.quantile(0.5)
    late = faults_of_fit(
        times=times[window],
        values=values[window],
        table=table,
        kla=kla,
        lag_h=probe_lag_h,
        log_sd=mixed.log_sd,
        fitted_saturation=float(posterior.mean[SATURATION]),
    )
    return KlaEstimate(
        kla_per_h=kla,
        kla_low_per_h=mixed.quantile(0.05),
        kla_high_per_h=mixed.quantile(0.95),
        kla20_per_h=kla_at_20(kla, temperature_degc),
        log_sd=mixed.log_sd,
        saturation_mg_per_l=float(posterior.mean[SATURATION]),
        saturation_sd_mg_per_l=float(posterior.sd[SATURATION]),
        start_mg_per_l=float(posterior.mean[WATER]),
        noise_mg_per_l=posterior.noise,
        temperature_degc=temperature_degc,
        window_h=(float(used_times[0]), float(used_times[-1])),
        points=int(window.stop - window.start),
        faults=(*early, *late),
        models=mixed.each,
    )


_SETTLED_SHARE = 0.85  # of saturation; a run that ends lower cannot tell its saturation by itself
_LATER_SHARE = 0.35  # of saturation: where a later window begins


def _readings(
    times: Array, values: Array, table: float, saturation_log_sd: float | None, lag_h: float, lag_log_sd: float
) -> Mixed:
    """The run by several reasonable models: the window as it is; a later one; saturation by the table; by the run itself."""
    later = values >= _LATER_SHARE * table
    start = int(np.argmax(later)) if later.any() else 0
    ways: list[tuple[str, slice, float | None, float]] = [
        ("the whole window, saturation near the table", slice(None), saturation_log_sd, _DRIFT_SD_MG_PER_L_H),
        ("saturation as the table has it, no drift", slice(None), 1e-4, 1e-3),
    ]
    if len(values) - start >= FEWEST_POINTS and start:
        ways.append(("a later window", slice(start, None), saturation_log_sd, _DRIFT_SD_MG_PER_L_H))
    if float(np.median(values[-5:])) > _SETTLED_SHARE * table:
        ways.append(("saturation as the run shows it", slice(None), None, 1e-3))
    posteriors = []
    for _, part, spread, drift in ways:
        used = times[part] - times[part][0]
        posteriors.append(_fit(used, values[part], table, spread, lag_h, lag_log_sd, drift))
    return Mixed(names=tuple(name for name, *_ in ways), posteriors=tuple(posteriors))


def _fit(
    times: Array, values: Array, table: float, saturation_log_sd: float | None, lag_h: float, lag_log_sd: float, drift_sd: float
) -> GridPosterior:
    def design(kla: Array, lag: Array) -> Array:
        part = responses(times, ((0.0, True),), kla, lag, 0.0)[:, :, [WATER, PROBE, SATURATION]]
        drift = np.broadcast_to(times[None, :, None], (len(kla), len(times), 1))
        return np.concatenate([part, drift], axis=2)

    spread = np.inf if saturation_log_sd is None else max(saturation_log_sd, 1e-4) * table
    # Water and probe at the start differ by what the lag hides; both are left wide.
    prior = Prior(
        mean=np.array([values[0], values[0], table, 0.0]),
        sd=np.array([5.0, 1.0, spread, drift_sd]),
    )
    span, step = times[-1], float(np.median(np.diff(times)))
    return fit_on_grid(
        times, values, design, prior, lag_h=lag_h, lag_log_sd=lag_log_sd, k_low=0.03 / span, k_high=min(4.0 / step, 60.0 / span)
    )


def clean_log(times_h: ArrayLike, oxygen_mg_per_l: ArrayLike) -> tuple[Array, Array]:
    """Times and values as arrays, without rows that hold no number.

    Raises
    ------
    UnusableReading
        If the two differ in length.
    """
    times, values = np.asarray(times_h, dtype=float), np.asarray(oxygen_mg_per_l, dtype=float)
    if times.ndim != 1 or times.shape != values.shape:
        raise UnusableReading("The log has unequal numbers of times and oxygen values.", "Give one value for each time.")
    real = np.isfinite(times) & np.isfinite(values)
    return times[real], values[real]


def one_value_a_moment(times: Array, values: Array) -> tuple[Array, Array]:
    """The log in order of time, with the mean where one moment has several values."""
    moments, place = np.unique(times, return_inverse=True)
    return moments, np.bincount(place, weights=values) / np.bincount(place)


def thin_log(times: Array, values: Array, most: int) -> tuple[Array, Array]:
    """Means of neighbouring readings, so that a long log is no slower than a short one."""
    if len(times) <= most:
        return times, values
    edges = np.linspace(0, len(times), most + 1).astype(int)
    counts = np.diff(edges)
    return np.add.reduceat(times, edges[:-1]) / counts, np.add.reduceat(values, edges[:-1]) / counts
