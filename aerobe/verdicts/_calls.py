"""From effects to calls: the rule that a verdict and every simulated verdict share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._core import Effects, Reach
from aerobe.verdicts._interim import FULL, Allowance
from aerobe.verdicts._simultaneous import critical_values

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Number = TypeVar("Number", bound=np.generic)

INTERVAL_LEVEL = 0.90
# A claim of a difference must hold at 95 % in both directions together: at most one false claim in twenty true nulls,
# for the whole family of planned comparisons.
CLAIM_LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Calls:
    """Calls for each contrast, with the intervals they rest on; leading axes are simulated trials."""

    low: Array  # of the 90 % interval for this contrast alone
    high: Array
    family_low: Array  # of 90 % intervals that hold together for all contrasts
    family_high: Array
    claim_low: Array  # of the interval that a claim of a difference rests on
    claim_high: Array
    above: Flags  # told to be above zero
    below: Flags  # told to be below zero
    same: Flags  # told to lie within the margin, whatever its direction

    def with_others(self, trials: Flags, others: Calls) -> Calls:
        """These calls, but for some of the simulated trials, whose calls are the others'."""

        def both(own: NDArray[Number], theirs: NDArray[Number]) -> NDArray[Number]:
            made = own.copy()
            made[trials] = theirs
            return made

        return Calls(
            low=both(self.low, others.low),
            high=both(self.high, others.high),
            family_low=both(self.family_low, others.family_low),
            family_high=both(self.family_high, others.family_high),
            claim_low=both(self.claim_low, others.claim_low),
            claim_high=both(self.claim_high, others.claim_high),
            above=both(self.above, others.above),
            below=both(self.below, others.below),
            same=both(self.same, others.same),
        )


def call_contrasts(
    effects: Effects, margin: float, *, allowance: Allowance = FULL, family_correlation: Array | None = None
) -> Calls:
    """Apply the rule: above or below when the family interval excludes zero, same when that for sameness lies in the margin.

    Parameters
    ----------
    effects
        The contrasts. [-]
    margin
        Difference worth having, same scale as the effects, above zero; 0 allows no call of sameness. [-]
    allowance
        Chance of a false claim that this question may spend now; the whole of it if asked once. [-]
    family_correlation
        Correlation of the family that the comparisons must hold with, if it is more than themselves: all pairs of the arms
        where nobody planned which pair to look at. [-]

    Returns
    -------
    Calls
        Intervals and flags. [-]

    Source
    ------
    schuirmann-1987, dunnett-1955, tukey-1949, games-howell-1976
    """
    family = effects.correlation if family_correlation is None else family_correlation

    def within(level: float, *, alone: bool = False) -> tuple[Array, Array]:
        def reach(side: Reach) -> Array:
            wide = special.stdtrit(side.df, 0.5 + level / 2) if alone else critical_values(level, family, side.family_df)
            return np.asarray(side.error * wide)

        low = reach(effects.below)
        return np.asarray(effects.estimate - low), np.asarray(effects.estimate + (reach(effects.above) if effects.sides else low))

    low, high = within(INTERVAL_LEVEL, alone=True)
    family_low, family_high = within(INTERVAL_LEVEL)
    claim_low, claim_high = within(1.0 - allowance.difference)
    same_low, same_high = within(1.0 - 2.0 * allowance.sameness)
    known = effects.known
    return Calls(
        low=low,
        high=high,
        family_low=family_low,
        family_high=family_high,
        claim_low=claim_low,
        claim_high=claim_high,
        above=(claim_low > 0.0) & known,
        below=(claim_high < 0.0) & known,
        same=(same_low > -margin) & (same_high < margin) & known if margin > 0 else np.zeros_like(family_low, dtype=bool),
    )
