"""A brew started from one form: what it stands in, what goes in, how it is tested. All is written, or nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook, Pen
from aerobe.oxygen import FOODS
from aerobe.records import (
    DIFFUSERS,
    METHODS,
    AimChoice,
    Assay,
    Brew,
    Compost,
    Costs,
    FoodDose,
    Recipe,
    Vessel,
)
from aerobe.units import BIOMASS, MONEY, TEMPERATURE, VOLUME, parse_number
from aerobe.usecases.brews._vessel import named, read_vessel
from aerobe.usecases.notebook._moments import moment_of
from aerobe.usecases.notebook._records import new_key

MASSES = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}  # [g]
NEW = "(new)"


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodTyped:
    """A food and how much of it, as typed."""

    food: str = ""
    amount: str = ""
    unit: str = "g"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewStart:
    """The form of a new brew, as typed. `vessel`, `recipe` and `assay` are keys, or "(new)" with the fields that follow."""

    name: str = ""
    started_at: str = ""  # clock time with or without offset; empty: now
    temperature: str = "20 degC"
    tests: str = "4"
    vessel: str = NEW
    vessel_name: str = ""
    volume: str = ""  # with unit
    depth: str = ""
    flow: str = ""
    diffuser: str = "coarse bubble"
    altitude: str = "0 m"
    recipe: str = NEW
    recipe_name: str = ""
    compost: str = NEW
    compost_name: str = ""
    animal: str = "not known"  # yes, no, not known
    compost_amount: str = ""
    compost_unit: str = "g"
    foods: tuple[FoodTyped, ...] = ()
    water: str = ""
    assay: str = NEW  # empty: none
    assay_name: str = ""
    method: str = "other"
    assay_unit: str = "ug C/mL"
    price: str = "10"
    token: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the form offers."""

    vessels: tuple[Vessel, ...]
    composts: tuple[Compost, ...]
    recipes: tuple[Recipe, ...]
    assays: tuple[Assay, ...]
    foods: tuple[tuple[str, str], ...]  # key, name
    diffusers: tuple[str, ...] = DIFFUSERS
    methods: tuple[str, ...] = METHODS
    masses: tuple[str, ...] = tuple(MASSES)
    amounts: tuple[str, ...] = (*MASSES, "mL", "tsp", "tbsp", "cup")
    biomass_units: tuple[str, ...] = tuple(BIOMASS.accepts)


def start_choices(notebook: Notebook) -> Choices:
    """What a new brew can be put together from."""
    return Choices(
        vessels=tuple(notebook.find(Vessel)),
        composts=tuple(notebook.find(Compost)),
        recipes=tuple(notebook.find(Recipe)),
        assays=tuple(notebook.find(Assay)),
        foods=tuple(sorted(((food.key, food.name) for food in FOODS.values()), key=lambda pair: pair[1].lower())),
    )


def start_brew(notebook: Notebook, form: BrewStart, *, now: datetime, who: str = "") -> str:
    """Write a brew with whatever of vessel, compost, recipe and assay is new; gives its key.

    Raises
    ------
    AerobeError
        If a field cannot be used; then nothing has been written.
    """
    with notebook.writing() as pen:
        vessel, vessel_key = take_vessel(notebook, pen, form, now, who)
        recipe = take_recipe(notebook, pen, form, vessel.volume_l, now, who)
        price = take_assay(notebook, pen, form, now, who)
        tests = named("Tests in the budget", lambda: parse_number(form.tests or "0"))
        if tests != int(tests) or not 0 <= tests <= 1000:
            raise UnusableRecord(f"'{form.tests}' is no number of tests.", "Give a whole number such as 4.")
        name = form.name.strip() or f"Brew of {now.day} {now:%B}"
        brew = Brew(
            key=new_key(notebook, Brew, name),
            name=name,
            recipe=recipe,
            vessel=vessel_key,
            started_at=moment_of(form.started_at, now=now),
            temperature_degc=named("Water temperature", lambda: TEMPERATURE.read(form.temperature)),
            aim=AimChoice(),
            costs=Costs(test=price),
            tests_in_budget=int(tests),
        )
        return pen.add(brew, at=now, who=who, token=form.token).key


