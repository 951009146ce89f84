"""Least squares from several starts at once: Levenberg-Marquardt with differences for slopes (levenberg-1944, marquardt-1963).

All starts and all their displaced points go to the model in one batch, since a batch costs little more than one run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Residuals = Callable[[Array], Array]
"""Points of shape (points, dimensions) to residuals of shape (points, data); nan rows are points that cannot be."""

_LADDER = np.array([0.03, 1.0, 30.0, 1000.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Modes:
    """Where the descents ended.

    Parameters
    ----------
    points
        Shape (starts, dimensions).
    costs
        Half the sum of squares there, shape (starts,).
    jacobians
        Slopes of the residuals there, shape (starts, data, dimensions).
    settled
        Whether the last step was negligible, shape (starts,).
    """

    points: Array
    costs: Array
    jacobians: Array
    settled: NDArray[np.bool_]


def descend(
    residuals: Residuals,
    starts: Array,
    *,
    rounds: int = 12,
    difference: float = 1e-4,
    relative_difference: bool = False,
    central: bool = False,
    damping: float = 1e-2,
    small: float = 1e-4,
) -> Modes:
    """Minimise half the sum of squares from each start.

    Parameters
    ----------
    residuals
        The model, see `Residuals`.
    starts
        Shape (starts, dimensions). [as the model's unknowns]
    rounds
        Most steps tried.
    difference
        Displacement for slopes: absolute, or relative to the point if `relative_difference`. [as the unknowns, or -]
    central
        Use central differences: twice the cost, needed for many digits.
    damping
        Starting damping, relative to the diagonal of the normal matrix. [-]
    small
        A step whose largest scaled entry is below this counts as the end. [-]

    Source
    ------
    marquardt-1963
    """
    points = np.array(starts, float)
    count, size = points.shape
    current = residuals(points)
    costs = _half_squares(current)
    damp = np.full(count, damping)
    settled = np.zeros(count, bool)
    jacobians = _slopes(residuals, points, current, difference, relative_difference, central)
    for _ in range(rounds):
        live = np.flatnonzero(~settled & np.isfinite(costs))
        if not len(live):
            break
        # Several dampings are tried together: a few more runs, far fewer rounds.
        tried = damp[live, None] * _LADDER
        steps = np.array([[_step(jacobians[i], current[i], float(d)) for d in row] for i, row in zip(live, tried, strict=True)])
        trials = points[live, None, :] + steps
        there = residuals(trials.reshape(-1, size)).reshape(len(live), len(_LADDER), -1)
        trial_costs = _half_squares(there)
        pick = np.argmin(trial_costs, axis=1)
        rows = np.arange(len(live))
        better = trial_costs[rows, pick] <= costs[live]
        scale = np.maximum(np.abs(points[live]), 1e-300 if relative_difference else 1.0)
        tiny = np.max(np.abs(steps[rows, pick]) / scale, axis=1) < small
        settled[live] |= tiny
        damp[live] = np.clip(np.where(better, tried[rows, pick] / 3.0, damp[live] * 1e3), 1e-14, 1e12)
        won = live[better]
        points[won], current[won] = trials[rows, pick][better], there[rows, pick][better]
        costs[won] = trial_costs[rows, pick][better]
        if len(won):
            jacobians[won] = _slopes(residuals, points[won], current[won], difference, relative_difference, central)
    return Modes(points=points, costs=costs, jacobians=jacobians, settled=settled)


def _half_squares(residual: Array) -> Array:
    total = 0.5 * np.sum(residual**2, axis=-1)
    return np.where(np.isfinite(total), total, np.inf)


def _step(jacobian: Array, residual: Array, damp: float) -> Array:
    # Solved as a stacked least-squares problem: squaring the matrix would halve the digits.
    scale = np.sqrt(np.sum(jacobian**2, axis=0))
    scale[scale == 0.0] = 1.0
    stacked = np.vstack([jacobian / scale, np.sqrt(damp) * np.eye(len(scale))])
    target = np.concatenate([-residual, np.zeros(len(scale))])
    return np.asarray(np.linalg.lstsq(stacked, target, rcond=None)[0] / scale)


def _slopes(residuals: Residuals, points: Array, current: Array, difference: float, relative: bool, central: bool) -> Array:
    count, size = points.shape
    shift = difference * np.maximum(np.abs(points), 1e-12) if relative else np.full_like(points, difference)
    moved = points[:, None, :] + shift[:, :, None] * np.eye(size)[None]
    ahead = residuals(moved.reshape(-1, size)).reshape(count, size, -1)
    if central:
        moved = points[:, None, :] - shift[:, :, None] * np.eye(size)[None]
        behind = residuals(moved.reshape(-1, size)).reshape(count, size, -1)
        slopes = (ahead - behind) / (2.0 * shift[:, :, None])
    else:
        slopes = (ahead - current[:, None, :]) / shift[:, :, None]
    slopes[~np.isfinite(slopes)] = 0.0
    return np.asarray(np.swapaxes(slopes, 1, 2))
