"""How fast a brew takes up oxygen, read off its log; and how long it holds out once the air stops."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.errors import NotEnoughData, OutsideValidity, UnusableReading
from aerobe.oxygen._reaeration import clean_log, thin_log
from aerobe.oxygen._saturation import saturation_mg_per_l
from aerobe.oxygen._standard import transfer_factor
from aerobe.statistics import normal_mixture_quantile

Array = NDArray[np.float64]
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_SHARES = _WEIGHTS / _WEIGHTS.sum()
_MOST_POINTS = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class UptakeTrack:
    """Oxygen uptake rate through a brew, with its 90 % band."""

    elapsed_h: Array  # (n,) [h]
    median: Array  # (n,) [mg/L/h]
    low: Array  # (n,) 5 % quantile [mg/L/h]
    high: Array  # (n,) 95 % quantile [mg/L/h]
    noise_mg_per_l: float  # of one reading [mg/L]

    @property
    def peak_at_h(self) -> float:
        """When the median is highest [h]."""
        return float(self.elapsed_h[int(np.argmax(self.median))])


def uptake_from_log(
    times_h: ArrayLike,
    oxygen_mg_per_l: ArrayLike,
    *,
    kla20_per_h: float,
    kla_log_sd: float,
    temperature_degc: ArrayLike = 20.0,
    altitude_m: float = 0.0,
    pressure_kpa: float | None = None,
    salinity: float = 0.0,
) -> UptakeTrack:
    """Uptake rate through a brew from its oxygen log, where transfer is known.

    What the air brings less what the oxygen gains is what the brew takes. The rate is let wander; how much, and how noisy the
    probe is, comes from the log. Uncertainty of kLa goes through to the band, and is mostly what it is made of.

    Parameters
    ----------
    times_h, oxygen_mg_per_l
        The log, shape (n,), times increasing. [h, mg/L]
    kla20_per_h, kla_log_sd
        Transfer at 20 degC [1/h] and its standard uncertainty on the log scale [-].
    temperature_degc
        One value, or one for each reading. [degC]
    altitude_m, pressure_kpa, salinity
        As for `saturation_mg_per_l`. [m, kPa, g/kg]

    Returns
    -------
    UptakeTrack
        Median and 90 % band; no more than 300 times.

    Raises
    ------
    NotEnoughData
        If there are fewer than ten readings.
    UnusableReading
        If times repeat or run backwards.

    Source
    ------
    rauch-tung-striebel-1965
    """
    warmth = np.broadcast_to(np.asarray(temperature_degc, dtype=float), np.shape(np.asarray(times_h, dtype=float)))
    raw_times = np.asarray(times_h, dtype=float)
    times, values = clean_log(times_h, oxygen_mg_per_l)
    real = np.isfinite(raw_times) & np.isfinite(np.asarray(oxygen_mg_per_l, dtype=float))
    if len(times) < 10:
        raise NotEnoughData(f"{len(times)} readings do not show a rate.", "Log oxygen at least every quarter of an hour.")
    if np.any(np.diff(times) <= 0.0):
        raise UnusableReading("The times of the log repeat or run backwards.", "Sort the log and remove doubled rows.")
    used, seen = thin_log(times, values, _MOST_POINTS)
    degrees = np.interp(used, times, warmth[real])
    saturation = np.asarray(saturation_mg_per_l(degrees, altitude_m=altitude_m, pressure_kpa=pressure_kpa, salinity=salinity))
    speed = np.asarray(transfer_factor(degrees))
    wander, noise = _choose(used, seen, saturation, kla20_per_h * speed)
    klas = kla20_per_h * np.exp(kla_log_sd * _NODES)
    means, spreads = _smooth(used, seen, saturation, klas[:, None] * speed, np.full(len(klas), wander), np.full(len(klas), noise))
    low, median, high = (normal_mixture_quantile(share, _SHARES, means, spreads) for share in (0.05, 0.5, 0.95))
    return UptakeTrack(elapsed_h=used, median=median, low=low, high=high, noise_mg_per_l=float(noise))


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldingTime:
    """Minutes until oxygen reaches the floor after the air stops; infinite where the surface alone keeps it above."""

    median_min: float
    low_min: float  # 5 % quantile [min]
    high_min: float  # 95 % quantile [min]


def hours_to_floor(oxygen_mg_per_l: ArrayLike, uptake_mg_per_l_h: ArrayLike, floor_mg_per_l: float = 0.0) -> Array:
    """How long steady uptake takes to bring oxygen down to a floor, with nothing coming in.

    Parameters
    ----------
    oxygen_mg_per_l
        When the air stops, any shape. [mg/L]
    uptake_mg_per_l_h
        Of the brew, broadcast against it. [mg/L/h]
    floor_mg_per_l
        Not to be undercut. [mg/L]

    Returns
    -------
    array
        Hours; none where oxygen is at the floor already, without end where nothing is taken up. [h]

    Raises
    ------
    OutsideValidity
        If oxygen or uptake is negative.

    Source
    ------
    stoichiometry

    Examples
    --------
    >>> round(float(hours_to_floor(7.0, 10.0)) * 60)
    42
    """
    oxygen, uptake = np.asarray(oxygen_mg_per_l, dtype=float), np.asarray(uptake_mg_per_l_h, dtype=float)
    _refuse_negative(oxygen, uptake)
    left = np.maximum(oxygen - floor_mg_per_l, 0.0)
    ends = np.divide(left, uptake, out=np.full(np.broadcast_shapes(left.shape, uptake.shape), np.inf), where=uptake > 0.0)
    return np.asarray(np.where(left > 0.0, ends, 0.0))


def _refuse_negative(*values: ArrayLike) -> None:
    if any((np.asarray(value) < 0.0).any() for value in values):
        raise OutsideValidity("Oxygen and uptake cannot be negative.", "Check the readings.")


def holding_time(
    oxygen_mg_per_l: float,
    uptake_mg_per_l_h: float,
    *,
    uptake_log_sd: float = 0.0,
    floor_mg_per_l: float = 0.0,
    surface_per_h: float = 0.0,
    saturation_mg_per_l: float = 9.09,
) -> HoldingTime:
    """How long a tea stays above a floor once the air has stopped.

    Parameters
    ----------
    oxygen_mg_per_l
        When the air stops. [mg/L]
    uptake_mg_per_l_h
        Of the brew. [mg/L/h]
    uptake_log_sd
        Its standard uncertainty on the log scale. [-]
    floor_mg_per_l
        Not to be undercut. [mg/L]
    surface_per_h, saturation_mg_per_l
        Transfer through a still surface [1/h], towards this saturation [mg/L]. Zero for a closed container.

    Returns
    -------
    HoldingTime
        Uptake is taken as constant; near zero oxygen it slows, so the last minutes are a little longer.

    Raises
    ------
    OutsideValidity
        If oxygen or uptake is negative.

    Source
    ------
    stoichiometry

    Examples
    --------
    >>> round(holding_time(7.0, 10.0).median_min)
    42
    """
    _refuse_negative(oxygen_mg_per_l, uptake_mg_per_l_h)

    def minutes(uptake: float) -> float:
        if surface_per_h <= 0.0:
            return 60.0 * float(hours_to_floor(oxygen_mg_per_l, uptake, floor_mg_per_l))
        return _minutes_under_air(oxygen_mg_per_l, uptake, floor_mg_per_l, surface_per_h, saturation_mg_per_l)

    factor = math.exp(1.6449 * uptake_log_sd)
    return HoldingTime(
        median_min=minutes(uptake_mg_per_l_h),
        low_min=minutes(uptake_mg_per_l_h * factor),
        high_min=minutes(uptake_mg_per_l_h / factor),
    )


def _minutes_under_air(oxygen: float, uptake: float, floor: float, surface: float, saturation: float) -> float:
    """The same where a still surface lets oxygen in: it nears a level of its own, which may lie above the floor."""
    end = saturation - uptake / surface
    if oxygen <= floor:
        return 0.0
    if uptake <= 0.0 or end >= floor:
        return math.inf
    return 60.0 * math.log((oxygen - end) / (floor - end)) / surface


def _choose(times: Array, values: Array, saturation: Array, transfer: Array) -> tuple[float, float]:
    """Wander of the rate and noise of the probe at which the log is most probable."""
    step = float(np.median(np.diff(times)))
    rough = max(float(np.median(np.abs(np.diff(values)))), 0.005)
    noises = rough * np.exp(np.linspace(-2.0, 1.0, 7))
    pace = max(float(np.median(transfer)), 1e-3) * float(np.median(saturation))
    wanders = pace * np.exp(np.linspace(-6.0, 0.5, 9))
    grid_wander, grid_noise = (part.ravel() for part in np.meshgrid(wanders, noises, indexing="ij"))
    same = np.broadcast_to(transfer, (len(grid_noise), len(times)))
    evidence = _filter(times, values, saturation, same, grid_wander, grid_noise)[0]
    best = int(np.argmax(evidence))
    return float(grid_wander[best]), float(max(grid_noise[best], 1e-3 * step))


def _filter(
    times: Array, values: Array, saturation: Array, transfer: Array, wander: Array, noise: Array
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Kalman filter of (oxygen, uptake) for many settings at once: evidence, filtered and predicted moments, transitions."""
    cells, count = transfer.shape
    mean = np.zeros((cells, count, 2))
    cover = np.zeros((cells, count, 2, 2))
    ahead_mean, ahead_cover = mean.copy(), cover.copy()
    moves = np.zeros((cells, count, 2, 2))
    steady = transfer[:, 0] * (saturation[0] - values[0])
    m = np.stack([np.full(cells, values[0]), steady], axis=1)
    p = np.zeros((cells, 2, 2))
    p[:, 0, 0], p[:, 1, 1] = 4.0, np.maximum(steady**2, 25.0)
    evidence = np.zeros(cells)
    for index in range(count):
        if index:
            step = times[index] - times[index - 1]
            rate = 0.5 * (transfer[:, index] + transfer[:, index - 1])
            decay = np.exp(-rate * step)
            reach = np.where(rate * step > 1e-9, (1.0 - decay) / np.maximum(rate, 1e-12), step)
            move = np.zeros((cells, 2, 2))
            move[:, 0, 0], move[:, 0, 1], move[:, 1, 1] = decay, -reach, 1.0
            moves[:, index] = move
            m = np.einsum("cij,cj->ci", move, m)
            m[:, 0] += rate * reach * 0.5 * (saturation[index] + saturation[index - 1])
            p = move @ p @ np.swapaxes(move, 1, 2)
            p[:, 1, 1] += wander**2 * step
            p[:, 0, 0] += wander**2 * step * reach**2 / 3.0
        ahead_mean[:, index], ahead_cover[:, index] = m, p
        total = p[:, 0, 0] + noise**2
        miss = values[index] - m[:, 0]
        gain = p[:, :, 0] / total[:, None]
        m = m + gain * miss[:, None]
        p = p - gain[:, :, None] * p[:, None, 0, :]
        evidence -= 0.5 * (np.log(total) + miss**2 / total)
        mean[:, index], cover[:, index] = m, p
    return evidence, mean, cover, ahead_mean, ahead_cover, moves


def _smooth(times: Array, values: Array, saturation: Array, transfer: Array, wander: Array, noise: Array) -> tuple[Array, Array]:
    """Mean and standard deviation of uptake at each time for each setting, from the whole log."""
    _, mean, cover, ahead_mean, ahead_cover, moves = _filter(times, values, saturation, transfer, wander, noise)
    for index in range(len(times) - 2, -1, -1):
        back = cover[:, index] @ np.swapaxes(moves[:, index + 1], 1, 2) @ np.linalg.inv(ahead_cover[:, index + 1])
        mean[:, index] += np.einsum("cij,cj->ci", back, mean[:, index + 1] - ahead_mean[:, index + 1])
        cover[:, index] += back @ (cover[:, index + 1] - ahead_cover[:, index + 1]) @ np.swapaxes(back, 1, 2)
    return mean[:, :, 1], np.sqrt(np.maximum(cover[:, :, 1, 1], 1e-18))
