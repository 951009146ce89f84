"""The forward model: biomass, food and oxygen over time for given parameters. It knows no data."""

from aerobe.kinetics._batch import TOLERANCE, Surroundings, simulate
from aerobe.kinetics._compiled import (
    BACTERIA,
    FOOD,
    FUNGI,
    GRAZERS,
    OXYGEN,
    OXYGEN_MEAN,
    OXYGEN_PER_CARBON,
    PARAMETERS,
    READINESS,
    SLOW,
    STATES,
)
from aerobe.kinetics._nitrogen import NITROGEN_PARAMETERS, NITROGEN_STATES, simulate_nitrogen
from aerobe.kinetics._temperature import decay_factor, growth_factor

__all__ = [
    "BACTERIA",
    "FOOD",
    "FUNGI",
    "GRAZERS",
    "NITROGEN_PARAMETERS",
    "NITROGEN_STATES",
    "OXYGEN",
    "OXYGEN_MEAN",
    "OXYGEN_PER_CARBON",
    "PARAMETERS",
    "READINESS",
    "SLOW",
    "STATES",
    "TOLERANCE",
    "Surroundings",
    "decay_factor",
    "growth_factor",
    "simulate",
    "simulate_nitrogen",
]
