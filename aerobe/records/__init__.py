"""The nouns of the notebook: frozen, keyword-only, true by construction. No estimates, no storage."""

from aerobe.records._assays import BASES, METHODS, QUANTITIES, Assay, AssayError
from aerobe.records._brews import BREW_GUESSES, AimChoice, Brew, Costs, Harvest, Use
from aerobe.records._compost import RECIPE_GUESSES, Compost, FoodDose, HeatLog, Recipe
from aerobe.records._events import EVENTS, BrewEvent, standing_events
from aerobe.records._guesses import guess_mark
from aerobe.records._plain import as_json, as_plain, canonical_json, content_hash, from_plain
from aerobe.records._readings import CHANNELS, ROLES, Reading, Sample, SensorLog, result_as_typed
from aerobe.records._trials import QUESTIONS, Arm, PlannedBrew, PlannedSample, RunSheet, Trial
from aerobe.records._vessels import DIFFUSERS, UNSTATED_AIR, VESSEL_GUESSES, AirSupply, Vessel

__all__ = [
    "BASES",
    "BREW_GUESSES",
    "CHANNELS",
    "DIFFUSERS",
    "EVENTS",
    "METHODS",
    "QUANTITIES",
    "QUESTIONS",
    "RECIPE_GUESSES",
    "ROLES",
    "UNSTATED_AIR",
    "VESSEL_GUESSES",
    "AimChoice",
    "AirSupply",
    "Arm",
    "Assay",
    "AssayError",
    "Brew",
    "BrewEvent",
    "Compost",
    "Costs",
    "FoodDose",
    "Harvest",
    "HeatLog",
    "PlannedBrew",
    "PlannedSample",
    "Reading",
    "Recipe",
    "RunSheet",
    "Sample",
    "SensorLog",
    "Trial",
    "Use",
    "Vessel",
    "as_json",
    "as_plain",
    "canonical_json",
    "content_hash",
    "from_plain",
    "guess_mark",
    "result_as_typed",
    "standing_events",
]
