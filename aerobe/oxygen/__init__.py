"""Oxygen and food: what water holds, what the air brings, what the brew takes, and how much food that carries."""

from aerobe.oxygen._first_guess import first_guess_kla
from aerobe.oxygen._foods import FOODS, Food, FoodLibrary, Range
from aerobe.oxygen._saturation import pressure_at_altitude_kpa, saturation_mg_per_l

__all__ = ["FOODS", "Food", "FoodLibrary", "Range", "first_guess_kla", "pressure_at_altitude_kpa", "saturation_mg_per_l"]
