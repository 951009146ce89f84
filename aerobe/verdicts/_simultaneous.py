"""How far apart is far, when several comparisons are looked at together."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]


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
    return float(np.quantile(_largest(packed, size, df), level))


@lru_cache(maxsize=128)
def _largest(packed: bytes, size: int, df: float) -> Array:
    """The largest |t| of each point: one family is asked about at several levels."""
    matrix = np.frombuffer(packed).reshape(size, size)
    scale = _own_scales(size, df) if df < 5e4 else 1.0
    normal = _scores(size, 2 * size, _POINTS) @ _root(matrix)
    return _kept(np.abs(normal / scale).max(axis=1))


# The points are always the same ones, and what is worked out from them alone serves every family of their size.
_POINTS = 14  # as a power of two


@lru_cache(maxsize=16)
def _uniform(columns: int, power_of_two: int) -> Array:
    from scipy.stats import qmc

    points = qmc.Sobol(columns, scramble=True, rng=np.random.default_rng(20111)).random_base2(power_of_two)
    return _kept(np.clip(points, 1e-12, 1 - 1e-12))


@lru_cache(maxsize=16)
def _scores(size: int, columns: int, power_of_two: int) -> Array:
    return _kept(special.ndtri(_uniform(columns, power_of_two)[:, :size]))


@lru_cache(maxsize=64)
def _own_scales(size: int, df: float) -> Array:
    """The root mean square of df normals for each comparison, shape (points, comparisons)."""
    return _kept(np.sqrt(2.0 * special.gammaincinv(df / 2.0, _uniform(2 * size, _POINTS)[:, size:]) / df))


def _kept(made: Array) -> Array:
    made.setflags(write=False)
    return made


def _root(matrix: Array) -> Array:
    value, vector = np.linalg.eigh(matrix)
    return np.asarray((vector * np.sqrt(np.clip(value, 0.0, None))).T)


def all_pairs(arms: int) -> Array:
    """Contrast rows (second minus first) of all pairs of arms, shape (pairs, arms). [-]"""
    rows = []
    for first in range(arms):
        for second in range(first + 1, arms):
            row = np.zeros(arms)
            row[first], row[second] = -1.0, 1.0
            rows.append(row)
    return np.array(rows)


def joint_t(matrix: Array, df: float, power_of_two: int = 12) -> Array:
    """Quasi-random draws of a joint t with this correlation, always the same ones, shape (draws, comparisons). [-]"""
    size = matrix.shape[0]
    uniform = _uniform(size + 1, power_of_two)
    normal = _scores(size, size + 1, power_of_two) @ _root(matrix)
    scale = np.sqrt(2.0 * special.gammaincinv(df / 2.0, uniform[:, size]) / df) if df < 5e4 else np.ones(len(uniform))
    return np.asarray(normal / scale[:, None])
