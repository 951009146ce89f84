"""The frequentist mixed model that stands beside a verdict: restricted likelihood, with Satterthwaite's degrees of freedom."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotEnoughData
from aerobe.statistics import gaussian_deviance

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class RandomTerm:
    """Coefficients that vary between groups: an intercept (the default) or several covariates with their correlation."""

    name: str
    groups: tuple[str, ...]  # label of each observation
    covariates: Array | None = None  # shape (observations, coefficients); None: an intercept

    def expanded(self) -> Array:
        """Design of all groups' coefficients, coefficients of one group side by side. [-]"""
        labels = sorted(set(self.groups))
        membership = np.array([[group == label for label in labels] for group in self.groups], dtype=float)
        covariates = np.ones((len(self.groups), 1)) if self.covariates is None else self.covariates
        return np.asarray((membership[:, :, None] * covariates[:, None, :]).reshape(len(self.groups), -1))

    @property
    def size(self) -> int:
        """Coefficients for each group. [-]"""
        return 1 if self.covariates is None else int(self.covariates.shape[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedFit:
    """A fitted mixed model."""

    coefficients: Array  # fixed effects [unit of y]
    covariance: Array  # of the fixed effects
    variances: dict[str, Array]  # covariance matrix of each random term [unit of y squared]
    residual_variance: float  # [unit of y squared]
    criterion: float  # -2 log (restricted) likelihood [-]
    df_matrix: tuple[Array, Array]  # Jacobian of the covariance and covariance of the parameters, for df()

    def df(self, contrast: Array) -> float:
        """Satterthwaite's degrees of freedom of a contrast of the fixed effects. [-]

        Source
        ------
        satterthwaite-1946
        """
        jacobian, parameter_covariance = self.df_matrix
        variance = float(contrast @ self.covariance @ contrast)
        gradient = np.einsum("i,kij,j->k", contrast, jacobian, contrast)
        return float(2 * variance**2 / (gradient @ parameter_covariance @ gradient))


def fit_mixed(y: Array, fixed: Array, random: Sequence[RandomTerm], *, restricted: bool = True) -> MixedFit:
    """A linear mixed model by restricted (or full) maximum likelihood.

    Parameters
    ----------
    y
        Observations, shape (observations,). [any]
    fixed
        Design of the fixed effects, full rank, shape (observations, effects). [-]
    random
        Terms that vary between groups; nested and crossed groupings are alike. [-]
    restricted
        Restricted likelihood if true, full likelihood if false. [-]

    Raises
    ------
    NotEnoughData
        If there are no more observations than fixed effects.

    Source
    ------
    bates-2015, satterthwaite-1946
    """
    from scipy import optimize

    if len(y) <= fixed.shape[1]:
        raise NotEnoughData("There are no more observations than effects to estimate.", "Add brews, or compare fewer arms.")
    designs = [(term.size, term.expanded()) for term in random]
    start = np.concatenate([_identity(size) for size, _ in designs])
    bounds = [(0.0, None) if on_diagonal else (None, None) for size, _ in designs for on_diagonal in _diagonal(size)]

    products = _products(y, fixed, designs, restricted)

    def criterion(theta: Array) -> float:
        return _solve(theta, products)[0]

    best = optimize.minimize(criterion, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-14, "gtol": 1e-8})
    polished = optimize.minimize(
        criterion,
        best.x,
        method="Nelder-Mead",
        bounds=bounds,
        options={"xatol": 1e-8, "fatol": 1e-10, "maxiter": 1500, "initial_simplex": _simplex(best.x)},
    )
    theta = np.where(np.abs(polished.x) < 1e-7, 0.0, polished.x)
    value, beta, unit, sigma2 = _solve(theta, products)
    variances, position = {}, 0
    for term, (size, _) in zip(random, designs, strict=True):
        factor, position = _factor(theta, position, size)
        variances[term.name] = sigma2 * factor @ factor.T
    return MixedFit(
        coefficients=beta,
        covariance=sigma2 * unit,
        variances=variances,
        residual_variance=sigma2,
        criterion=value,
        df_matrix=_df_matrix(theta, sigma2, products),
    )


def _identity(size: int) -> Array:
    return np.array([float(on) for on in _diagonal(size)])


def _diagonal(size: int) -> list[bool]:
    return [row == column for column in range(size) for row in range(column, size)]


def _simplex(centre: Array) -> Array:
    return np.vstack([centre, *(centre + step for step in 0.02 * np.eye(centre.size) * np.maximum(1.0, np.abs(centre)))])


def _factor(theta: Array, position: int, size: int) -> tuple[Array, int]:
    factor = np.zeros((size, size))
    for column in range(size):
        for row in range(column, size):
            factor[row, column] = theta[position]
            position += 1
    return factor, position


@dataclass(frozen=True, slots=True)
class _Products:
    """Cross products of fixed effects with y (last column) and of the random designs, made once."""

    sizes: tuple[int, ...]
    widths: tuple[int, ...]
    zz: Array
    zx: Array
    xx: Array
    n: int
    restricted: bool

    def factor(self, theta: Array) -> Array:
        """Block-diagonal relative factor of all random coefficients."""
        whole, position, corner = np.zeros_like(self.zz), 0, 0
        for size, width in zip(self.sizes, self.widths, strict=True):
            block, position = _factor(theta, position, size)
            whole[corner : corner + width, corner : corner + width] = np.kron(np.eye(width // size), block)
            corner += width
        return whole


def _products(y: Array, fixed: Array, designs: Sequence[tuple[int, Array]], restricted: bool) -> _Products:
    z = np.hstack([design for _, design in designs])
    x = np.column_stack([fixed, y])
    return _Products(
        tuple(size for size, _ in designs),
        tuple(design.shape[1] for _, design in designs),
        z.T @ z,
        z.T @ x,
        x.T @ x,
        len(y),
        restricted,
    )


def _solve(theta: Array, products: _Products, sigma2: float | None = None) -> tuple[float, Array, Array, float]:
    """Criterion, fixed effects, their unit covariance and the residual variance (profiled out unless given)."""
    factor = products.factor(theta)
    lower = np.linalg.cholesky(np.eye(len(factor)) + factor.T @ products.zz @ factor)
    # Woodbury: only matrices of the size of the random coefficients are factored.
    half = np.linalg.solve(lower, factor.T @ products.zx)
    whole = products.xx - half.T @ half
    information, scores = whole[:-1, :-1], whole[:-1, -1]
    beta = np.linalg.solve(information, scores)
    # Results that do not scatter at all leave nothing but rounding, on either side of zero.
    rss = max(float(whole[-1, -1] - scores @ beta), 1e-14 * float(products.xx[-1, -1]), 1e-300)
    count = products.n - len(beta) if products.restricted else products.n
    profiled = rss / count if sigma2 is None else sigma2
    # The residual variance stands in both determinants; restricted, it is counted once for each free observation.
    value = gaussian_deviance(
        log_det=2.0 * float(np.log(np.diag(lower)).sum()) + count * math.log(profiled),
        rss=rss / profiled,
        count=count,
        log_det_information=float(np.linalg.slogdet(information)[1]) if products.restricted else 0.0,
    )
    return value, beta, np.linalg.inv(information), profiled


def _df_matrix(theta: Array, sigma2: float, products: _Products) -> tuple[Array, Array]:
    """Jacobian of the covariance of the fixed effects, and covariance of the variance parameters, by central differences.

    The last parameter is the residual scatter over its best value, so that the unit of the outcome changes nothing.
    """
    free = np.flatnonzero(theta != 0.0)  # a component at zero is at its bound and carries no information on itself
    at = np.append(theta[free], 1.0)
    step = 1e-3 * np.maximum(np.abs(at), 1e-2)

    def unpack(values: Array) -> tuple[float, Array]:
        whole = theta.copy()
        whole[free] = values[:-1]
        value, _, unit, _ = _solve(whole, products, sigma2=sigma2 * float(values[-1] ** 2))
        return value, sigma2 * values[-1] ** 2 * unit

    moves = np.diag(step)
    jacobian = np.array([(unpack(at + move)[1] - unpack(at - move)[1]) / (2 * move.max()) for move in moves])
    size = at.size
    hessian = np.zeros((size, size))
    for i in range(size):
        for j in range(i, size):
            a, b = moves[i], moves[j]
            corners = unpack(at + a + b)[0] - unpack(at + a - b)[0] - unpack(at - a + b)[0] + unpack(at - a - b)[0]
            hessian[i, j] = hessian[j, i] = corners / (4 * step[i] * step[j])
    value, vector = np.linalg.eigh(hessian)
    keep = value > 1e-8 * value.max()
    return jacobian, np.asarray(2.0 * (vector[:, keep] / value[keep]) @ vector[:, keep].T)