def take_vessel(notebook: Notebook, pen: Pen, form: BrewStart, now: datetime, who: str) -> tuple[Vessel, str]:
    """The vessel chosen, or a new one, with its key."""
    if form.vessel != NEW:
        return notebook.get(Vessel, form.vessel), form.vessel
    name = form.vessel_name.strip() or "Vessel"
    vessel = read_vessel(
        key=new_key(notebook, Vessel, name),
        name=name,
        volume=form.volume,
        depth=form.depth,
        flow=form.flow,
        diffuser=form.diffuser,
        altitude=form.altitude,
    )
    return vessel, pen.add(vessel, at=now, who=who, token=_token(form, "vessel")).key


def take_recipe(notebook: Notebook, pen: Pen, form: BrewStart, litres: float, now: datetime, who: str) -> str:
    """The recipe chosen, or a new one whose amounts were weighed for so many litres of water; gives its key."""
    if form.recipe != NEW:
        return notebook.get(Recipe, form.recipe).key
    compost = _compost(notebook, pen, form, now, who)
    doses = tuple(
        FoodDose(food=item.food, g_per_l=_food_grams(item) / litres) for item in form.foods if item.food and item.amount.strip()
    )
    name = form.recipe_name.strip() or f"Recipe with {compost.name}"
    recipe = Recipe(
        key=new_key(notebook, Recipe, name),
        name=name,
        compost=compost.key,
        foods=doses,
        water=form.water.strip() or "unknown",
        compost_g_per_l=_grams("Amount of compost", form.compost_amount, form.compost_unit) / litres,
    )
    return pen.add(recipe, at=now, who=who, token=_token(form, "recipe")).key


def _compost(notebook: Notebook, pen: Pen, form: BrewStart, now: datetime, who: str) -> Compost:
    if form.compost != NEW:
        return notebook.get(Compost, form.compost)
    name = form.compost_name.strip() or "Compost"
    compost = Compost(key=new_key(notebook, Compost, name), name=name, animal_origin={"yes": True, "no": False}.get(form.animal))
    return replace(compost, key=pen.add(compost, at=now, who=who, token=_token(form, "compost")).key)


def take_assay(notebook: Notebook, pen: Pen, form: BrewStart, now: datetime, who: str) -> float:
    """The price of the test chosen, or of a new one, which is written in."""
    if not form.assay:
        return Costs().test
    if form.assay != NEW:
        return notebook.get(Assay, form.assay).price or Costs().test
    price = named("Price of a test", lambda: MONEY.read(form.price or "0"))
    if not form.assay_name.strip():
        return price
    assay = Assay(
        key=new_key(notebook, Assay, form.assay_name),
        name=form.assay_name.strip(),
        method=form.method,
        unit=form.assay_unit,
        to_house=BIOMASS.convert(1.0, form.assay_unit),
        price=price,
    )
    pen.add(assay, at=now, who=who, token=_token(form, "assay"))
    return price


def _token(form: BrewStart, part: str) -> str:
    return f"{form.token}.{part}" if form.token else ""


def _grams(what: str, text: str, unit: str) -> float:
    if unit not in MASSES:
        raise UnusableRecord(f"{what}: '{unit}' is no unit of mass.", f"Use one of: {', '.join(MASSES)}.")
    return named(what, lambda: parse_number(text)) * MASSES[unit]


def _food_grams(item: FoodTyped) -> float:
    what, food = f"Amount of {item.food}", FOODS.find(item.food)
    if item.unit in MASSES:
        return _grams(what, item.amount, item.unit)
    litres = named(what, lambda: VOLUME.convert(parse_number(item.amount), item.unit))
    return litres * 1000.0 * food.density_kg_per_l.mid
