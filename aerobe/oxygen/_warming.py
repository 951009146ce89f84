"""The first hours of a closed vessel, in which water and probe come to their temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

LONGEST_H = 6.0  # after which a rise is no warming up any more (common practice, no source)
_TIMES_NOISE = 3.0


def warming_until_h(
    times_h: ArrayLike, oxygen_mg_per_l: ArrayLike, warm_at_h: ArrayLike = (), warm_degc: ArrayLike = ()
) -> float:
    """Until when a sealed vessel's reading rises: nothing brings oxygen in, so the rise is water or probe warming up. [h]

    Parameters
    ----------
    times_h, oxygen_mg_per_l
        The log, shape (n,), times increasing. [h, mg/L]
    warm_at_h, warm_degc
        A log of temperature, where there is one: hours in which it still climbs by more than 0.5 degC count too. [h, degC]

    Returns
    -------
    float
        The time from which the log can be used; its first time where nothing rises.
    """
    times, values = np.asarray(times_h, dtype=float), np.asarray(oxygen_mg_per_l, dtype=float)
    early = times <= times[0] + LONGEST_H
    if early.sum() < 3:
        return float(times[0])
    smooth = np.convolve(np.pad(values[early], 1, mode="edge"), np.ones(3) / 3.0, mode="valid")
    noise = float(np.median(np.abs(np.diff(values)))) / 0.954 if len(values) > 3 else 0.0  # sd of one reading from differences
    peak = int(np.argmax(smooth))
    until = float(times[0])
    if smooth[peak] - smooth[: peak + 1].min() > max(_TIMES_NOISE * noise, 0.02):
        until = float(times[early][peak])
    warm_times, warm = np.asarray(warm_at_h, dtype=float), np.asarray(warm_degc, dtype=float)
    climbing = warm_times <= times[0] + LONGEST_H
    if climbing.sum() > 2:
        settled = float(np.median(warm[warm_times > times[0] + LONGEST_H])) if (~climbing).any() else float(warm[climbing][-1])
        cold = warm_times[climbing][warm[climbing] < settled - 0.5]
        if len(cold):
            until = max(until, float(cold[-1]))
    return until
