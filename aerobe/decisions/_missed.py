"""Looking back at a course: when the harvest would have been best, and what another hour missed; no call."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aerobe.decisions._loss import losses
from aerobe.decisions._plan import Window, window_of
from aerobe.inference import Posterior
from aerobe.records import AimChoice, Costs


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """What a harvest missed of each course's own best: mean and 90 % interval, shares of the attainable. [-]"""

    mean: float
    low: float
    high: float


def best_in_hindsight(posterior: Posterior, aim: AimChoice, costs: Costs) -> Window:
    """Harvest times of the whole course whose expected loss is nearly that of the best, by all that is known."""
    loss = losses(posterior, aim, costs)
    return window_of(posterior.times_h, loss, loss.mean(axis=0))


def missed_by(posterior: Posterior, ended_h: float, aim: AimChoice, costs: Costs) -> Missed:
    """What the harvest at `ended_h` [h] missed."""
    loss = losses(posterior, aim, costs)
    own = posterior.value_at(loss, ended_h) - loss.min(axis=1)
    low, high = np.quantile(own, [0.05, 0.95])
    return Missed(mean=float(own.mean()), low=float(low), high=float(high))
