"""What a recipe's food holds: carbon, nitrogen and the oxygen that using it up would take."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from aerobe.errors import OutsideValidity
from aerobe.oxygen._foods import FOODS, Food, FoodLibrary, Range
from aerobe.records import Recipe

# Share of the food's oxygen demand that ends up in cells and is therefore not burnt while the brew grows. Activated sludge models
# take 0.67; 780 soil and water observations give 0.50 +/- 0.25.
YIELD = Range(low=0.40, mid=0.53, high=0.67)


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodBalance:
    """The food of a recipe a litre of brew, compost not counted. Ranges join as independent errors."""

    carbon_mg_per_l: Range  # [mg C/L]
    readily_mg_c_per_l: Range  # used within hours [mg C/L]
    slow_mg_c_per_l: Range  # used within days [mg C/L]
    nitrogen_mg_per_l: Range  # [mg N/L]
    oxygen_demand_mg_per_l: Range  # theoretical, of all the food [mg O2/L]
    readily_demand_mg_per_l: Range  # theoretical, of the readily used part [mg O2/L]
    growth_demand_mg_per_l: Range  # what growth on the readily used part burns [mg O2/L]
    carbon_to_nitrogen: float  # by mass, middle values; infinite without nitrogen [-]
    sources: tuple[str, ...]
    remarks: tuple[str, ...]


def food_balance(recipe: Recipe, *, library: FoodLibrary = FOODS, growth_yield: Range = YIELD) -> FoodBalance:
    """Carbon, nitrogen and oxygen demand of the foods of a recipe.

    Parameters
    ----------
    recipe
        Doses in g as bought a litre of brew. [g/L]
    library
        Where the foods are described. [-]
    growth_yield
        Share of the demand that is built into cells. [-]

    Returns
    -------
    FoodBalance
        All feedings together, early and late.

    Raises
    ------
    NotFound
        If a food is unknown.

    Source
    ------
    henze-2000, cue-synthesis-2019, stoichiometry
    """
    doses = [(library.find(dose.food), dose.g_per_l) for dose in recipe.foods]

    def total(of: Callable[[Food], Range]) -> Range:
        return _add([_times(of(food), 1000.0 * grams) for food, grams in doses])

    carbon = total(lambda food: food.carbon)
    nitrogen = total(lambda food: food.nitrogen)
    readily = total(lambda food: _product(food.oxygen_demand, food.readily))
    burnt = Range(low=1.0 - growth_yield.high, mid=1.0 - growth_yield.mid, high=1.0 - growth_yield.low)
    ratio = carbon.mid / nitrogen.mid if nitrogen.mid > 0.0 else math.inf
    return FoodBalance(
        carbon_mg_per_l=carbon,
        nitrogen_mg_per_l=nitrogen,
        carbon_to_nitrogen=ratio,
        readily_mg_c_per_l=total(lambda food: _product(food.carbon, food.readily)),
        slow_mg_c_per_l=total(lambda food: _product(food.carbon, food.slow)),
        oxygen_demand_mg_per_l=total(lambda food: food.oxygen_demand),
        readily_demand_mg_per_l=readily,
        growth_demand_mg_per_l=_product(readily, burnt),
        sources=tuple(dict.fromkeys(key for food, _ in doses for key in food.sources)),
        remarks=_remarks(ratio, carbon.mid),
    )


def balance_ceiling_g_per_l(
    food: Food,
    *,
    kla_per_h: float,
    saturation_mg_per_l: float,
    floor_mg_per_l: float,
    hours: float,
    base_uptake_mg_per_l_h: float = 0.0,
    peak_over_mean: float = 2.0,
    growth_yield: float = YIELD.mid,
) -> float:
    """Largest dose by oxygen balance alone: peak uptake equal to what the air brings at the floor.

    A first look without the brew model; `food_ceiling` asks the model and says with what chance.

    Parameters
    ----------
    food
        From the library. [-]
    kla_per_h
        Transfer at the brew's temperature. [1/h]
    saturation_mg_per_l, floor_mg_per_l
        Saturation and chosen floor. [mg/L]
    hours
        Over which the food is used. [h]
    base_uptake_mg_per_l_h
        Uptake of the compost itself. [mg/L/h]
    peak_over_mean
        Peak of uptake over its mean; a bell over 24 h gives about two (common practice, no source). [-]
    growth_yield
        Share of the demand built into cells. [-]

    Returns
    -------
    float
        Dose as bought; infinite for what is no food. [g/L]

    Raises
    ------
    OutsideValidity
        If the floor is not below saturation.

    Source
    ------
    henze-2000
    """
    if floor_mg_per_l >= saturation_mg_per_l:
        raise OutsideValidity(
            f"A floor of {floor_mg_per_l:g} mg/L is not below saturation, {saturation_mg_per_l:.2f} mg/L.",
            "Choose a lower floor.",
        )
    supply = kla_per_h * (saturation_mg_per_l - floor_mg_per_l) - base_uptake_mg_per_l_h
    burnt_mg_per_g = 1000.0 * food.oxygen_demand.mid * food.readily.mid * (1.0 - growth_yield)
    if burnt_mg_per_g <= 0.0:
        return math.inf
    return max(supply, 0.0) * hours / (burnt_mg_per_g * peak_over_mean)


def _remarks(ratio: float, carbon: float) -> tuple[str, ...]:
    if carbon <= 0.0:
        return ()
    if ratio > 20.0:
        shown = f"{ratio:.0f}" if ratio < 1000.0 else "above 1000"
        return (
            f"C:N of the food is {shown}: cells hold about one part of nitrogen to five of carbon and burn half of it, "
            "so above 10 to 20 part of the nitrogen must come from the compost.",
        )
    if ratio < 7.0:
        return (f"C:N of the food is {ratio:.0f}: more nitrogen than cells build in; the rest turns up as ammonium.",)
    return ()


def _times(value: Range, factor: float) -> Range:
    return Range(low=value.low * factor, mid=value.mid * factor, high=value.high * factor)


def _product(one: Range, other: Range) -> Range:
    """Relative half-widths of two independent factors join as a root of squares."""
    mid = one.mid * other.mid
    if mid <= 0.0:
        return Range(low=0.0, mid=0.0, high=one.high * other.high)
    down = math.hypot(1.0 - one.low / one.mid, 1.0 - other.low / other.mid)
    up = math.hypot(one.high / one.mid - 1.0, other.high / other.mid - 1.0)
    return Range(low=max(mid * (1.0 - down), 0.0), mid=mid, high=mid * (1.0 + up))


def _add(parts: list[Range]) -> Range:
    mid = sum(part.mid for part in parts)
    down = math.sqrt(sum((part.mid - part.low) ** 2 for part in parts))
    up = math.sqrt(sum((part.high - part.mid) ** 2 for part in parts))
    return Range(low=max(mid - down, 0.0), mid=mid, high=mid + up)
