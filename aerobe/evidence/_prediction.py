"""Where the true effect of a next, similar trial lies, with the spread known only as well as a few trials tell it.

Given the spread, Q(tau2) = sum((y - mean)^2 / (v + tau2)) is chi-squared with one degree of freedom fewer than trials,
whatever the spread: turned round, a chi-squared number gives a spread. That is a confidence distribution of the spread; the
effect of a next trial is averaged over it.
"""

from __future__ import annotations

import numpy as np

from aerobe.evidence._spread import Array, checked
from aerobe.statistics import normal_mixture_quantile

_SPREADS = 120  # points of the confidence distribution of the spread


def prediction_interval(effects: object, variances: object, *, level: float = 0.90) -> tuple[float, float]:
    """The interval that holds the true effect of a next, similar study with probability `level`.

    Parameters
    ----------
    effects, variances
        As in `pool`, shape (studies,). [ln ratio]
    level
        Of the interval. [-]

    Returns
    -------
    tuple of float
        Lower and upper end. [ln ratio]

    Raises
    ------
    NotEnoughData
        With fewer than two studies.

    Source
    ------
    nagashima-noma-furukawa-2019, viechtbauer-2007
    """
    from scipy.stats import chi2

    y, v, _ = checked(effects, variances)
    free = len(y) - 1
    spreads = _spreads(y, v, np.asarray(chi2.ppf((np.arange(_SPREADS) + 0.5) / _SPREADS, free)))
    centre, variance, q = _fits(y, v, spreads)
    error = np.sqrt(variance * np.maximum(1.0, q / free))
    nodes, weight = _t_nodes(free)

    place = (centre[:, None] + error[:, None] * nodes[None, :]).ravel()
    sd = np.repeat(np.maximum(np.sqrt(spreads), 1e-9), nodes.size)
    weights = np.tile(weight, spreads.size) / spreads.size
    low, high = (float(normal_mixture_quantile(share, weights, place, sd)) for share in (0.5 - 0.5 * level, 0.5 + 0.5 * level))
    return low, high


def _fits(y: Array, v: Array, spreads: Array) -> tuple[Array, Array, Array]:
    """Weighted mean, its variance and Q at each spread."""
    weight = 1.0 / (v[None, :] + spreads[:, None])
    total = weight.sum(axis=1)
    centre = (weight @ y) / total
    return centre, 1.0 / total, (weight * (y[None, :] - centre[:, None]) ** 2).sum(axis=1)


def _spreads(y: Array, v: Array, targets: Array) -> Array:
    """The spread at which Q equals each target; zero where Q lies below the target from the start."""
    size = max(float(np.var(y)), float(np.mean(v)), 1e-12)
    grid = np.concatenate([[0.0], size * np.logspace(-6, 6, 481)])
    q = _fits(y, v, grid)[2]
    # Q falls as the spread grows, so its inverse is read off the turned table.
    return np.asarray(np.interp(targets, q[::-1], grid[::-1], left=grid[-1], right=0.0))


def _t_nodes(free: int) -> tuple[Array, Array]:
    """Points and weights that stand for a t distribution: middles of many equally likely slices."""
    from scipy.stats import t

    points = 64
    return np.asarray(t.ppf((np.arange(points) + 0.5) / points, free)), np.full(points, 1.0 / points)
