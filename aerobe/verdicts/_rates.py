"""Counts and shares: lesions on a pot, plants that wilted of those sown. Nothing is a result here, too.

A generalised linear model with log link. Without blocks every arm has the variance that its own pots show, never less than that
of chance alone; with blocks the variance is that of chance times one dispersion, never below one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._core import Effects, fit_effects
from aerobe.verdicts._layout import Layout, padded

Array = NDArray[np.float64]
LEAST_EVENTS = 5.0  # that each arm needs, so that the log of its rate is near enough normal (counted by simulation)


def enough_events(layout: Layout, contrasts: Array, counts: Array, exposure: Array, *, is_share: bool) -> NDArray[np.bool_]:
    """Whether each comparison has enough events (and, for shares, enough of the rest) in its arms, shape (contrasts,)."""
    events = counts @ layout.membership
    rest = (exposure - counts) @ layout.membership if is_share else np.full_like(events, np.inf)
    least = np.minimum(events, rest)
    return np.array([bool((least[np.abs(row) > 1e-12] >= LEAST_EVENTS).all()) for row in contrasts])


def fit_rates(counts: Array, exposure: Array, layout: Layout, contrasts: Array, *, is_share: bool) -> Effects:
    """Log ratios of rates or shares.

    Parameters
    ----------
    counts
        Events of each unit, shape (units,). [-]
    exposure
        What they were counted among: plants for shares, area or 1 for counts, shape (units,). [-]
    layout, contrasts
        As in `fit_effects`.
    is_share
        Whether a count cannot exceed its exposure. [-]

    Returns
    -------
    Effects
        A t distribution for each contrast of logs. [-]

    Source
    ------
    mccullagh-nelder-1989, cochran-1977
    """
    return (
        _blocked(counts, exposure, layout, contrasts, is_share)
        if layout.is_blocked
        else _plain(counts, exposure, layout, contrasts, is_share)
    )


def fit_rates_of_days(counts: Array, exposure: Array, layout: Layout, contrasts: Array, *, is_share: bool) -> Effects:
    """The same from the counts of days that may each have a luck of their own, added up for each arm and day.

    A luck of days multiplies rates, however large, so that the logs of the rates scatter alike: they are compared as other
    outcomes are, and are never taken to be better known than chance allows. Days with few events are left to `fit_rates`.

    Parameters
    ----------
    counts, exposure, layout, contrasts, is_share
        As in `fit_rates`, a unit for each arm and day. [-]

    Source
    ------
    mccullagh-nelder-1989, cochran-1977
    """
    rest = exposure - counts if is_share else np.full_like(counts, np.inf)
    if min(counts.min(), rest.min()) < LEAST_EVENTS:
        return fit_rates(counts, exposure, layout, contrasts, is_share=is_share)
    effects = fit_effects(np.log(counts / exposure), layout, contrasts)
    weights = padded(layout, contrasts) @ layout.inverse
    chance = weights**2 @ (1.0 / counts - (1.0 / exposure if is_share else 0.0))
    return replace(effects, error=np.sqrt(np.maximum(effects.error**2, chance)))


def _plain(counts: Array, exposure: Array, layout: Layout, contrasts: Array, is_share: bool) -> Effects:
    member = layout.membership
    units, events, exposed = member.sum(axis=0), counts @ member, exposure @ member
    rate = np.maximum(events, 0.5) / exposed
    squares = ((counts - exposure * (member @ rate)) ** 2) @ member
    between = squares * units / np.maximum(units - 1.0, 1.0) / exposed**2
    # Where all were affected, half of one more stands for what chance could have left, as it does where none was.
    chance = (events + 0.5) / exposed**2 * (np.maximum(1.0 - rate, 0.5 / exposed) if is_share else 1.0)
    variance = np.maximum(between, chance) / rate**2
    shares = contrasts**2 * variance
    total = shares.sum(axis=1)
    df = total**2 / (shares**2 / np.maximum(units - 1.0, 1.0)).sum(axis=1)
    involved = np.abs(contrasts) > 1e-12
    known = np.array([bool((units[row] >= 2).all()) for row in involved])
    return _effects(contrasts @ np.log(rate), contrasts * variance @ contrasts.T, df, layout, known, variance * units)


def _blocked(counts: Array, exposure: Array, layout: Layout, contrasts: Array, is_share: bool) -> Effects:
    """The fit with blocks, and one dispersion from Pearson's chi-squared."""
    matrix = layout.matrix
    beta, fitted, weight = _reweighted(counts, exposure, matrix, is_share)
    chance = fitted * (1.0 - fitted / exposure) if is_share else fitted
    dispersion = max(1.0, float(((counts - fitted) ** 2 / chance).sum()) / max(layout.df, 1))
    rows = padded(layout, contrasts)
    covariance = dispersion * rows @ np.linalg.pinv(matrix.T @ (weight[:, None] * matrix)) @ rows.T
    df = np.full(len(contrasts), float(max(layout.df, 1)))
    known = np.full(len(contrasts), layout.df >= 1)
    return _effects(rows @ beta, covariance, df, layout, known, np.full(layout.n_arms, dispersion))


def linear_parts(counts: Array, exposure: Array, layout: Layout, *, is_share: bool) -> tuple[Array, Array]:
    """Logs of the rates made linear about the fit of the layout, and the weight of each, shape (units,).

    The weighted sum of squares that the layout leaves of them is Pearson's chi-squared; a finer layout tells how much of it lies
    between its cells.

    Parameters
    ----------
    counts, exposure, layout, is_share
        As in `fit_rates`. [-]

    Source
    ------
    mccullagh-nelder-1989
    """
    _, fitted, weight = _reweighted(counts, exposure, layout.matrix, is_share)
    return np.log(fitted / exposure) + (counts - fitted) / fitted, weight


def _reweighted(counts: Array, exposure: Array, matrix: Array, is_share: bool) -> tuple[Array, Array, Array]:
    """Iteratively reweighted least squares: effects, fitted counts, and the weight of each unit."""
    fitted = np.maximum(counts, 0.5) if not is_share else np.clip(counts, 0.5, exposure - 0.5)
    beta = np.zeros(matrix.shape[1])
    for _ in range(60):
        weight = fitted / (np.maximum(1.0 - fitted / exposure, 1e-3) if is_share else 1.0)
        working = np.log(fitted / exposure) + (counts - fitted) / fitted
        new = np.linalg.pinv(matrix.T @ (weight[:, None] * matrix)) @ (matrix.T @ (weight * working))
        ceiling = exposure * 0.999 if is_share else np.inf
        fitted = np.minimum(exposure * np.exp(np.clip(matrix @ new, -30.0, 30.0)), ceiling)
        change, beta = float(np.abs(new - beta).max()), new
        if change < 1e-10:
            break
    return beta, fitted, fitted / (np.maximum(1.0 - fitted / exposure, 1e-3) if is_share else 1.0)


def _effects(
    estimate: Array, covariance: Array, df: Array, layout: Layout, known: NDArray[np.bool_], arm_variance: Array
) -> Effects:
    variance = np.diag(covariance)
    told = variance > 0.0  # not where rounding leaves less than nothing
    error = np.sqrt(np.where(told, variance, 1.0))
    return Effects(
        estimate=np.asarray(estimate),
        error=error,
        df=np.asarray(df),
        family_df=np.asarray(df),
        correlation=np.where(np.outer(told, told), covariance / np.outer(error, error), np.eye(len(error))),
        known=known & told,
        scatter_df=layout.df,
        scatter=np.asarray(arm_variance.mean()),
        arm_variance=arm_variance,
    )
