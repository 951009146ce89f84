"""How many brews it would take: the closed form behind 'can't tell yet' and behind a first guess of a design."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy import special

# Beyond this many brews an arm nobody will brew; the answer is "not this way".
MOST_BREWS = 2000


def power_of_difference(effect_in_sd: float, brews_per_arm: float, *, claim_level: float = 0.95, arms: int = 2) -> float:
    """Chance that two arms of n brews are told apart in the true direction (one tail of the two-sided test).

    Parameters
    ----------
    effect_in_sd
        True difference over the SD of brew means. [-]
    brews_per_arm
        Brews of each arm; need not be whole. [-]
    claim_level
        Level of the two-sided interval that must exclude no difference. [-]
    arms
        Arms of the trial, which share the estimate of the scatter. [-]

    Returns
    -------
    float
        Power. [-]

    Source
    ------
    cohen-1988
    """
    df = arms * (brews_per_arm - 1)
    if df <= 0:
        return 0.0
    bound = float(special.stdtrit(df, 0.5 + claim_level / 2))
    return _upper_noncentral(df, abs(effect_in_sd) * math.sqrt(brews_per_arm / 2), bound)


def _upper_noncentral(df: float, shift: float, bound: float) -> float:
    return 1.0 - float(special.nctdtr(df, shift, bound))


def power_of_sameness(margin_in_sd: float, brews_per_arm: float, *, level: float = 0.90, arms: int = 2) -> float:
    """Chance that the interval of two truly equal arms falls inside the margin. [-]

    Source
    ------
    schuirmann-1987
    """
    df = arms * (brews_per_arm - 1)
    if df <= 0:
        return 0.0
    bound = float(special.stdtrit(df, 0.5 + level / 2))
    root = math.sqrt(2.0 / brews_per_arm)
    # P(|estimate| + bound * s * root < margin), integrated over s by its quantiles.
    steps = (np.arange(400) + 0.5) / 400.0
    scale = np.sqrt(2.0 * special.gammaincinv(df / 2.0, steps) / df)
    room = abs(margin_in_sd) / root - bound * scale
    return float(np.where(room > 0.0, 2.0 * special.ndtr(room) - 1.0, 0.0).mean())


def brews_needed(sd: float, difference: float, *, power: float = 0.8, claim_level: float = 0.95, arms: int = 2) -> int | None:
    """Brews of each arm to tell a true difference, or None if more than anybody would brew.

    Parameters
    ----------
    sd
        SD of brew means (log scale for ratios). [-]
    difference
        True difference, same scale. [-]
    power
        Chance of telling it. [-]
    claim_level
        Level of the two-sided interval that must exclude no difference. [-]
    arms
        Arms of the trial. [-]

    Source
    ------
    cohen-1988
    """
    if difference == 0:
        return None
    return _smallest(lambda n: power_of_difference(difference / sd, n, claim_level=claim_level, arms=arms) >= power)


def brews_needed_for_sameness(sd: float, margin: float, *, power: float = 0.8, arms: int = 2) -> int | None:
    """Brews of each arm to show that two equal arms differ by less than the margin, or None."""
    if margin == 0:
        return None
    return _smallest(lambda n: power_of_sameness(margin / sd, n, arms=arms) >= power)


def _smallest(enough: Callable[[int], bool]) -> int | None:
    low, high = 1, 2
    while not enough(high):
        low, high = high, high * 2
        if low > MOST_BREWS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def best_tests_per_brew(cost_of_brew: float, cost_of_test: float, brew_sd: float, test_sd: float) -> float:
    """Tests of each brew that give the most precise mean for the money; at least one.

    n = sqrt(cost of brew / cost of test * variance of a test / variance between brews).

    Parameters
    ----------
    cost_of_brew
        One more brew without its tests. [money]
    cost_of_test
        One more test. [money]
    brew_sd
        SD between brews (log scale). [-]
    test_sd
        SD between tests of one brew (log scale). [-]

    Returns
    -------
    float
        Tests, not rounded. [-]

    Source
    ------
    cochran-1977
    """
    if brew_sd <= 0 or cost_of_test <= 0:
        return math.inf if test_sd > 0 else 1.0
    return max(1.0, math.sqrt(cost_of_brew / cost_of_test) * test_sd / brew_sd)
