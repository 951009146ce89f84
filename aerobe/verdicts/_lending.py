"""When the arms of a trial may lend each other what they know of the scatter, without a noisy one being believed.

With three or four brews an arm hardly knows its own scatter. Two remedies, both counted over 100,000 trials of each kind:

* Two equally replicated arms of four brews or more whose variances look alike are given the degrees of freedom of the common
  scatter (its size is the same): false claims stay under 6 % for SDs of any ratio, and 1.5 of the 4 points of power come back
  that Welch's comparison of four brews loses.
* Several arms: a contrast takes the wider of its own and the common scatter. Where the common one is the wider, or nearly so, the
  degrees of freedom are those of all arms, in the main. Nothing is lent once one arm stands out of the others.

For two arms of three brews no rule that stays under 6 % for every ratio of the SDs gains more than a point over Welch's (a linear
programme over all rules that look at the ratio of the two variances); for two brews none gains anything.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]
LOOK_ALIKE = 1.4  # of Welch's degrees of freedom over those of one arm, 2 at most: beyond it two variances look alike [-]
STANDS_OUT = 0.05  # chance that one of several arms that scatter alike is taken for a noisy one [-]
LEAST_BREWS = 3  # of every arm that lends
MOST_UNEVEN = 2.0  # brews of the largest arm over those of the smallest
TRUST, LESS_TRUST = 0.75, 0.5  # weight of the common degrees of freedom in the geometric mean (counted)
NEARLY = 1.2  # own over common variance up to which the common degrees of freedom serve, from four brews an arm on (counted)


@dataclass(frozen=True, slots=True)
class Lending:
    """What is lent in one layout, by the number of brews and arms alone."""

    counts: Array  # brews of each arm
    blocked: bool
    df: int  # of the common scatter

    @property
    def between_two(self) -> bool:
        """Whether two like arms may share their degrees of freedom."""
        return len(self.counts) == 2 and not self.blocked and self.counts[0] == self.counts[1] > LEAST_BREWS

    @property
    def between_several(self) -> bool:
        """Whether several arms may lend each other their scatter; blocks of three arms leave too little to see a noisy one."""
        enough = self.counts.min() >= LEAST_BREWS and self.counts.max() <= MOST_UNEVEN * self.counts.min()
        return bool(len(self.counts) > (3 if self.blocked else 2) and enough)

    def lend(self, variance: Array, df: Array, arm_variance: Array, common: Array) -> tuple[Array, Array]:
        """Variance and degrees of freedom of each contrast once what may be lent is.

        Parameters
        ----------
        variance, df
            Of each contrast by its own arms, shape (..., contrasts). [-]
        arm_variance
            Of each arm, shape (..., arms). [-]
        common
            Variance of each contrast if all arms scatter alike, shape (..., contrasts). [-]

        Source
        ------
        welch-1947, cochran-1941
        """
        if self.between_two:
            alike = df > LOOK_ALIKE * (self.counts[0] - 1.0)
            return variance, np.where(alike, float(self.df), df)
        if not self.between_several:
            return variance, df
        few = self.counts.min() < 4
        trust = LESS_TRUST if self.blocked and few else TRUST
        near = variance <= (1.0 if few or self.blocked else NEARLY) * common
        lent = ~self._one_stands_out(arm_variance)[..., None]
        shared = np.maximum(df, float(self.df)) ** trust * df ** (1.0 - trust)
        return np.where(lent, np.maximum(variance, common), variance), np.where(lent & near, shared, df)

    def _one_stands_out(self, arm_variance: Array) -> NDArray[np.bool_]:
        """Whether one arm scatters clearly more than the others together, shape (...)."""
        each = (self.counts - 1.0) * self.df / (self.counts - 1.0).sum()
        weighted = arm_variance * each
        others = (weighted.sum(axis=-1, keepdims=True) - weighted) / (self.df - each)
        bound = special.fdtri(each, self.df - each, 1.0 - STANDS_OUT / len(self.counts))
        return np.asarray((arm_variance > bound * others).any(axis=-1))
