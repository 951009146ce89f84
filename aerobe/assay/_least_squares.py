"""Straight and curved lines by least squares, with their covariance: the base of calibration, linearity and colour."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import Floats, finite, t_quantile
from aerobe.errors import NotEnoughData


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Coefficients, their covariance, and what is left over."""

    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residual_sd: float
    residual_df: int
    residual_sum_of_squares: float

    def sd(self, place: int) -> float:
        """Standard uncertainty of one coefficient."""
        return math.sqrt(max(0.0, self.covariance[place][place]))

    def at(self, row: Sequence[float]) -> tuple[float, float]:
        """Value and standard uncertainty of a combination of the coefficients, covariance included."""
        vector = np.asarray(row, dtype=float)
        return float(vector @ self.coefficients), math.sqrt(max(0.0, float(vector @ np.asarray(self.covariance) @ vector)))

    def interval(self, row: Sequence[float], level: float = 0.9) -> tuple[float, float]:
        """Student interval of that combination."""
        value, spread = self.at(row)
        wide = t_quantile(level, self.residual_df) * spread
        return value - wide, value + wide


def least_squares(design: Floats, response: Iterable[float], weights: Iterable[float] | None = None) -> Fit:
    """Weighted least squares by QR of the column-scaled design, with one step of refinement.

    Parameters
    ----------
    design
        Shape (readings, coefficients).
    response
        Shape (readings,).
    weights
        Inverse variances up to one common factor, shape (readings,).

    Raises
    ------
    NotEnoughData
        If there are no readings left over to judge the scatter, or two columns say the same.
    """
    x = np.asarray(design, dtype=float)
    y = finite(response, "readings", at_least=1)
    root = np.ones_like(y) if weights is None else np.sqrt(finite(weights, "weights"))
    n, p = x.shape
    if n <= p:
        raise NotEnoughData(
            f"{n} readings cannot fit {p} coefficients and show their scatter.",
            f"Add readings: at least {p + 1}, better {2 * p + 2}.",
        )
    x, y = x * root[:, None], y * root
    scale = np.linalg.norm(x, axis=0)
    if np.any(scale == 0):
        raise NotEnoughData("One effect has no readings that differ.", "Vary it: use at least two levels, one of them not zero.")
    q, r = np.linalg.qr(x / scale)
    if np.abs(np.diag(r)).min() < 1e-13:
        raise NotEnoughData("Two effects cannot be told apart in these readings.", "Vary them separately, or leave one out.")
    beta = np.linalg.solve(r, q.T @ y)
    beta = beta + np.linalg.solve(r, q.T @ (y - (x / scale) @ beta))
    residual = y - (x / scale) @ beta
    rss = math.fsum(residual * residual)
    inverse = np.linalg.inv(r)
    covariance = rss / (n - p) * (inverse @ inverse.T) / np.outer(scale, scale)
    return Fit(
        coefficients=tuple(map(float, beta / scale)),
        covariance=tuple(tuple(map(float, row)) for row in covariance),
        residual_sd=math.sqrt(rss / (n - p)),
        residual_df=n - p,
        residual_sum_of_squares=rss,
    )


def polynomial(
    x: Iterable[float], y: Iterable[float], degree: int, *, through_zero: bool = False, weights: Iterable[float] | None = None
) -> Fit:
    """A polynomial in x: coefficients from the constant upwards (the constant left out when `through_zero`)."""
    levels = finite(x, "levels")
    powers = range(1 if through_zero else 0, degree + 1)
    return least_squares(np.column_stack([levels**power for power in powers]), y, weights)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """A straight line from known level to signal, used backwards.

    Source
    ------
    miller-miller-2010
    """

    fit: Fit
    mean_signal: float
    sum_of_squares: float  # of the levels about their mean
    n: int

    @property
    def intercept(self) -> float:
        """Signal at level zero."""
        return self.fit.coefficients[0]

    @property
    def slope(self) -> float:
        """Signal per unit of level."""
        return self.fit.coefficients[1]

    def level_at_zero_signal(self) -> tuple[float, float]:
        """Where the line meets signal zero, as a positive level: the answer of a standard addition."""
        spread = (
            self.fit.residual_sd
            / abs(self.slope)
            * math.sqrt(1 / self.n + self.mean_signal**2 / (self.slope**2 * self.sum_of_squares))
        )
        return self.intercept / self.slope, spread


def calibrate(levels: Iterable[float], signals: Iterable[float]) -> Calibration:
    """A straight calibration line.

    Raises
    ------
    NotEnoughData
        If fewer than three points or a single level are given, or the signal does not follow the level.
    """
    x, y = finite(levels, "levels", at_least=3), finite(signals, "signals", at_least=3)
    if x.size != y.size:
        raise NotEnoughData(f"{x.size} levels but {y.size} signals.", "Give one signal for each level.")
    fit = polynomial(x, y, 1)
    if abs(fit.coefficients[1]) * float(np.ptp(x)) <= 1e-12 * float(abs(y).max()):  # what rounding leaves of a flat line
        raise NotEnoughData("The signal does not change with the level.", "Check the standards; a flat line measures nothing.")
    return Calibration(
        fit=fit,
        mean_signal=float(y.mean()),
        sum_of_squares=float(((x - x.mean()) ** 2).sum()),
        n=x.size,
    )
