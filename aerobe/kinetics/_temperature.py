"""How temperature drives growth, decay and transfer, each relative to 20 degC.

Growth follows the extended square-root law (ratkowsky-1983): the root of the rate rises in a straight line from a
notional minimum and falls off near a maximum. Decay and transfer follow theta ** (T - 20).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GROWTH_MAXIMUM_DEGC = 47.0  # where mesophilic growth ends; E. coli data of ross-2003 reach 47.4 degC
GROWTH_FALL_PER_DEGC = 0.25  # steepness near the maximum; of the order fitted to ross-2003
DECAY_THETA = 1.10  # between 1.04 of many handbooks and 1.12 of the ASM1 pair 0.62/0.20 per day (henze-2000)


def growth_factor(temperature_degc: Array | float, minimum_degc: Array | float) -> Array:
    """Growth rate over that at 20 degC; 0 outside the limits of growth. Shapes broadcast. [-]

    Source
    ------
    ratkowsky-1983
    """

    def root(t: Array | float) -> Array:
        rise = np.maximum(np.asarray(t, float) - minimum_degc, 0.0)
        return rise * np.maximum(1.0 - np.exp(GROWTH_FALL_PER_DEGC * (np.asarray(t, float) - GROWTH_MAXIMUM_DEGC)), 0.0)

    # A minimum at or above 20 degC has no growth at 20 degC to compare with; the divisor only keeps it finite.
    return np.asarray((root(temperature_degc) / np.maximum(root(20.0), 1e-3)) ** 2)


def decay_factor(temperature_degc: Array | float) -> Array:
    """Decay rate over that at 20 degC. [-]"""
    return np.asarray(DECAY_THETA ** (np.asarray(temperature_degc, float) - 20.0))
