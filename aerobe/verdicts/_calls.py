"""From effects to calls: the rule that a verdict and every simulated verdict share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._core import Effects
from aerobe.verdicts._simultaneous import critical_value

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

INTERVAL_LEVEL = 0.90
# A claim of a difference must hold at 95 % in both directions together: at most one false claim in twenty true nulls,
# for the whole family of planned comparisons.
CLAIM_LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Calls:
    """Calls for each contrast, with the intervals they rest on; leading axes are simulated trials."""

    low: Array  # of the interval for this contrast alone
    high: Array
    family_low: Array  # of intervals that hold together for all contrasts
    family_high: Array
    claim_low: Array  # of the interval that a claim rests on
    claim_high: Array
    above: Flags  # told to be above zero
    below: Flags  # told to be below zero
    same: Flags  # told to lie within the margin, whatever its direction


def call_contrasts(
    effects: Effects, margin: float, *, looks: int = 1, family_critical: tuple[float, float] | None = None
) -> Calls:
    """Apply the rule: above or below when the family interval at 95 % excludes zero, same when that at 90 % lies in the margin.

    Parameters
    ----------
    effects
        Posterior of the contrasts. [-]
    margin
        Difference worth having, same scale as the effects, above zero; 0 allows no call of sameness. [-]
    looks
        How often this question has been looked at with accumulating data, this time included; the looks share the allowance
        for a false claim. [-]
    family_critical
        Critical values at the two levels, if they are to differ from those of the family (unplanned comparisons). [-]

    Returns
    -------
    Calls
        Intervals and flags. [-]

    Source
    ------
    schuirmann-1987, dunnett-1955, tukey-1949
    """
    claim = 1.0 - (1.0 - CLAIM_LEVEL) / looks
    centre = effects.mean()
    df = float(effects.scatter_df)
    critical = family_critical or tuple(critical_value(level, effects.correlation, df) for level in (INTERVAL_LEVEL, claim))
    bounds = {level: (effects.quantile((1 - level) / 2), effects.quantile((1 + level) / 2)) for level in (INTERVAL_LEVEL, claim)}
    widened = {}
    for level, c in zip((INTERVAL_LEVEL, claim), critical, strict=True):
        factor = max(1.0, c / float(special.stdtrit(df, 0.5 + level / 2)))
        low, high = bounds[level]
        widened[level] = (centre - (centre - low) * factor, centre + (high - centre) * factor)
    family_low, family_high = widened[INTERVAL_LEVEL]
    claim_low, claim_high = widened[claim]
    return Calls(
        low=bounds[INTERVAL_LEVEL][0],
        high=bounds[INTERVAL_LEVEL][1],
        family_low=family_low,
        family_high=family_high,
        claim_low=claim_low,
        claim_high=claim_high,
        above=claim_low > 0.0,
        below=claim_high < 0.0,
        same=(family_low > -margin) & (family_high < margin) if margin > 0 else np.zeros_like(family_low, dtype=bool),
    )
