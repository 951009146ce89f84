"""What each aim loses by harvesting at each time, for equally likely courses of a brew."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import UnusableRecord
from aerobe.inference import Posterior
from aerobe.records import AimChoice, Costs

Array = NDArray[np.float64]


def attainment(posterior: Posterior, aim: AimChoice, costs: Costs) -> Array:
    """How much of the best each course offers at each time, 0 to 1, shape (draws, times). [-]

    most biomass: biomass over the course's peak. fungal to bacterial target: 1 at the target, falling with the distance of
    the logs, 0 at a factor e. enough biomass with oxygen: 1 where both hold, less in proportion to what lacks.
    most per cost: biomass per money spent so far over the best of the course.

    Raises
    ------
    UnusableRecord
        If the aim needs a target or an amount and none is given.
    """
    biomass = posterior.biomass
    if aim.aim == "most biomass":
        return np.asarray(biomass / biomass.max(axis=1, keepdims=True))
    if aim.aim == "fungal to bacterial target":
        if aim.ratio_target is None:
            raise UnusableRecord("The aim is a fungal to bacterial target, and no target is given.", "Give a target such as 1.0.")
        distance = np.abs(np.log(np.maximum(posterior.ratio, 1e-9) / aim.ratio_target))
        return np.asarray(np.maximum(1.0 - distance, 0.0))
    if aim.aim == "enough biomass with oxygen":
        if aim.biomass_at_least is None:
            raise UnusableRecord("The aim is enough biomass, and no amount is given.", "Give the least biomass in ug C/mL.")
        enough = np.minimum(biomass / max(aim.biomass_at_least, 1e-9), 1.0)
        aerobic = np.clip(posterior.oxygen / max(aim.oxygen_floor_mg_per_l, 1e-9), 0.0, 1.0)
        return np.asarray(enough * aerobic)
    spent = costs.brew + costs.hour_of_waiting * posterior.times_h[None, :]
    per_cost = biomass / np.maximum(spent, 1e-9)
    return np.asarray(per_cost / per_cost.max(axis=1, keepdims=True))


def losses(posterior: Posterior, aim: AimChoice, costs: Costs) -> Array:
    """Loss of harvesting at each time as a share of the attainable, waiting priced in, shape (draws, times). [-]"""
    forgone = 1.0 - attainment(posterior, aim, costs)
    if aim.aim != "most per cost" and costs.hour_of_waiting > 0.0 and costs.worth_of_full_brew > 0.0:
        forgone = forgone + costs.hour_of_waiting / costs.worth_of_full_brew * posterior.times_h[None, :]
    return np.asarray(forgone)
