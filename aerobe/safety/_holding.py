"""How long a tea keeps its oxygen once the air has stopped."""

from __future__ import annotations

import math

from aerobe.errors import UnusableRecord


def holding_time_h(oxygen_mg_per_l: float, uptake_mg_per_l_per_h: float, floor_mg_per_l: float = 0.0) -> float:
    """How long the oxygen of a tea lasts after the air stops.

    Parameters
    ----------
    oxygen_mg_per_l
        Oxygen when the air stops. [mg/L]
    uptake_mg_per_l_per_h
        Oxygen uptake rate; give the upper end of its interval to be careful. [mg/L/h]
    floor_mg_per_l
        The oxygen that must be left. [mg/L]

    Returns
    -------
    float
        Time until the floor; infinite without uptake. [h]

    Raises
    ------
    UnusableRecord
        If the uptake is below zero.

    Notes
    -----
    Oxygen from the surface is left out, and uptake is taken as steady; the first errs towards caution.

    Source
    ------
    tea-common-practice

    Examples
    --------
    >>> round(holding_time_h(7.0, 10.0) * 60)
    42
    """
    left = max(0.0, oxygen_mg_per_l - floor_mg_per_l)
    if uptake_mg_per_l_per_h < 0.0:
        raise UnusableRecord("An oxygen uptake below zero would make oxygen.", "Check the log it was taken from.")
    return left / uptake_mg_per_l_per_h if uptake_mg_per_l_per_h > 0.0 else math.inf
