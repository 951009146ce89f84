"""What of a brew is a guess: said with its width, so that nobody takes it for measured, and with where it is put right."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.inference import COMPOST_G_PER_L, COMPOST_KG_PER_L, FOOD_G_PER_L, TEMPERATURE_DEGC
from aerobe.notebook import Notebook
from aerobe.oxygen import FOODS, air_spans
from aerobe.records import Brew, Recipe, Vessel
from aerobe.units import number
from aerobe.usecases.trials._blinding import is_hidden

_FLOWS = {
    "flow": "Air, from the size alone",
    "flow of a label": "Air, from the pump's label",
    "flow of a power": "Air, from the pump's watts",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Guessed:
    """One thing that nobody gave: what, and what stands there with its 90 % interval."""

    what: str
    says: str
    part: str  # vessel, recipe or brew: where it is put right


def guesses_of_brew(notebook: Notebook, key: str) -> tuple[Guessed, ...]:
    """All that was guessed of a brew, what matters most first; nothing of a recipe behind a code.

    Raises
    ------
    NotFound
        If there is no such brew.
    """
    brew = notebook.get(Brew, key)
    recipe = () if is_hidden(notebook, brew) else _of_recipe(notebook.get(Recipe, brew.recipe))
    return (*_of_air(notebook.get(Vessel, brew.vessel)), *recipe, *_of_water(brew))


def _of_air(vessel: Vessel) -> tuple[Guessed, ...]:
    if vessel.air.kla_per_h is not None:
        return ()  # a measured transfer has taken the place of every guess
    spans, found = air_spans(vessel), []
    for name, words in _FLOWS.items():
        if name in spans:
            found.append(Guessed(what=words, says=_range(spans[name], "L/min"), part="vessel"))
    if "depth" in spans:
        middle, low, high = (100.0 * value for value in spans["depth"])
        found.append(Guessed(what="Depth, as deep as wide", says=_range((middle, low, high), "cm"), part="vessel"))
    if "diffuser" in vessel.guessed:
        found.append(Guessed(what="How the air comes out", says=f"{vessel.air.diffuser}s", part="vessel"))
    return tuple(found)


def _of_recipe(recipe: Recipe) -> tuple[Guessed, ...]:
    found = []
    if "compost" in recipe.guessed:
        found.append(
            Guessed(what="Compost", says=_range((COMPOST_G_PER_L.middle, *COMPOST_G_PER_L.span()), "g/L"), part="recipe")
        )
    elif "weight of compost" in recipe.guessed:
        weight = (COMPOST_KG_PER_L.middle, *COMPOST_KG_PER_L.span())
        found.append(Guessed(what="Weight of a litre of compost", says=_range(weight, "kg"), part="recipe"))
    if recipe.guessed_foods:
        names = [FOODS.find(key).name for key in recipe.guessed_foods]
        span = _range((FOOD_G_PER_L.middle, *FOOD_G_PER_L.span()), "g/L")
        found.append(Guessed(what=f"Amount of {', '.join(names)}", says=span, part="recipe"))
    return tuple(found)


def _of_water(brew: Brew) -> tuple[Guessed, ...]:
    if "temperature" not in brew.guessed:
        return ()
    reach = 1.645 * TEMPERATURE_DEGC.sd
    middle = brew.temperature_degc
    says = f"{number(middle, 2)} °C, {middle - reach:.0f} to {middle + reach:.0f} °C"
    return (Guessed(what="Water temperature", says=says, part="brew"),)


def _range(span: tuple[float, float, float], unit: str) -> str:
    middle, low, high = span
    return f"{number(middle, 2)} {unit}, {number(low, 2)} to {number(high, 2)} {unit}"
