"""From a recipe, a vessel and a dose to simulated brews: what every question of food and air is asked of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import OutsideValidity, UnusableRecord
from aerobe.oxygen import FOODS, DoseOutcome, outcome_of, saturation_mg_per_l, split_feeds
from aerobe.records import FoodDose, Recipe, Vessel

Array = NDArray[np.float64]
MOST_DRAWS = 100_000
_STEP_H = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodQuestion:
    """A recipe in a vessel, the food whose dose is asked for, and what oxygen must hold."""

    recipe: Recipe  # its other foods stay; a dose of the food asked for is left out
    vessel: Vessel
    food: str  # key or name in the food library
    floor_mg_per_l: float = 2.0  # [mg/L]
    probability: float = 0.9  # chance asked for [-]
    temperature_degc: float = 20.0  # [degC]
    hours: float = 36.0  # how long the brew runs [h]
    feed_at_h: tuple[float, ...] = (0.0,)  # when the food goes in, in equal parts [h]
    highest_g_per_l: float = 20.0  # doses above are not looked at [g/L]
    draws: int = 600  # brews simulated for each dose
    seed: int = 1
    from_h: float = 0.0  # oxygen and biomass before this hour are past and do not count [h]
    on_top: bool = False  # the dose comes on top of what the recipe holds of this food

    def __post_init__(self) -> None:
        if not 1 <= self.draws <= MOST_DRAWS:
            raise UnusableRecord(f"{self.draws} is no number of draws.", f"Give from 41 to {MOST_DRAWS}; hundreds are enough.")

    def with_dose(self, g_per_l: float) -> Recipe:
        """The recipe with this dose of the food, in its feedings."""
        key = FOODS.find(self.food).key
        others = tuple(dose for dose in self.recipe.foods if self.on_top or FOODS.find(dose.food).key != key)
        mine = tuple(FoodDose(food=key, g_per_l=part, at_h=at) for at, part in split_feeds(g_per_l, self.feed_at_h) if part > 0.0)
        return replace(self.recipe, foods=(*others, *mine))


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedBrews:
    """Simulated brews, shape (draws, times)."""

    times_h: Array
    oxygen_mg_per_l: Array
    biomass: Array  # bacteria and fungi [ug C/mL]

    def outcome(self, from_h: float = 0.0) -> DoseOutcome:
        """Lowest oxygen and peak of each brew, from an hour on."""
        ahead = self.times_h >= from_h
        return outcome_of(self.times_h[ahead], self.oxygen_mg_per_l[:, ahead], self.biomass[:, ahead])


def simulated_courses(question: FoodQuestion, recipe: Recipe, vessel: Vessel, *, scores: Array | None = None) -> SimulatedBrews:
    """Brews that recipe and vessel may become; the same scores give the same brews whatever the dose.

    Parameters
    ----------
    question
        For temperature, length, number of draws and seed.
    recipe, vessel
        What is brewed in what.
    scores
        Scores of the model terms, shape (draws, terms), for example of an earlier brew; the prior where none are given. [-]

    Raises
    ------
    OutsideValidity
        If the brew model cannot be carried through for this recipe.
    """
    from aerobe.inference import PRIOR, basis_of, decode
    from aerobe.kinetics import BACTERIA, FUNGI, OXYGEN, Surroundings, simulate

    if scores is None:
        scores = np.random.default_rng(question.seed).standard_normal((question.draws, len(PRIOR)))
    basis = basis_of(recipe, vessel)
    times = np.unique(np.concatenate([np.arange(0.0, question.hours + 1e-9, _STEP_H), [at for at, *_ in basis.later_feeds]]))
    times = times[times <= question.hours + 1e-9]
    food, slow = np.zeros(len(times)), np.zeros(len(times))
    for at, readily, slowly in basis.later_feeds:
        if at <= times[-1]:
            food[np.searchsorted(times, at)] += readily
            slow[np.searchsorted(times, at)] += slowly
    inputs = decode(scores, basis, question.temperature_degc)
    around = Surroundings(
        times_h=times,
        temperature_degc=np.full(len(times), question.temperature_degc),
        saturation_mg_per_l=np.full(len(times), saturation_mg_per_l(question.temperature_degc, altitude_m=vessel.altitude_m)),
        added_food_mg_c_per_l=food,
        added_slow_mg_c_per_l=slow,
    )
    states = simulate(
        inputs.start, inputs.parameters, inputs.growth_minimum_degc, around, food_scale=inputs.food_scale, tolerance=1e-4
    )
    sound = np.isfinite(states).all(axis=(1, 2))
    if sound.mean() < 0.98:
        raise OutsideValidity(
            "The brew model cannot be carried through for this recipe.", "Check dose, temperature and vessel for slips."
        )
    states = states[sound]
    return SimulatedBrews(
        times_h=times, oxygen_mg_per_l=states[:, :, OXYGEN], biomass=states[:, :, BACTERIA] + states[:, :, FUNGI]
    )


def food_forecast(question: FoodQuestion, *, scores: Array | None = None) -> Callable[[float], DoseOutcome]:
    """Outcome by dose, with the same simulated brews for each dose."""

    def forecast(dose_g_per_l: float) -> DoseOutcome:
        recipe = question.with_dose(dose_g_per_l)
        return simulated_courses(question, recipe, question.vessel, scores=scores).outcome(question.from_h)

    return forecast
