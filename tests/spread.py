"""Brews of their own: what results scatter by where a test wants them near a value, every arm with a pattern of its own."""

from __future__ import annotations

import numpy as np


def spread(arm: int, brews: int, log_sd: float) -> list[float]:
    """Factors of the brews of an arm: drawn normally, then centred so that their logs have mean nought and just this SD.

    Two arms differ in their pattern as real ones do: results that repeat another arm's pattern are held for a copy of it.

    Parameters
    ----------
    arm
        Counted from 0; each has its own pattern.
    brews
        Two or more.
    log_sd
        SD of the logs. [-]
    """
    drawn = np.random.default_rng((arm, brews, 8)).normal(size=brews)
    away = drawn - drawn.mean()
    return [float(factor) for factor in np.exp(log_sd * away / away.std(ddof=1))]
