"""Where the ways to see a brew disagree: when each would harvest, and what it would lose by the common choice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference import Posterior

Array = NDArray[np.float64]

HEARD = 0.15  # a structure with a smaller share is not asked [-]
LARGE = 0.05  # a structure that would lose more than this by the common choice disagrees [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """The best hours of the structures, first and last, and the most that one of them would lose by the common choice."""

    first_h: float
    last_h: float
    regret: float

    @property
    def is_large(self) -> bool:
        """Whether it matters for a wait."""
        return self.regret > LARGE and self.last_h - self.first_h > 2.0


def disagreement_of(posterior: Posterior, times_h: Array, loss: Array, chosen_h: float) -> Disagreement:
    """Over harvest times ahead; `loss` has shape (draws, times). Without several structures there is none."""
    if posterior.structure is None:
        return Disagreement(first_h=chosen_h, last_h=chosen_h, regret=0.0)
    chosen = int(np.argmin(np.abs(times_h - chosen_h)))
    best, regret = [], [0.0]
    for place in np.unique(posterior.structure):
        mine = posterior.structure == place
        if np.mean(mine) >= HEARD:
            expected = loss[mine].mean(axis=0)
            best.append(float(times_h[int(np.argmin(expected))]))
            regret.append(float(expected[chosen] - expected.min()))
    return Disagreement(first_h=min(best, default=chosen_h), last_h=max(best, default=chosen_h), regret=max(regret))
