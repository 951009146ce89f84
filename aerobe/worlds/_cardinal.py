"""Growth between cardinal temperatures (rosso-1993), for the worlds that use it."""

from __future__ import annotations

import numpy as np

from aerobe.worlds._law import Array

COLDEST, BEST, HOTTEST = 4.0, 33.0, 42.0  # of mesophilic soil bacteria, assumed [degC]


def cardinal(degc: Array, coldest: float = COLDEST, best: float = BEST, hottest: float = HOTTEST) -> Array:
    """Growth rate over that at the best temperature, 0 outside the limits. [-]

    Source
    ------
    rosso-1993
    """
    c = np.clip(degc, coldest, hottest)
    top = (c - hottest) * (c - coldest) ** 2
    under = (best - coldest) * ((best - coldest) * (c - best) - (best - hottest) * (best + coldest - 2.0 * c))
    return np.asarray(np.maximum(top / under, 0.0))
