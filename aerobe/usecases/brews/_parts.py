"""What can be put right of a vessel, a recipe, a test and a brew: each part as a person reads it, and how it is read back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from aerobe.errors import NotFound, UnusableRecord
from aerobe.notebook import Notebook
from aerobe.oxygen import FOODS
from aerobe.records import DIFFUSERS, METHODS, Assay, Brew, Compost, FoodDose, Recipe, Vessel
from aerobe.units import DOSE, ELAPSED, MONEY, TEMPERATURE, Scale, display_units
from aerobe.usecases.brews._starting import tests_of
from aerobe.usecases.brews._vessel import (
    needed,
    with_altitude,
    with_depth,
    with_diffuser,
    with_flow,
    with_kla,
    with_volume,
    without,
)

Options = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One thing that can be put right. A text that is left as it was changes nothing, not even a digit behind it.

    Parameters
    ----------
    shown
        The part of a record as text; empty where it is a guess.
    taken
        The record with the part read from a text.
    options
        What there is to choose from, in the notebook.
    """

    name: str
    label: str
    shown: Callable[[Any], str]
    taken: Callable[[Any, str], Any]
    hint: str = ""
    options: Callable[[Notebook], Options] | None = None
    lines: bool = False


def _named(record: Any, text: str) -> Any:
    if not text:
        raise UnusableRecord("It has no name.", "Name it as you call it.")
    return replace(record, name=text)


NAME = Part(name="name", label="Name", shown=lambda record: record.name, taken=_named)
NOTES = Part(
    name="notes",
    label="Notes",
    shown=lambda record: record.notes,
    taken=lambda record, text: replace(record, notes=text),
    lines=True,
)


VESSEL: tuple[Part, ...] = (
    NAME,
    Part(
        name="volume",
        label="Water in it",
        shown=lambda vessel: _written(vessel.volume_l, "L"),
        taken=with_volume,
    ),
    Part(
        name="depth",
        label="Depth from the surface to the air outlet",
        shown=lambda vessel: "" if "depth" in vessel.guessed else _written(100.0 * vessel.depth_m, "cm"),
        taken=with_depth,
    ),
    Part(
        name="flow",
        label="Air flow, measured",
        hint="With its unit: 5 L/min.",
        shown=lambda vessel: (
            "" if any(item.startswith("flow") for item in vessel.guessed) else _written(vessel.air.flow_l_per_min, "L/min")
        ),
        taken=lambda vessel, text: with_flow(vessel, needed(text, "5 L/min"), "measured"),
    ),
    Part(
        name="label",
        label="or what the pump's label says",
        hint="A flow such as 8 L/min, or its watts such as 5 W. Less of it reaches the water; that is reckoned in.",
        shown=lambda vessel: "",
        taken=lambda vessel, text: with_flow(vessel, text, "label"),
    ),
    Part(
        name="diffuser",
        label="How the air comes out",
        shown=lambda vessel: "" if "diffuser" in vessel.guessed else vessel.air.diffuser,
        taken=with_diffuser,
        options=lambda _: tuple((item, item) for item in DIFFUSERS),
    ),
    Part(
        name="altitude",
        label="Height above the sea",
        shown=lambda vessel: f"{vessel.altitude_m:.6g} m",
        taken=with_altitude,
    ),
    Part(
        name="transfer",
        label="Measured transfer (kLa)",
        hint="Clear it if it was measured with other air or water than stand here.",
        shown=lambda vessel: "" if vessel.air.kla_per_h is None else f"{vessel.air.kla_per_h:.6g} /h",
        taken=with_kla,
    ),
)


def _written(value: float, unit: str) -> str:
    """A value as the person would type it, in the display units."""
    units = display_units()
    scale = units.scale(unit) or Scale(unit=unit)
    return f"{units.decimals(f'{scale.shown(value):.6g}')} {scale.unit}"


def _dose_line(dose: FoodDose) -> str:
    later = f" at {dose.at_h:g} h" if dose.at_h else ""
    return f"{dose.food}: {_written(dose.g_per_l, 'g/L')}{later}"


def foods_of_lines(text: str) -> tuple[FoodDose, ...]:
    """Doses from lines such as `molasses: 1.5 g/L` or `molasses: 1 g/L at 12 h`.

    Raises
    ------
    AerobeError
        If a line cannot be read.
    """
    doses = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        food, _, rest = line.rpartition(":")
        amount, _, at = rest.partition(" at ")
        if not food.strip() or not amount.strip():
            raise UnusableRecord(f"'{line[:60]}' is no food with its dose.", "Write one a line: molasses: 1.5 g/L")
        dose = FoodDose(
            food=FOODS.find(food.strip()).key, g_per_l=DOSE.read(amount), at_h=ELAPSED.read(at) if at.strip() else 0.0
        )
        doses.append(dose)
    return tuple(doses)


