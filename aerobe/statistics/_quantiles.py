"""Quantiles of what is known by its share below each value, such as a mixture of several answers."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
_HALVINGS = 60  # of the bracket: to the last digit of a float
_REACH = 9.0  # standard deviations from each part: beyond them lies less than any share asked for


def quantile(below: Callable[[Array], ArrayLike], share: float, low: ArrayLike, high: ArrayLike) -> Array:
    """The value below which a share lies, by halving; for many distributions at once where the ends are arrays.

    Parameters
    ----------
    below
        The share below each value, same shape as the ends; it rises. [-]
    share
        Asked for, 0 to 1. [-]
    low, high
        Ends between which the value lies, any shape; what lies outside gives the nearer end. [unit of the value]

    Returns
    -------
    array
        Shape of the ends. [unit of the value]

    Examples
    --------
    >>> float(quantile(lambda at: at**2, 0.25, 0.0, 1.0))
    0.5
    """
    lower, upper = np.broadcast_arrays(np.asarray(low, dtype=float), np.asarray(high, dtype=float))
    for _ in range(_HALVINGS):
        middle = 0.5 * (lower + upper)
        short = np.asarray(below(middle)) < share
        lower, upper = np.where(short, middle, lower), np.where(short, upper, middle)
    return np.asarray(0.5 * (lower + upper))


def normal_mixture_below(at: ArrayLike, weight: Array, mean: Array, sd: Array) -> Array:
    """The share of a mixture of normal parts that lies below a value.

    Parameters
    ----------
    at
        The value, one or shape (n,). [unit of the mean]
    weight
        Of each part, shape (parts,); they add up to one. [-]
    mean, sd
        Of each part, shape (parts,) or (parts, n). [unit of the mean]

    Returns
    -------
    array
        One share, or shape (n,). [-]
    """
    from scipy.special import ndtr

    return np.asarray(weight @ ndtr((np.asarray(at) - mean) / sd))


def normal_mixture_quantile(share: float, weight: Array, mean: Array, sd: Array) -> Array:
    """The value below which a share of a mixture of normal parts lies.

    Parameters
    ----------
    share
        Asked for, above 0 and below 1. [-]
    weight, mean, sd
        As in `normal_mixture_below`. [-]

    Returns
    -------
    array
        One value, or shape (n,). [unit of the mean]

    Examples
    --------
    >>> round(float(normal_mixture_quantile(0.95, np.ones(1), np.zeros(1), np.ones(1))), 4)
    1.6449
    """
    low, high = (mean - _REACH * sd).min(axis=0), (mean + _REACH * sd).max(axis=0)
    return quantile(lambda at: normal_mixture_below(at, weight, mean, sd), share, low, high)
