"""When to sample: times that tell most about the curve, on average over what is believed of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotEnoughData

Array = NDArray[np.float64]
Sensitivity = Callable[[Array], Array]  # times, shape (times,) -> slopes by parameter, shape (draws, times, parameters)


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingTimes:
    """The chosen times and how much better they are than evenly spread ones."""

    times_h: tuple[float, ...]  # rising; a time may repeat [h]
    criterion: float  # average log determinant, or minus the log variance of the aim [-]
    efficiency_of_even: float  # of evenly spread times, 1 is as good as the best [-]
    most_sensitive: float  # largest standardised variance over the range; parameters count at the D-optimum [-]


def optimal_times(
    sensitivity: Sensitivity,
    *,
    samples: int,
    start_h: float,
    end_h: float,
    aim: Array | None = None,
    prior_information: Array | None = None,
    grid: int = 121,
    earliest_gap_h: float = 0.0,
) -> SamplingTimes:
    """Times that make the curve's parameters, or one aim, as certain as that many samples can.

    D-optimal without an aim; with an aim (its gradient in the parameters) the times minimise the variance of that aim.
    Several draws of the parameters are averaged over, so that the times do not hang on one guess.

    Parameters
    ----------
    sensitivity
        Slopes of the (log) outcome by each parameter; a leading axis of draws, or a single draw. [per parameter]
    samples
        Number of samples. [-]
    start_h, end_h
        Range of times. [h]
    aim
        Gradient of the aim, shape (parameters,) or (draws, parameters). [-]
    prior_information
        Information before sampling, shape (parameters, parameters); needed when samples are fewer than parameters. [-]
    grid
        Points searched before the times are polished. [-]
    earliest_gap_h
        Least time between two samples. [h]

    Returns
    -------
    SamplingTimes
        Times and what they gain. [h]

    Raises
    ------
    NotEnoughData
        If there are fewer samples than parameters and no prior information.

    Source
    ------
    atkinson-donev-1992, fedorov-1972
    """
    if end_h <= start_h or samples < 1:
        raise NotEnoughData("There is no time to sample in.", "Give an end after the start and at least one sample.")
    points = np.linspace(start_h, end_h, grid)
    slopes = _draws(sensitivity(points))
    p = slopes.shape[2]
    prior = np.zeros((p, p)) if prior_information is None else np.asarray(prior_information, dtype=float)
    if samples < p and prior_information is None:
        raise NotEnoughData(
            f"{samples} samples cannot settle {p} parameters.", "Take more samples, or say what is known beforehand."
        )
    aims = None if aim is None else np.atleast_2d(np.asarray(aim, dtype=float))

    def value_of(rows: Array) -> float:
        return _criterion(rows, prior, aims)

    gap = earliest_gap_h / (points[1] - points[0])
    starts = [_even(grid, samples), _crowded(grid, samples, 0.5), _crowded(grid, samples, 2.0)]
    exchanged = [_exchange(list(start), slopes, value_of, gap) for start in starts]
    best = max(exchanged, key=lambda chosen: value_of(slopes[:, chosen]))
    times = _polish(points[sorted(best)], sensitivity, value_of, start_h, end_h, earliest_gap_h)
    value = value_of(_draws(sensitivity(times)))
    even = value_of(_draws(sensitivity(np.linspace(start_h, end_h, samples))))
    scale = p if aims is None else 1
    return SamplingTimes(
        times_h=tuple(float(time) for time in times),
        criterion=value,
        efficiency_of_even=float(np.exp((even - value) / scale)) if np.isfinite(even) else 0.0,
        most_sensitive=_most_sensitive(slopes, _draws(sensitivity(times)), prior),
    )


def _draws(slopes: Array) -> Array:
    return slopes[None] if slopes.ndim == 2 else slopes


def _criterion(rows: Array, prior: Array, aims: Array | None) -> float:
    """Average over the draws; minus infinity where the samples leave something unknown."""
    information = np.einsum("dti,dtj->dij", rows, rows) + prior
    sign, log_det = np.linalg.slogdet(information)
    if np.any(sign <= 0) or np.any(log_det < -200):
        return -np.inf
    if aims is None:
        return float(log_det.mean())
    wide = np.broadcast_to(aims, (information.shape[0], aims.shape[1]))
    variance = np.einsum("di,di->d", wide, np.linalg.solve(information, wide[:, :, None])[:, :, 0])
    return float(-np.log(variance).mean())


def _even(grid: int, samples: int) -> list[int]:
    return [round(i) for i in np.linspace(0, grid - 1, samples)]


def _crowded(grid: int, samples: int, power: float) -> list[int]:
    """A start that is denser early (power above 1) or late (below 1)."""
    return [round((grid - 1) * x**power) for x in np.linspace(0.02, 1.0, samples)]


def _exchange(chosen: list[int], slopes: Array, value_of: Callable[[Array], float], gap: float) -> list[int]:
    """Move one time at a time to its best place until nothing gains."""
    best = value_of(slopes[:, chosen])
    for _ in range(60):
        before = best
        for place in range(len(chosen)):
            others = chosen[:place] + chosen[place + 1 :]
            for candidate in range(slopes.shape[1]):
                if any(abs(candidate - other) < gap for other in others):
                    continue
                trial = [*others[:place], candidate, *others[place:]]
                value = value_of(slopes[:, trial])
                if value > best + 1e-12 or (value == best == -np.inf and candidate == 0):
                    best, chosen = value, trial
        if not best > before + 1e-10:
            break
    return chosen


def _polish(
    times: Array, sensitivity: Sensitivity, value_of: Callable[[Array], float], start: float, end: float, gap: float
) -> Array:
    from scipy import optimize

    def loss(moved: Array) -> float:
        rising = np.sort(moved)
        if np.any(moved < start) or np.any(moved > end) or (gap > 0 and np.any(np.diff(rising) < gap - 1e-9)):
            return 1e12
        value = value_of(_draws(sensitivity(rising)))
        return -value if np.isfinite(value) else 1e12

    step = 0.4 * (end - start) / 120
    inward = np.where(times + step <= end, step, -step)
    simplex = np.vstack([times, times + np.diag(inward)])
    options = {"initial_simplex": simplex, "xatol": 1e-9 * (end - start), "fatol": 1e-14, "maxiter": 400 * len(times)}
    found = optimize.minimize(loss, times, method="Nelder-Mead", options=options)
    return np.sort(found.x if found.fun <= loss(times) else times)


def _most_sensitive(slopes: Array, rows: Array, prior: Array) -> float:
    """Largest d(t) = f' M^-1 f with M per sample: at a D-optimum of one draw it equals the number of parameters."""
    information = (np.einsum("dti,dtj->dij", rows, rows) + prior) / rows.shape[1]
    if np.any(np.linalg.slogdet(information)[0] <= 0):
        return float("inf")
    spread = np.einsum("dti,dij,dtj->dt", slopes, np.linalg.inv(information), slopes)
    return float(spread.mean(axis=0).max())
