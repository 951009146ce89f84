"""How far apart is far, when several comparisons are looked at together."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

Array = NDArray[np.float64]


def critical_value(level: float, correlation: Array, df: float) -> float:
    """The c for which all |t| of a family lie within c with the given probability.

    One comparison gives the t table, comparisons with one standard give Dunnett's table, all pairs of equally
    replicated arms give the studentised range over the square root of two. Any other family is integrated by a fixed quasi-random
    sequence, good to about 0.01.

    Parameters
    ----------
    level
        Probability that the whole family lies within. [-]
    correlation
        Of the comparisons, shape (comparisons, comparisons). [-]
    df
        Degrees of freedom of the common scatter. [-]

    Returns
    -------
    float
        Critical value. [-]

    Source
    ------
    dunnett-1955, tukey-1949
    """
    matrix = np.round(np.asarray(correlation, dtype=float), 9)
    if matrix.shape[0] == 2 and abs(matrix[0, 1]) > 1.0 - 1e-6:  # one comparison under two names
        return float(special.stdtrit(df, 0.5 + level / 2))
    return _critical(round(level, 9), matrix.tobytes(), matrix.shape[0], round(min(float(df), 1e6), 6))


# Degrees of freedom at which the critical value of a family is worked out; between them its ratio to the t table is smooth.
FAR_OUT = 0.99  # beyond this level families are held by Bonferroni's bound, which is then as good as exact
_DF_NODES = (1.0, 1.25, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 25.0, 60.0, 1e6)


def critical_values(level: float, correlation: Array, df: Array) -> Array:
    """The critical value of a family whose comparisons have a scatter and degrees of freedom each of their own.

    Games and Howell read the studentised range at each comparison's own degrees of freedom, which claims too often with few
    brews: that table lets one scatter serve all. Here each comparison has its own, drawn independently. Interpolated in 1/df, to
    about 1 %.

    Parameters
    ----------
    level
        Probability that the whole family lies within. [-]
    correlation
        Of the comparisons, shape (comparisons, comparisons). [-]
    df
        Of each comparison, any shape. [-]

    Source
    ------
    games-howell-1976
    """
    plain = special.stdtrit(df, 0.5 + level / 2)
    if len(correlation) == 1 or level >= 1.0:
        return np.asarray(plain)
    if level > FAR_OUT:
        return np.asarray(special.stdtrit(df, 1.0 - (1.0 - level) / (2.0 * len(correlation))))
    nodes = np.array(_DF_NODES)
    needed = nodes[max(0, np.searchsorted(nodes, np.min(df), "right") - 1) : np.searchsorted(nodes, np.max(df)) + 1]
    matrix = np.round(np.asarray(correlation, dtype=float), 9)
    ratio = [
        _separate_critical(round(level, 9), matrix.tobytes(), len(matrix), float(node))
        / float(special.stdtrit(node, 0.5 + level / 2))
        for node in needed
    ]
    return np.asarray(plain * np.interp(-1.0 / np.asarray(df), -1.0 / needed, ratio))


@lru_cache(maxsize=512)
def _separate_critical(level: float, packed: bytes, size: int, df: float) -> float:
    """Quantile of the largest |t| where every comparison is divided by a scatter of its own."""
    from scipy.stats import qmc

    matrix = np.frombuffer(packed).reshape(size, size)
    uniform = qmc.Sobol(2 * size, scramble=True, rng=np.random.default_rng(20111)).random_base2(14)
    uniform = np.clip(uniform, 1e-12, 1 - 1e-12)
    value, vector = np.linalg.eigh(matrix)
    normal = special.ndtri(uniform[:, :size]) @ (vector * np.sqrt(np.clip(value, 0.0, None))).T
    scale = np.sqrt(2.0 * special.gammaincinv(df / 2.0, uniform[:, size:]) / df) if df < 5e4 else 1.0
    return float(np.quantile(np.abs(normal / scale).max(axis=1), level))


def adjusted_p(t: float, correlation: Array, df: float) -> float:
    """Probability that the largest |t| of the family reaches this one by chance: the p value of Dunnett and Tukey. [-]

    Source
    ------
    dunnett-1955, tukey-1949
    """
    return float(1.0 - _within(np.round(np.asarray(correlation, dtype=float), 9), float(df))(abs(t)))


@lru_cache(maxsize=512)
def _critical(level: float, packed: bytes, size: int, df: float) -> float:
    matrix = np.frombuffer(packed).reshape(size, size)
    within = _within(matrix, df)
    start = float(special.stdtrit(df, 0.5 + level / 2))
    upper = float(special.stdtrit(df, 1.0 - (1.0 - level) / (2.2 * size))) * 1.02 + 0.01
    if size == 1:
        return start
    return float(optimize.brentq(lambda c: within(c) - level, start * 0.98, upper, xtol=1e-7))


def _within(matrix: Array, df: float) -> Callable[[float], float]:
    """P(all |t| <= c) as a function of c."""
    size = matrix.shape[0]
    if size == 1:
        return lambda c: float(1.0 - 2.0 * special.stdtr(df, -abs(c)))
    arms = _arms_of_all_pairs(matrix)
    if arms:
        return lambda c: _range_within(c, arms, df)
    factor = _single_factor(matrix)
    if factor is not None:
        return lambda c: _factor_within(c, factor, df)
    largest = _largest(matrix, df)
    return lambda c: float(np.interp(c, largest, (np.arange(largest.size) + 0.5) / largest.size, left=0.0, right=1.0))


def _arms_of_all_pairs(matrix: Array) -> int:
    """Number of equally replicated arms if the family is all their pairs in order, else 0."""
    arms = round((1 + np.sqrt(1 + 8 * matrix.shape[0])) / 2)
    if arms * (arms - 1) // 2 != matrix.shape[0]:
        return 0
    rows = all_pairs(arms)
    # The signs matter: three comparisons with a standard have the same sizes of correlation as the pairs of three arms.
    return arms if np.allclose(matrix, rows @ rows.T / 2.0, atol=1e-6) else 0


def all_pairs(arms: int) -> Array:
    """Contrast rows (second minus first) of all pairs of arms, shape (pairs, arms). [-]"""
    rows = []
    for first in range(arms):
        for second in range(first + 1, arms):
            row = np.zeros(arms)
            row[first], row[second] = -1.0, 1.0
            rows.append(row)
    return np.array(rows)


def _range_within(c: float, arms: int, df: float) -> float:
    """P(studentised range <= c sqrt 2): the range of arms normals over an independent root mean square."""
    z, density = _normal_nodes()
    scale, scale_weight = _scales(df)
    reach = c * np.sqrt(2.0) * scale
    inside = special.ndtr(z[:, None]) - special.ndtr(z[:, None] - reach[None, :])
    return float(scale_weight @ (arms * (density[:, None] * inside ** (arms - 1)).sum(axis=0)))


@lru_cache(maxsize=64)
def _scales(df: float) -> tuple[Array, Array]:
    """Nodes and weights over the root mean square of df normals."""
    node, weight = np.polynomial.legendre.leggauss(48)
    if df > 5e4:
        return np.ones(1), np.ones(1)
    probability = 0.5 * (node + 1.0)
    # Substituting p = u^2 (3 - 2u) thins the ends, where the quantile function is steep.
    bent, slope = probability**2 * (3 - 2 * probability), 6 * probability * (1 - probability)
    scale = np.sqrt(2.0 * special.gammaincinv(df / 2.0, bent) / df)
    return scale, 0.5 * weight * slope


def _single_factor(matrix: Array) -> Array | None:
    """Loadings a with correlation a_i a_j off the diagonal, if the family has that shape."""
    size = matrix.shape[0]
    if size == 2:
        root = np.sqrt(abs(matrix[0, 1]))
        return np.array([root, np.sign(matrix[0, 1]) * root])
    if np.any(np.abs(matrix) < 1e-9):
        off = matrix - np.diag(np.diag(matrix))
        return np.zeros(size) if np.allclose(off, 0.0, atol=1e-9) else None
    squared = matrix[0, 1] * matrix[0, 2] / matrix[1, 2]
    if not 0 < squared < 1:
        return None
    first = np.sqrt(squared)
    loading = np.concatenate([[first], matrix[0, 1:] / first])
    fitted = np.outer(loading, loading)
    np.fill_diagonal(fitted, 1.0)
    return loading if np.all(np.abs(loading) < 1) and np.allclose(fitted, matrix, atol=1e-6) else None


def _factor_within(c: float, loading: Array, df: float) -> float:
    scale, scale_weight = _scales(df)
    if not loading.any():  # independent comparisons need no inner integral
        return float(scale_weight @ (2.0 * special.ndtr(c * scale) - 1.0) ** loading.size)
    z, density = _normal_nodes()
    # Comparisons with equal loadings (all of them, with equal replication) are one factor with a power.
    distinct, counts = np.unique(np.round(loading, 9), return_counts=True)
    inside = np.ones((scale.size, z.size))
    for a, count in zip(distinct, counts, strict=True):
        rest = np.sqrt(max(1.0 - a**2, 1e-10))
        reach, shift = c * scale[:, None] / rest, a * z[None, :] / rest
        inside *= (special.ndtr(reach - shift) - special.ndtr(-reach - shift)) ** count
    return float(scale_weight @ (inside @ density))


@lru_cache(maxsize=1)
def _normal_nodes() -> tuple[Array, Array]:
    node, weight = np.polynomial.legendre.leggauss(64)
    z = 8.0 * node
    return z, np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi) * weight * 8.0


def _largest(matrix: Array, df: float) -> Array:
    """Sorted quasi-random values of the largest |t|."""
    t = joint_t(matrix, df, power_of_two=14)
    return np.sort(np.abs(t).max(axis=1))


def joint_t(matrix: Array, df: float, power_of_two: int = 12) -> Array:
    """Quasi-random draws of a joint t with this correlation, always the same ones, shape (draws, comparisons). [-]"""
    from scipy.stats import qmc

    size = matrix.shape[0]
    uniform = qmc.Sobol(size + 1, scramble=True, rng=np.random.default_rng(20111)).random_base2(power_of_two)
    uniform = np.clip(uniform, 1e-12, 1 - 1e-12)
    value, vector = np.linalg.eigh(matrix)
    normal = special.ndtri(uniform[:, :size]) @ (vector * np.sqrt(np.clip(value, 0.0, None))).T
    scale = np.sqrt(2.0 * special.gammaincinv(df / 2.0, uniform[:, size]) / df) if df < 5e4 else np.ones(len(uniform))
    return np.asarray(normal / scale[:, None])
