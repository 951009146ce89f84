"""Posterior of a transfer coefficient on a grid: nothing is sampled, so the same log always gives the same interval.

Given the transfer coefficient, the probe's lag and the memory of its noise, the model is linear. Those three and the size of the
noise go on a grid; everything linear is integrated in closed form. Neighbouring readings of a probe err alike, so the noise is an
Ornstein-Uhlenbeck process: an interval that took each reading as fresh evidence would come out far too narrow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Design = Callable[[Array, Array], Array]  # (kla (g,), lag (g,)) -> (g, n, p)

_MEMORY_STEPS = (0.0, 0.7, 1.5, 3.0, 6.0, 12.0)  # correlation time of the noise in reading intervals
_NOISE_FACTORS = np.exp(np.linspace(np.log(0.6), np.log(5.0), 9))
_LAG_NODES, _LAG_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """Gaussian knowledge of the linear coefficients before the run; an infinite deviation means none."""

    mean: Array  # (p,)
    sd: Array  # (p,)


@dataclass(frozen=True, slots=True, kw_only=True)
class GridPosterior:
    """Marginal of log kLa on a grid, and mean and standard deviation of each linear coefficient."""

    log_kla: Array  # (g,) increasing
    density: Array  # (g,) integrates to one over log kLa
    mean: Array  # (p,)
    sd: Array  # (p,)
    noise: float  # standard deviation of a reading [mg/L]

    def quantile(self, share: float) -> float:
        """Value of kLa below which a share of the posterior lies [1/h]."""
        return float(np.exp(np.interp(share, self._shares, self.log_kla)))

    def below(self, log_kla: float) -> float:
        """The share of the posterior below a value of log kLa [-]."""
        return float(np.interp(log_kla, self.log_kla, self._shares))

    @property
    def _shares(self) -> Array:
        steps = np.diff(self.log_kla) * 0.5 * (self.density[1:] + self.density[:-1])
        total = np.concatenate([[0.0], np.cumsum(steps)])
        return np.asarray(total / total[-1])

    @property
    def log_sd(self) -> float:
        """Standard deviation of log kLa [-]."""
        weight = self.density / self.density.sum()
        centre = float((weight * self.log_kla).sum())
        return float(np.sqrt((weight * (self.log_kla - centre) ** 2).sum()))


def fit_on_grid(
    times_h: Array, values: Array, design: Design, prior: Prior, *, lag_h: float, lag_log_sd: float, k_low: float, k_high: float
) -> GridPosterior:
    """Posterior of log kLa (flat prior within `k_low` to `k_high`) from one log.

    Parameters
    ----------
    times_h, values
        The readings, shape (n,). [h, mg/L]
    design
        Columns of the linear model for arrays of kLa and lag.
    prior
        Of the linear coefficients.
    lag_h, lag_log_sd
        Time constant of the probe [h] and its standard uncertainty on the log scale [-].
    k_low, k_high
        Range searched. [1/h]
    """
    lags = lag_h * np.exp(lag_log_sd * _LAG_NODES) if lag_h > 0.0 and lag_log_sd > 0.0 else np.array([lag_h])
    weights = _LAG_WEIGHTS / _LAG_WEIGHTS.sum() if len(lags) > 1 else np.ones(1)
    grid = np.linspace(np.log(k_low), np.log(k_high), 36)
    for _ in range(5):
        joint, means, variances, noises = _evidence(times_h, values, design, prior, np.exp(grid), lags, weights)
        marginal = np.logaddexp.reduce(joint.reshape(len(grid), -1), axis=1)
        kept = np.flatnonzero(marginal > marginal.max() - 11.0)
        low, high = grid[max(kept[0] - 1, 0)], grid[min(kept[-1] + 1, len(grid) - 1)]
        if len(kept) >= 18:
            break
        grid = np.linspace(low, high, 36)
    weight = np.exp(joint - joint.max())
    weight /= weight.sum()
    mean = np.einsum("krsm,krsmp->p", weight, means)
    spread = np.einsum("krsm,krsmp->p", weight, variances + (means - mean) ** 2)
    density = np.exp(marginal - marginal.max())
    density /= np.trapezoid(density, grid)
    noise = float(np.exp((weight.sum(axis=(0, 1, 2)) * np.log(noises)).sum()))
    return GridPosterior(log_kla=grid, density=density, mean=mean, sd=np.sqrt(spread), noise=noise)


def _evidence(
    times_h: Array, values: Array, design: Design, prior: Prior, kla: Array, lags: Array, lag_weights: Array
) -> tuple[Array, Array, Array, Array]:
    """Log evidence, conditional means and variances over the grid (kla, lag, memory, noise), and the noise values."""
    cells_k, cells_lag = (part.ravel() for part in np.meshgrid(kla, lags, indexing="ij"))
    columns = design(cells_k, cells_lag)
    steps = np.diff(times_h)
    memories = np.array(_MEMORY_STEPS) * np.median(steps)
    memories = memories[memories <= (times_h[-1] - times_h[0]) / 4.0]
    gram, cross, square, logdet = _whitened(columns, values, steps, memories)
    noises = _noise_scale(gram[:, 0], cross[:, 0], square[0], len(values), prior) * _NOISE_FACTORS
    precision = np.where(np.isfinite(prior.sd), prior.sd**-2.0, 1e-12)
    inner = gram[:, :, None] / noises[:, None, None] ** 2 + np.diag(precision)
    right = cross[:, :, None] / noises[:, None] ** 2 + precision * prior.mean
    inverse = np.linalg.inv(inner)
    means = np.einsum("crmij,crmj->crmi", inverse, right)
    fit = square[None, :, None] / noises**2 + (precision * prior.mean**2).sum() - np.einsum("crmi,crmi->crm", right, means)
    evidence = -0.5 * fit - 0.5 * np.linalg.slogdet(inner)[1] - len(values) * np.log(noises) - 0.5 * logdet[None, :, None]
    shape = (len(kla), len(lags), len(memories), len(noises))
    evidence = evidence.reshape(shape) + np.log(lag_weights)[None, :, None, None]
    size = columns.shape[2]
    variances = np.diagonal(inverse, axis1=-2, axis2=-1)
    return evidence, means.reshape(*shape, size), variances.reshape(*shape, size), noises


def _whitened(columns: Array, values: Array, steps: Array, memories: Array) -> tuple[Array, Array, Array, Array]:
    """X'R^-1 X, X'R^-1 y, y'R^-1 y and log|R| for each memory of the noise."""
    gram, cross, square, logdet = [], [], [], []
    for memory in memories:
        keep = np.exp(-steps / memory) if memory > 0.0 else np.zeros_like(steps)
        scale = 1.0 / np.sqrt(1.0 - keep**2)
        x = np.concatenate([columns[:, :1], (columns[:, 1:] - keep[:, None] * columns[:, :-1]) * scale[:, None]], axis=1)
        y = np.concatenate([values[:1], (values[1:] - keep * values[:-1]) * scale])
        transposed = np.swapaxes(x, 1, 2)
        gram.append(transposed @ x)
        cross.append(transposed @ y)
        square.append(float(y @ y))
        logdet.append(float(np.log1p(-(keep**2)).sum()))
    return np.stack(gram, axis=1), np.stack(cross, axis=1), np.array(square), np.array(logdet)


def _noise_scale(gram: Array, cross: Array, square: float, count: int, prior: Prior) -> float:
    """Residual standard deviation at the best cell of a plain least-squares fit: the middle of the noise grid."""
    ridge = gram + 1e-9 * np.eye(gram.shape[-1]) * np.trace(gram, axis1=1, axis2=2)[:, None, None]
    left = square - np.einsum("ci,ci->c", cross, np.linalg.solve(ridge, cross[..., None])[..., 0])
    free = max(count - len(prior.mean) - 1, 1)
    return float(np.sqrt(max(left.min(), 1e-8 * square + 1e-12) / free))
