"""Posteriors made by hand, for tests of what is decided upon them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.inference import Posterior


def made_posterior(times: ArrayLike, biomass: ArrayLike, oxygen: NDArray[np.float64] | None = None) -> Posterior:
    """A posterior of hand-made courses."""
    bacteria = np.asarray(biomass, float)
    shape = bacteria.shape
    return Posterior(
        times_h=np.asarray(times, float),
        bacteria=bacteria,
        fungi=np.zeros(shape),
        oxygen=np.full(shape, 7.0) if oxygen is None else oxygen,
        oxygen_uptake=np.full(shape, 5.0),
        scores=np.zeros((shape[0], 18)),
        gains=np.ones((shape[0], 0)),
        biases=np.zeros((shape[0], 0)),
        assays=(),
        settled=True,
        effective=1000.0,
        khat=0.1,
        log_evidence=0.0,
        notes=(),
        surprise=0.0,
        seed=1,
        model_runs=0,
    )
