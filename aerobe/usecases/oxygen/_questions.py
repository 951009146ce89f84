"""Questions of food and air: how much food, in how many feedings, with how much air; answered by the brew model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import OutsideValidity
from aerobe.oxygen import (
    FOODS,
    AirPlan,
    Changes,
    DoseRow,
    FoodBalance,
    FoodCeiling,
    balance_ceiling_g_per_l,
    compare_changes,
    first_guess_kla,
    food_balance,
    food_ceiling,
    pump_power_w,
    pump_pressure_kpa,
    saturation_mg_per_l,
    size_air,
    trade_off,
    transfer_factor,
    vessel_kla,
)
from aerobe.records import AirSupply, Vessel
from aerobe.units import number
from aerobe.usecases.oxygen._forecast import FoodQuestion, food_forecast, simulated_courses

Array = NDArray[np.float64]

FOOD_CAUTION = (
    "Sugar and protein feed pathogens as well: in trials E. coli and Salmonella grew in teas with 1 % molasses and not without "
    "it. Food additives change what rules allow on crops for eating; see the page on safe use, and local rules."
)
_STILL_RISING_H = 1.0  # a peak this near the end of the look is none


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodAnswer:
    """How much of a food the air carries, and what the answer rests on."""

    question: FoodQuestion
    ceiling: FoodCeiling
    by_balance_g_per_l: float  # a first look without the model [g/L]
    balance: FoodBalance  # of the whole recipe at the ceiling
    kla20_per_h: float  # [1/h]
    kla_log_sd: float  # [-]
    saturation_mg_per_l: float  # [mg/L]
    says: str
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitRow:
    """One way to give a food: what it allows, and what one and the same dose comes to."""

    name: str
    feed_at_h: tuple[float, ...]
    ceiling: FoodCeiling
    at_dose: DoseRow  # all ways at the same dose


@dataclass(frozen=True, slots=True, kw_only=True)
class AirForRecipe:
    """Transfer that a recipe needs, and the air that gives it."""

    kla20_per_h: float  # clean water, 20 degC [1/h]
    chance: float  # of staying above the floor with it [-]
    plans: tuple[AirPlan, ...]
    says: str


def ask_food_ceiling(question: FoodQuestion, *, scores: Array | None = None, tolerance: float = 0.02) -> FoodAnswer:
    """The largest dose of a food whose lowest oxygen stays above the floor with the chosen chance.

    Parameters
    ----------
    question
        What is asked.
    scores
        As for `simulated_courses`. [-]
    tolerance
        Relative width at which the search stops. [-]

    Raises
    ------
    NotFound
        If a food is not in the library.
    """
    food = FOODS.find(question.food)
    ceiling = food_ceiling(
        food_forecast(question, scores=scores),
        floor_mg_per_l=question.floor_mg_per_l,
        probability=question.probability,
        highest_g_per_l=question.highest_g_per_l,
        tolerance=tolerance,
    )
    saturation = saturation_mg_per_l(question.temperature_degc, altitude_m=question.vessel.altitude_m)
    kla, log_sd = vessel_kla(question.vessel)
    quick = (
        balance_ceiling_g_per_l(
            food,
            kla_per_h=kla * float(transfer_factor(question.temperature_degc)),
            saturation_mg_per_l=saturation,
            floor_mg_per_l=question.floor_mg_per_l,
            hours=min(question.hours, 24.0),
        )
        if question.floor_mg_per_l < saturation
        else 0.0
    )
    balance = food_balance(question.with_dose(ceiling.dose_g_per_l or 0.0))
    return FoodAnswer(
        question=question,
        ceiling=ceiling,
        by_balance_g_per_l=quick,
        balance=balance,
        kla20_per_h=kla,
        kla_log_sd=log_sd,
        saturation_mg_per_l=saturation,
        says=_ceiling_says(question, ceiling),
        remarks=(*_not_at_an_end(question, ceiling), *_remarks(question, log_sd, balance)),
        cautions=(FOOD_CAUTION,),
    )


def compare_splits(question: FoodQuestion, dose_g_per_l: float) -> tuple[SplitRow, ...]:
    """All at once, in halves, in thirds and in quarters over the first half of the brew.

    Parameters
    ----------
    question
        Its own feedings are not used.
    dose_g_per_l
        At which the ways are set side by side. [g/L]
    """
    rows = []
    for name, parts in (("all at the start", 1), ("two halves", 2), ("three thirds", 3), ("four quarters", 4)):
        times = tuple(round(0.5 * question.hours * part / parts, 1) for part in range(parts))
        one = replace(question, feed_at_h=times)
        forecast = food_forecast(one)
        found = food_ceiling(
            forecast,
            floor_mg_per_l=one.floor_mg_per_l,
            probability=one.probability,
            highest_g_per_l=one.highest_g_per_l,
            tolerance=0.05,
        )
        row = trade_off(forecast, [dose_g_per_l], floor_mg_per_l=one.floor_mg_per_l)[0]
        rows.append(SplitRow(name=name, feed_at_h=times, ceiling=found, at_dose=row))
    return tuple(rows)


def air_or_food(
    question: FoodQuestion, dose_g_per_l: float, *, price_per_kwh: float = 0.30, food_price_per_kg: float = 3.0
) -> Changes:
    """Double the air, half the food, or both, beside the brew as it is.

    Parameters
    ----------
    question
        The brew.
    dose_g_per_l
        Of the food, as it is now. [g/L]
    price_per_kwh, food_price_per_kg
        For the cost of one brew. [money/kWh, money/kg]

    Raises
    ------
    OutsideValidity
        If the vessel has no air to double.
    """
    vessel = question.vessel
    if vessel.air.flow_l_per_min <= 0.0:
        raise OutsideValidity("This vessel has no air flow to double.", "Give the air flow of its pump.")
    double = replace(vessel, air=_double(vessel))
    ways = {
        "as it is": (vessel, dose_g_per_l),
        "double the air": (double, dose_g_per_l),
        "half the food": (vessel, 0.5 * dose_g_per_l),
        "both": (double, 0.5 * dose_g_per_l),
    }
    outcomes = {
        name: simulated_courses(question, question.with_dose(dose), place).outcome() for name, (place, dose) in ways.items()
    }
    costs = {
        name: _power_w(place) * question.hours / 1000.0 * price_per_kwh + dose * place.volume_l / 1000.0 * food_price_per_kg
        for name, (place, dose) in ways.items()
    }
    return compare_changes(outcomes, costs, floor_mg_per_l=question.floor_mg_per_l, probability=question.probability)


def air_for_recipe(question: FoodQuestion, dose_g_per_l: float, *, price_per_kwh: float = 0.30) -> AirForRecipe:
    """The least transfer that carries a recipe, and the flow, pump and cost that give it.

    Parameters
    ----------
    question
        Vessel and recipe; the vessel's present air is not looked at.
    dose_g_per_l
        Of the food. [g/L]
    price_per_kwh
        Of electricity. [money/kWh]

    Raises
    ------
    OutsideValidity
        If no transfer up to 400 per hour is enough.
    """
    recipe = question.with_dose(dose_g_per_l)

    def chance(kla: float) -> float:
        air = AirSupply(flow_l_per_min=0.0, diffuser=question.vessel.air.diffuser, kla_per_h=kla, kla_log_sd=0.2)
        outcome = simulated_courses(question, recipe, replace(question.vessel, air=air)).outcome()
        return outcome.chance_above(question.floor_mg_per_l)

    low, high = 0.5, 400.0
    if chance(high) < question.probability:
        raise OutsideValidity(
            f"Even 400 per hour does not keep {question.floor_mg_per_l:g} mg/L with a chance of {question.probability:g}.",
            "Feed less, in more parts, or choose a lower floor.",
        )
    if chance(low) >= question.probability:
        high = low
    while high > 1.03 * low:
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if chance(middle) >= question.probability else (middle, high)
    plans = size_air(question.vessel, kla20_per_h=high, hours=question.hours, price_per_kwh=price_per_kwh)
    best = min(plans, key=lambda plan: plan.power_w)
    return AirForRecipe(
        kla20_per_h=high,
        chance=chance(high),
        plans=plans,
        says=f"This recipe needs a kLa of {number(high)} per hour at 20 degC to stay above {question.floor_mg_per_l:g} mg/L "
        f"with a chance of {100 * question.probability:.0f} %. Least power: {best.diffuser}, "
        f"{number(best.flow_l_per_min)} L/min at {number(best.pressure_kpa)} kPa, about {number(best.power_w)} W.",
    )


def _double(vessel: Vessel) -> AirSupply:
    air = replace(vessel.air, flow_l_per_min=2.0 * vessel.air.flow_l_per_min, power_w=None)
    if air.kla_per_h is None:
        return air
    gain = first_guess_kla(replace(vessel, air=air))[0] / first_guess_kla(vessel)[0]
    # The exponent of the flow is known to about 0.1, so a doubling adds 7 % to what the measurement left open.
    return replace(air, kla_per_h=air.kla_per_h * gain, kla_log_sd=float(np.hypot(vessel_kla(vessel)[1], 0.07)))


def _power_w(vessel: Vessel) -> float:
    if vessel.air.power_w is not None:
        return vessel.air.power_w
    pressure = pump_pressure_kpa(vessel.depth_m, vessel.air.diffuser)
    return pump_power_w(vessel.air.flow_l_per_min, pressure, altitude_m=vessel.altitude_m)


def _ceiling_says(question: FoodQuestion, ceiling: FoodCeiling) -> str:
    food = FOODS.find(question.food)
    floor, chance = f"{question.floor_mg_per_l:g} mg/L", f"{100 * question.probability:.0f} %"
    if ceiling.dose_g_per_l is None:
        return (
            f"Even without {food.name} oxygen stays above {floor} with a chance of only {100 * ceiling.chance:.0f} %: "
            "more air, less compost or less of the other foods comes first."
        )
    dose, litre = ceiling.dose_g_per_l, question.vessel.volume_l
    if ceiling.beyond_range:
        return (
            f"Up to {dose:g} g/L, the most looked at, {food.name} leaves oxygen above {floor} for {question.hours:g} h "
            f"with a chance of {chance}."
        )
    volume = f", {number(dose * litre / food.density_kg_per_l.mid)} mL" if food.form == "liquid" else ""
    return (
        f"The air carries {number(dose)} g/L of {food.name} ({number(dose * litre)} g{volume} in {number(litre)} L): with more, "
        f"oxygen falls below {floor} within {question.hours:g} h in more than {100 - 100 * question.probability:.0f} % of brews."
    )


def _not_at_an_end(question: FoodQuestion, ceiling: FoodCeiling) -> tuple[str, ...]:
    """What the end of the look hides: in cold water, or with few cells, the food is hardly touched by then."""
    at = ceiling.dose_g_per_l or 0.0
    row = min(ceiling.rows, key=lambda row: abs(row.dose_g_per_l - at))
    if row.peak_at_h[1] < question.hours - _STILL_RISING_H:
        return ()
    return (
        f"At {question.hours:g} h, the end of this look, most of these brews still grow: later they take up more oxygen than is "
        "shown here. Look at a longer brew before you leave it alone.",
    )


def _remarks(question: FoodQuestion, log_sd: float, balance: FoodBalance) -> tuple[str, ...]:
    found = list(balance.remarks)
    if question.vessel.air.kla_per_h is None:
        found.append(
            f"Transfer is guessed from the air flow, to a factor of {np.exp(1.645 * log_sd):.1f} either way. A re-aeration run "
            "of ten minutes takes that doubt away, and often allows more food."
        )
    if question.floor_mg_per_l > 0.8 * saturation_mg_per_l(question.temperature_degc, altitude_m=question.vessel.altitude_m):
        found.append("The floor lies close to saturation: hardly any brew can hold it.")
    return tuple(found)
