"""Several reasonable ways to read one run, and their answers as one: what they disagree in belongs to the interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.oxygen._grid_fit import GridPosterior
from aerobe.statistics import quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class OneModel:
    """What one way of reading makes of a run."""

    name: str
    kla_per_h: float  # median [1/h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixed:
    """The posteriors of several ways of reading a run, each weighed alike.

    None of them can be shown to be the right one from the run alone: a window set a little later, saturation as the table has it
    or as the run shows it, a probe that drifts or does not.
    """

    names: tuple[str, ...]
    posteriors: tuple[GridPosterior, ...]

    def quantile(self, share: float) -> float:
        """Value of kLa below which a share of the mixture lies [1/h]."""
        low = min(float(item.log_kla[0]) for item in self.posteriors)
        high = max(float(item.log_kla[-1]) for item in self.posteriors)
        return float(np.exp(quantile(lambda at: np.mean([item.below(float(at)) for item in self.posteriors]), share, low, high)))

    @property
    def log_sd(self) -> float:
        """Standard deviation of log kLa over the mixture [-]."""
        medians = np.array([np.log(item.quantile(0.5)) for item in self.posteriors])
        within = np.mean([item.log_sd**2 for item in self.posteriors])
        return float(np.sqrt(within + medians.var()))

    @property
    def each(self) -> tuple[OneModel, ...]:
        """The median of each."""
        pairs: Sequence[tuple[str, GridPosterior]] = list(zip(self.names, self.posteriors, strict=True))
        return tuple(OneModel(name=name, kla_per_h=item.quantile(0.5)) for name, item in pairs)
