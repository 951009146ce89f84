"""How far a brew strays from any law: its net growth rate wanders, and the course with it.

The log of living mass is a law's course plus d(t), where d' = r - d / forgetting, and r is an Ornstein-Uhlenbeck deviation
of the net growth rate (uhlenbeck-ornstein-1930) of some size and memory; d starts at nought. Near a reading the readings
rule, far ahead the law does, with a spread that stays bounded because old deviations are forgotten.

All this runs on a clock of its own: rates stray in proportion to how fast a brew lives, so the clock runs with the warmth of the
water and slows as the brew ages, from growth at tenths an hour to decay at hundredths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FORGETTING_H = 30.0  # deviations of biomass fade over this: food left over is eaten later [h]; tuned on brews of foreign laws
RATIO_SHARE = 0.5  # the log of fungi over bacteria wanders by this much of what biomass does [-]; assumed


@dataclass(frozen=True, slots=True, kw_only=True)
class Wander:
    """One size and memory of the deviation, with the belief in it before any reading.

    Parameters
    ----------
    size_per_h
        Standard deviation of the net growth rate about its law. [1/h]
    memory_h
        How long a deviation of the rate lasts. [h]
    belief
        Prior probability. [-]
    """

    size_per_h: float
    memory_h: float
    belief: float


GROWTH_MINIMUM_DEGC = -7.0  # of the warmth that drives the clock, the centre of the prior
YOUNG_H = 18.0  # how long a brew at 20 degC lives fast [h]; tuned likewise
OLD_PACE = 0.2  # pace of the clock of an old brew over that of a young one [-]; tuned likewise

# Sizes between a law that is all but right and one that is a rough guide; the readings of a brew choose among them.
WANDERS = (
    Wander(size_per_h=0.005, memory_h=8.0, belief=0.4),
    Wander(size_per_h=0.02, memory_h=8.0, belief=0.4),
    Wander(size_per_h=0.05, memory_h=8.0, belief=0.2),
)


def wander_clock(times_h: Array, warmth: Array) -> Array:
    """Hours of the wander's clock at output times; `warmth` is the pace of growth there relative to 20 degC. Shapes (times,)."""
    warm = np.concatenate([[0.0], np.cumsum(np.diff(times_h) * 0.5 * (warmth[1:] + warmth[:-1]))])
    return np.asarray((1.0 - OLD_PACE) * YOUNG_H * (1.0 - np.exp(-warm / YOUNG_H)) + OLD_PACE * warm)


def wander_covariance(first_h: Array, second_h: Array, wander: Wander, *, forgetting_h: float = FORGETTING_H) -> Array:
    """Covariance of d between two sets of times, shape (first, second). [-]

    Without forgetting its variance is 2 s^2 tau^2 (t/tau - 1 + exp(-t/tau)), that of an integrated Ornstein-Uhlenbeck process.

    Source
    ------
    uhlenbeck-ornstein-1930
    """
    a, k = 1.0 / wander.memory_h, 1.0 / forgetting_h
    if abs(a - k) < 1e-6 * a:
        # The limit of equal rates is finite; a hair off it is the same to every digit that matters.
        k *= 1.0 - 1e-4
    low = np.minimum(first_h[:, None], second_h[None, :])
    gap = np.abs(first_h[:, None] - second_h[None, :])
    both = a + k
    same = 2.0 / both * ((1.0 - np.exp(-2.0 * k * low)) / (2.0 * k) - (np.exp(-both * low) - np.exp(-2.0 * k * low)) / (k - a))
    later = (1.0 - np.exp(-both * low)) / both * (np.exp(-a * gap) - np.exp(-k * gap)) / (k - a)
    return np.asarray(wander.size_per_h**2 * (np.exp(-k * gap) * same + later))