def _with_foods(recipe: Recipe, text: str) -> Recipe:
    """The recipe with these foods; a dose that is left as it was stays the guess that it is."""
    foods, stood = foods_of_lines(text), {_dose_line(dose) for dose in recipe.foods}
    same = {dose.food for dose in foods if _dose_line(dose) in stood}
    gone = [f"food {key}" for key in recipe.guessed_foods if key not in same]
    return replace(recipe, foods=foods, guessed=without(recipe.guessed, *gone))


RECIPE: tuple[Part, ...] = (
    NAME,
    Part(
        name="compost",
        label="Compost",
        shown=lambda recipe: recipe.compost,
        taken=lambda recipe, text: replace(recipe, compost=text),
        options=lambda notebook: tuple((item.key, item.name) for item in notebook.find(Compost)),
    ),
    Part(
        name="compost_dose",
        label="Dose of the compost",
        hint="Wet as it is, for example 25 g/L.",
        shown=lambda recipe: (
            "" if {"compost", "weight of compost"} & set(recipe.guessed) else _written(recipe.compost_g_per_l, "g/L")
        ),
        taken=lambda recipe, text: replace(
            recipe,
            compost_g_per_l=DOSE.read(needed(text, "25 g/L")),
            guessed=without(recipe.guessed, "compost", "weight of compost"),
        ),
    ),
    Part(
        name="foods",
        label="Foods",
        hint="One a line: molasses: 1.5 g/L. Added later: molasses: 1 g/L at 12 h.",
        shown=lambda recipe: "\n".join(_dose_line(dose) for dose in recipe.foods),
        taken=_with_foods,
        lines=True,
    ),
    Part(
        name="water",
        label="Water",
        shown=lambda recipe: recipe.water,
        taken=lambda recipe, text: replace(recipe, water=text or "unknown"),
    ),
    NOTES,
)
TEST: tuple[Part, ...] = (
    NAME,
    Part(
        name="method",
        label="How it works",
        shown=lambda test: test.method,
        taken=lambda test, text: replace(test, method=text),
        options=lambda _: tuple((item, item) for item in METHODS),
    ),
    Part(
        name="price",
        label="Price of one test",
        shown=lambda test: f"{test.price:.6g}",
        taken=lambda test, text: replace(test, price=MONEY.read(text or "0")),
    ),
)


def _not_of_a_trial(brew: Brew) -> None:
    if brew.trial:
        raise UnusableRecord(
            "This brew belongs to a trial, whose plan says this.", "Leave it; a note can say what was different."
        )


def _with_recipe(brew: Brew, text: str) -> Brew:
    _not_of_a_trial(brew)
    return replace(brew, recipe=text)


def _with_vessel(brew: Brew, text: str) -> Brew:
    _not_of_a_trial(brew)
    return replace(brew, vessel=text)


BREW: tuple[Part, ...] = (
    NAME,
    Part(
        name="temperature",
        label="Water temperature",
        shown=lambda brew: "" if "temperature" in brew.guessed else _written(brew.temperature_degc, "°C"),
        taken=lambda brew, text: replace(
            brew, temperature_degc=TEMPERATURE.read(needed(text, "20 °C")), guessed=without(brew.guessed, "temperature")
        ),
    ),
    Part(
        name="vessel",
        label="Vessel",
        shown=lambda brew: brew.vessel,
        taken=_with_vessel,
        options=lambda notebook: tuple((item.key, item.name) for item in notebook.find(Vessel)),
    ),
    Part(
        name="recipe",
        label="Recipe",
        shown=lambda brew: brew.recipe,
        taken=_with_recipe,
        options=lambda notebook: tuple((item.key, item.name) for item in notebook.find(Recipe)),
    ),
    Part(
        name="tests",
        label="Tests you can afford on it",
        shown=lambda brew: str(brew.tests_in_budget),
        taken=lambda brew, text: replace(brew, tests_in_budget=tests_of(text or "0", True)),
    ),
    Part(
        name="price",
        label="Price of one test",
        shown=lambda brew: f"{brew.costs.test:.6g}",
        taken=lambda brew, text: replace(brew, costs=replace(brew.costs, test=MONEY.read(text or "0"))),
    ),
    NOTES,
)
MENDABLE: dict[str, tuple[type[Any], str, tuple[Part, ...]]] = {
    "vessel": (Vessel, "vessels", VESSEL),
    "recipe": (Recipe, "recipes", RECIPE),
    "assay": (Assay, "assays", TEST),
    "brew": (Brew, "brews", BREW),
}


def mendable(noun: str) -> tuple[type[Any], str, tuple[Part, ...]]:
    """Class, table and parts of a noun.

    Raises
    ------
    NotFound
        If nothing of it can be put right here.
    """
    if noun not in MENDABLE:
        raise NotFound(f"'{noun}' cannot be put right here.", f"Use one of: {', '.join(MENDABLE)}.")
    return MENDABLE[noun]
