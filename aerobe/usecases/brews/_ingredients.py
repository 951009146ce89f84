"""What goes in: compost and foods in whatever a person measured them with, as doses for a litre of brew."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import partial

from aerobe.errors import UnusableRecord
from aerobe.inference import COMPOST_G_PER_L, COMPOST_KG_PER_L, FOOD_G_PER_L
from aerobe.notebook import Notebook, Pen
from aerobe.oxygen import FOODS
from aerobe.records import Compost, FoodDose, Recipe
from aerobe.units import VOLUME, parse_number
from aerobe.usecases.brews._form import Answers
from aerobe.usecases.brews._typed import NEW, BrewStart, FoodTyped
from aerobe.usecases.notebook._records import new_key

MASSES = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}  # [g]
AMOUNTS_OF_COMPOST = ("kg", "g", "L", "cup", "US gal", "lb", "oz")


def read_recipe(notebook: Notebook, form: BrewStart, litres: float, answers: Answers) -> Recipe:
    """The recipe chosen, or a new one whose amounts are for so many litres of water. Faults go to `answers`."""
    if form.recipe != NEW:
        nothing = Recipe(key="recipe", name="", compost="compost", compost_g_per_l=0.0)
        return answers.read("recipe", "Recipe", lambda: notebook.get(Recipe, form.recipe), instead=nothing)
    guessed: list[str] = []
    grams_per_l = answers.read(
        "compost_amount", "Amount of compost", lambda: _compost_g_per_l(form, litres, guessed), instead=0.0
    )
    doses: list[FoodDose] = []
    for place, item in enumerate(form.foods, start=1):
        if item.food:
            what = f"Amount of {item.food}"
            doses += answers.read(f"food_{place}_amount", what, partial(_dose, item, litres, guessed), instead=())
    draft = Recipe(key="recipe", name=form.recipe_name.strip(), compost="compost", compost_g_per_l=0.0)
    return answers.read(
        "compost_amount",
        "Amount of compost",
        lambda: replace(
            draft,
            foods=tuple(doses),
            water=form.water.strip() or "unknown",
            compost_g_per_l=grams_per_l,
            guessed=tuple(dict.fromkeys(guessed)),
        ),
        instead=draft,
    )


def write_recipe(notebook: Notebook, pen: Pen, form: BrewStart, recipe: Recipe, *, now: datetime, who: str) -> str:
    """Write a new recipe with its compost; gives its key, or that of the one chosen."""
    if form.recipe != NEW:
        return recipe.key
    compost = _compost(notebook, pen, form, now, who)
    name = recipe.name or " and ".join([compost.name, *(FOODS.find(dose.food).name for dose in recipe.foods)])
    made = replace(recipe, key=new_key(notebook, Recipe, name), name=name, compost=compost.key)
    return pen.add(made, at=now, who=who, token=form.token_of("recipe")).key


def _compost(notebook: Notebook, pen: Pen, form: BrewStart, now: datetime, who: str) -> Compost:
    if form.compost != NEW:
        return notebook.get(Compost, form.compost)
    name = form.compost_name.strip() or "Compost"
    compost = Compost(key=new_key(notebook, Compost, name), name=name, animal_origin={"yes": True, "no": False}.get(form.animal))
    return replace(compost, key=pen.add(compost, at=now, who=who, token=form.token_of("compost")).key)


def _compost_g_per_l(form: BrewStart, litres: float, guessed: list[str]) -> float:
    text, unit = form.compost_amount.strip(), form.compost_unit
    if not text:
        guessed.append("compost")
        return COMPOST_G_PER_L.middle
    if unit in MASSES:
        return parse_number(text) * MASSES[unit] / litres
    guessed.append("weight of compost")
    return VOLUME.convert(parse_number(text), unit) * 1000.0 * COMPOST_KG_PER_L.middle / litres


def _dose(item: FoodTyped, litres: float, guessed: list[str]) -> tuple[FoodDose, ...]:
    food = FOODS.find(item.food)
    if not item.amount.strip():
        guessed.append(f"food {food.key}")
        return (FoodDose(food=food.key, g_per_l=FOOD_G_PER_L.middle),)
    amount = parse_number(item.amount)
    if amount < 0.0:
        raise UnusableRecord(f"'{item.amount}' is less than nothing.", "Give the amount that went in, or leave it empty.")
    if item.unit in MASSES:
        return (FoodDose(food=food.key, g_per_l=amount * MASSES[item.unit] / litres),)
    grams = VOLUME.convert(amount, item.unit) * 1000.0 * food.density_kg_per_l.mid
    return (FoodDose(food=food.key, g_per_l=grams / litres),)
