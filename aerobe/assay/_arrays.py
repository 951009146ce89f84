"""The array type of this room and the checks that every calculation shares."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotEnoughData, UnusableReading

Floats = NDArray[np.float64]


def finite(values: Iterable[float], what: str, *, at_least: int = 1) -> Floats:
    """Values as an array, all finite and enough of them.

    Raises
    ------
    UnusableReading
        If one is not a number.
    NotEnoughData
        If there are fewer than `at_least`.
    """
    array = np.asarray(list(values), dtype=float)
    if not np.all(np.isfinite(array)):
        raise UnusableReading(
            f"{what} contain a value that is not a number.", "Leave missing values out instead of entering a dash."
        )
    if array.size < at_least:
        raise NotEnoughData(
            f"{array.size} {what} given; {at_least} are needed." if array.size else f"No {what} given; {at_least} are needed.",
            "One reading alone says nothing about its own error: repeat the test and enter each reading.",
        )
    return array


def confidence(level: float) -> float:
    """A two-sided level as it should be: a fraction such as 0.9."""
    if not 0.5 <= level < 1.0:
        raise UnusableReading(
            f"A confidence level of {level:g} is not usable.", "Give a fraction from 0.5 to below 1, for example 0.9."
        )
    return level


def normal_quantile(level: float) -> float:
    """The two-sided normal quantile: 1.645 for 0.9."""
    from scipy.special import ndtri

    return float(ndtri(0.5 + confidence(level) / 2))


def t_quantile(level: float, df: float) -> float:
    """The two-sided Student quantile; infinite degrees of freedom give the normal one."""
    from scipy.special import stdtrit

    if not math.isfinite(df):
        return normal_quantile(level)
    return float(stdtrit(df, 0.5 + confidence(level) / 2))
