"""Oxygen now and ahead, and when it may cross the floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aerobe.inference import Posterior
from aerobe.oxygen import hours_to_floor


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenOutlook:
    """Forecast of dissolved oxygen against the floor.

    Parameters
    ----------
    now_mg_per_l, now_low, now_high
        Median and 90 % interval now. [mg/L]
    lowest_mg_per_l, lowest_at_h
        Median of the lowest value ahead, and of its time. [mg/L, h]
    probability_below
        That it falls below the floor within the next hours looked at. [-]
    crosses_at_h
        Median time of crossing among courses that cross; None if fewer than one in twenty does. [h]
    uptake_mg_per_l_h
        Median uptake now. [mg/L/h]
    holding_time_h, holding_time_low_h
        Time from stopping the air to the floor, median and the time that 95 % of courses exceed. [h]
    """

    floor_mg_per_l: float
    now_mg_per_l: float
    now_low: float
    now_high: float
    lowest_mg_per_l: float
    lowest_at_h: float
    probability_below: float
    crosses_at_h: float | None
    uptake_mg_per_l_h: float
    holding_time_h: float
    holding_time_low_h: float


def oxygen_outlook(posterior: Posterior, now_h: float, floor_mg_per_l: float, *, within_h: float = 24.0) -> OxygenOutlook | None:
    """The outlook from a posterior at a time; None where nothing is known of what takes up oxygen or brings it."""
    if not posterior.oxygen_known:
        return None
    now = posterior.value_at(posterior.oxygen, now_h)
    low, middle, high = np.quantile(now, [0.05, 0.5, 0.95])
    ahead = (posterior.times_h >= now_h - 1e-9) & (posterior.times_h <= now_h + within_h)
    if not ahead.any():
        ahead = posterior.times_h >= posterior.times_h[-1]
    times, oxygen = posterior.times_h[ahead], posterior.oxygen[:, ahead]
    below = oxygen < floor_mg_per_l
    crosses = below.any(axis=1)
    share = float(crosses.mean())
    first = times[np.argmax(below, axis=1)]
    uptake = posterior.value_at(posterior.oxygen_uptake, now_h)
    # A brew that takes up nothing would hold without end, which no answer can be written with.
    holding = hours_to_floor(np.maximum(now, 0.0), np.maximum(uptake, 1e-6), floor_mg_per_l)
    return OxygenOutlook(
        floor_mg_per_l=floor_mg_per_l,
        now_mg_per_l=float(middle),
        now_low=float(low),
        now_high=float(high),
        lowest_mg_per_l=float(np.median(oxygen.min(axis=1))),
        lowest_at_h=float(np.median(times[oxygen.argmin(axis=1)])),
        probability_below=share,
        crosses_at_h=float(np.median(first[crosses])) if share >= 0.05 else None,
        uptake_mg_per_l_h=float(np.median(uptake)),
        holding_time_h=float(np.median(holding)),
        holding_time_low_h=float(np.quantile(holding, 0.05)),
    )
