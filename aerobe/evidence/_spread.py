"""How much studies differ beyond their errors: estimators of the between-study variance.

All work for a design matrix `X`, so that the same code serves a plain pool and a regression on moderators.
Written after the formulas in Viechtbauer 2005 and Veroniki et al. 2016.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.statistics import gaussian_deviance

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Weighted:
    """Weighted least squares with weights 1 / (v + tau2)."""

    beta: Array  # shape (terms,)
    cov: Array  # shape (terms, terms)
    projection: Array  # W - W X (X'WX)^-1 X'W, shape (studies, studies)
    rss: float  # weighted sum of squared residuals
    weights: Array  # shape (studies,)


def weighted_fit(y: Array, v: Array, X: Array, tau2: float) -> Weighted:
    """Coefficients and residuals for a given between-study variance."""
    weights = 1.0 / (v + tau2)
    scaled = X * weights[:, None]
    cov = np.linalg.inv(X.T @ scaled)
    projection = np.diag(weights) - scaled @ cov @ scaled.T
    beta = cov @ (scaled.T @ y)
    return Weighted(beta, np.asarray(cov), np.asarray(projection), float(y @ projection @ y), weights)


def spread(method: str, y: Array, v: Array, X: Array) -> tuple[float, float]:
    """The between-study variance and its standard error.

    Parameters
    ----------
    method
        "REML", "ML", "DL" (DerSimonian-Laird), "PM" (Paule-Mandel, the same as empirical Bayes), "HE" (Hedges),
        "HS" (Hunter-Schmidt), "SJ" (Sidik-Jonkman) or "EE" (equal effects: zero).
    y, v, X
        Effects, their known variances and the design, shapes (studies,), (studies,), (studies, terms). [ln ratio]

    Returns
    -------
    tuple of float
        tau2 and its standard error (nan for EE). [squared unit of y]

    Raises
    ------
    UnusableRecord
        If there is no such estimator.

    Source
    ------
    viechtbauer-2005, viechtbauer-2010
    """
    try:
        estimator = _ESTIMATORS[method]
    except KeyError:
        raise UnusableRecord(f"'{method}' is no estimator of spread.", f"Use one of: {', '.join(_ESTIMATORS)}.") from None
    return estimator(y, v, X)


def _moments(y: Array, v: Array, X: Array, *, base: Array) -> tuple[float, float]:
    """Method of moments with fixed weights `base`: DL for 1/v, HE for equal weights."""
    terms, studies = X.shape[1], len(y)
    scaled = X * base[:, None]
    P = np.diag(base) - scaled @ np.linalg.inv(X.T @ scaled) @ scaled.T
    trace = float(np.trace(P))
    if trace <= 0.0 or studies <= terms:
        return 0.0, math.nan
    PV = P * v[None, :]
    tau2 = max(0.0, (float(y @ P @ y) - float(np.trace(PV))) / trace)
    variance = 2 * np.sum(PV * PV.T) + 4 * tau2 * np.sum(PV * P) + 2 * tau2**2 * np.sum(P * P)
    return tau2, math.sqrt(variance) / trace


def _hunter_schmidt(y: Array, v: Array, X: Array) -> tuple[float, float]:
    fit = weighted_fit(y, v, X, 0.0)
    total = float(np.sum(fit.weights))
    tau2 = max(0.0, (fit.rss - len(y)) / total)
    P = fit.projection
    variance = 2 * (len(y) - X.shape[1]) + 4 * tau2 * float(np.trace(P)) + 2 * tau2**2 * float(np.sum(P * P))
    return tau2, math.sqrt(variance) / total


def _sidik_jonkman(y: Array, v: Array, X: Array) -> tuple[float, float]:
    free = len(y) - X.shape[1]
    start = float(np.var(y))
    if start == 0.0:
        return 0.0, math.nan
    fit = weighted_fit(y, v, X, start)
    tau2 = max(0.0, start * fit.rss / free)
    P = fit.projection
    PV = P * v[None, :]
    variance = (start / free) ** 2 * (2 * np.sum(PV * PV.T) + 4 * tau2 * np.sum(PV * P) + 2 * tau2**2 * np.sum(P * P))
    return tau2, math.sqrt(variance)


def _paule_mandel(y: Array, v: Array, X: Array) -> tuple[float, float]:
    free = len(y) - X.shape[1]
    tau2 = _root_of_q(y, v, X, float(free))
    total = float(np.sum(1.0 / (v + tau2)))
    return tau2, math.sqrt(2.0 * len(y) ** 2 / free) / total


def _root_of_q(y: Array, v: Array, X: Array, target: float) -> float:
    """The tau2 at which the generalised Q statistic equals the target; zero if Q starts below it."""
    from scipy.optimize import brentq

    def gap(tau2: float) -> float:
        return weighted_fit(y, v, X, tau2).rss - target

    if gap(0.0) <= 0.0:
        return 0.0
    high = max(1e-8, float(np.var(y)), float(np.mean(v)))
    while gap(high) > 0.0:
        high *= 4.0
        if high > 1e12:
            raise NotEnoughData("The spread between studies has no upper bound here.", "Pool more studies.")
    return float(brentq(gap, 0.0, high, xtol=1e-14, rtol=1e-14))


def spread_interval(y: Array, v: Array, X: Array, level: float = 0.95) -> tuple[float, float]:
    """Q-profile interval of tau2.

    Source
    ------
    viechtbauer-2007
    """
    from scipy.stats import chi2

    free = len(y) - X.shape[1]
    if free < 1:
        return 0.0, math.inf
    tail = 0.5 * (1.0 - level)
    low = _root_of_q(y, v, X, float(chi2.ppf(1.0 - tail, free)))
    high = _root_of_q(y, v, X, float(chi2.ppf(tail, free)))
    return low, high


def _deviance(y: Array, v: Array, X: Array, tau2: float, restricted: bool) -> float:
    fit = weighted_fit(y, v, X, tau2)
    return gaussian_deviance(
        log_det=float(np.sum(np.log(v + tau2))),
        rss=fit.rss,
        count=len(y) - X.shape[1] if restricted else len(y),
        log_det_information=-float(np.linalg.slogdet(fit.cov)[1]) if restricted else 0.0,
    )


def _maximum(restricted: bool) -> Callable[[Array, Array, Array], tuple[float, float]]:
    def estimate(y: Array, v: Array, X: Array) -> tuple[float, float]:
        tau2 = _highest(y, v, X, restricted)
        fit = weighted_fit(y, v, X, tau2)
        kernel = fit.projection if restricted else np.diag(fit.weights)
        return tau2, math.sqrt(2.0 / float(np.sum(kernel * kernel)))

    return estimate


def _highest(y: Array, v: Array, X: Array, restricted: bool) -> float:
    def slope(tau2: float) -> float:
        fit = weighted_fit(y, v, X, tau2)
        residual = fit.projection @ y
        trace = float(np.trace(fit.projection)) if restricted else float(np.sum(fit.weights))
        return 0.5 * (float(residual @ residual) - trace)

    return most_likely_spread(lambda tau2: _deviance(y, v, X, tau2, restricted), slope, y, v)


def most_likely_spread(deviance: Callable[[float], float], slope: Callable[[float], float], y: Array, v: Array) -> float:
    """The tau2 of the lowest deviance: a coarse look along a grid first, for the curve can have two tops.

    Parameters
    ----------
    deviance, slope
        -2 log likelihood at a tau2, and the slope of the log likelihood there.
    y, v
        Effects and their known variances: they say how large a spread can be. [ln ratio]
    """
    from scipy.optimize import brentq

    size = max(float(np.var(y)), float(np.min(v)), 1e-12)
    grid = np.concatenate([[0.0], size * np.logspace(-5, 2, 57)])
    top = int(np.argmin([deviance(tau2) for tau2 in grid]))
    if top == 0:
        # The grid's next point lies at 1e-5 of the variance: a top between them still shows as a rising slope at zero.
        if slope(0.0) <= 0.0 or slope(grid[1]) >= 0.0:
            return 0.0
        return float(brentq(slope, 0.0, grid[1], xtol=1e-16))
    low, high = grid[top - 1], grid[min(top + 1, len(grid) - 1)]
    if slope(low) <= 0.0 or slope(high) >= 0.0:
        return float(grid[top])
    return float(brentq(slope, low, high, xtol=1e-15, rtol=1e-14))


def _none(y: Array, v: Array, X: Array) -> tuple[float, float]:
    return 0.0, math.nan


_ESTIMATORS: dict[str, Callable[[Array, Array, Array], tuple[float, float]]] = {
    "REML": _maximum(True),
    "ML": _maximum(False),
    "DL": lambda y, v, X: _moments(y, v, X, base=1.0 / v),
    "PM": _paule_mandel,
    "HE": lambda y, v, X: _moments(y, v, X, base=np.ones_like(v)),
    "HS": _hunter_schmidt,
    "SJ": _sidik_jonkman,
    "EE": _none,
}
METHODS = tuple(_ESTIMATORS)


def checked(effects: object, variances: object, moderators: object = None) -> tuple[Array, Array, Array]:
    """Arrays that can be pooled, or a fault that says which study cannot.

    Raises
    ------
    UnusableRecord
        If an effect is not finite, a variance not positive, or a moderator is missing.
    NotEnoughData
        If there are no more studies than terms.
    """
    y, v = np.asarray(effects, dtype=float).ravel(), np.asarray(variances, dtype=float).ravel()
    if y.shape != v.shape:
        raise UnusableRecord(f"{len(y)} effects and {len(v)} variances.", "Give one variance for each effect.")
    X = np.ones((len(y), 1)) if moderators is None else np.column_stack([np.ones(len(y)), np.asarray(moderators, dtype=float)])
    for number, (effect, variance) in enumerate(zip(y, v, strict=True), start=1):
        if not math.isfinite(effect) or not math.isfinite(variance) or variance <= 0.0:
            raise UnusableRecord(
                f"Study {number} has effect {effect:g} and variance {variance:g}.",
                "Effects must be finite and variances positive; leave the study out or mend it.",
            )
        if variance < 1e-12 or variance > 1e6 or abs(effect) > 50.0:
            raise UnusableRecord(
                f"Study {number} has effect {effect:g} and variance {variance:g}: no such ratio was measured.",
                "Check units and whether the effect is the natural log of a ratio.",
            )
    if not np.all(np.isfinite(X)):
        raise UnusableRecord("A study lacks a moderator.", "Leave the study out of the regression, or find the value.")
    if len(y) <= X.shape[1]:
        raise NotEnoughData(
            f"{len(y)} studies cannot carry {X.shape[1]} terms and a spread.", "Collect more trials, or ask for fewer terms."
        )
    if np.linalg.matrix_rank(X) < X.shape[1]:
        raise NotEnoughData(
            "The moderators cannot be told apart in these studies.", "Drop one that is constant or follows another."
        )
    return y, v, X
