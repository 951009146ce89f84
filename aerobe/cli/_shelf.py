"""Commands that write in what stands ready, and that start a brew from nothing but answers."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from cyclopts import App

from aerobe.cli._common import OWN, Where, now, say, shown, table, then
from aerobe.errors import NotAQuantity, UnusableForm

if TYPE_CHECKING:
    from aerobe.usecases.brews import BrewStart, FoodTyped
    from aerobe.usecases.notebook import Notebook

compost = App(name="compost", help="Composts: write one in, list them.")
recipe = App(name="recipe", help="Recipes: write one in, list them.")
vessel = App(name="vessel", help="Vessels and their air: write one in, list them.")
test = App(name="test", help="Tests: write one in, list them.")
ASKED_AGAIN = 5  # times that a person at a terminal may mend a slip


@compost.command(name="add")
def compost_add(name: str = "", /, *, animal: str = "not known", token: str = "", where: Where = OWN) -> None:
    """Write in a compost.

    Parameters
    ----------
    name
        What you call it.
    animal
        Whether manure or other animal material is in it: yes, no or "not known".
    token
        An entry token: the same token twice writes it in once.
    """
    from aerobe.usecases.brews import add_compost

    typed = name or _ask("What do you call the compost?")
    with where.open() as open_one:
        key = add_compost(open_one, typed, animal=animal, now=now(), token=token)
    say({"key": key}, as_json=where.json, text=[f"Compost '{key}' is written in.", *then(f'recipe add "Plain" --compost {key}')])


@recipe.command(name="add")
def recipe_add(
    name: str = "",
    /,
    *,
    compost: str = "(new)",
    compost_amount: str = "",
    water: str = "1 L",
    food: tuple[str, ...] = (),
    kind_of_water: str = "",
    token: str = "",
    where: Where = OWN,
) -> None:
    """Write in a recipe. An amount that is left out is guessed, and marked as a guess.

    Parameters
    ----------
    name
        What you call it.
    compost
        Key of a compost in the notebook; left out, a new one is written in.
    compost_amount
        Of the compost, wet, such as "500 g" or "2 L".
    water
        How much water the amounts are for.
    food
        A food with its amount, such as "molasses 20 g"; may be given several times.
    kind_of_water
        Rain, well, tap ...
    token
        An entry token: the same token twice writes it in once.
    """
    from aerobe.usecases.brews import BrewStart, add_recipe

    amount, unit = _amount(compost_amount, "g")
    form = BrewStart(
        recipe_name=name or _ask("What do you call the recipe?"),
        compost=compost,
        compost_amount=amount,
        compost_unit=unit,
        volume=water,
        foods=tuple(_food(item) for item in food),
        water=kind_of_water,
        token=token,
    )
    with where.open() as open_one:
        key = add_recipe(open_one, form, now=now())
    say({"key": key}, as_json=where.json, text=[f"Recipe '{key}' is written in.", *then(f"start --recipe {key}")])


@vessel.command(name="add")
def vessel_add(
    name: str = "",
    /,
    *,
    volume: str = "",
    depth: str = "",
    air: str = "",
    air_is: str = "label",
    diffuser: str = "",
    altitude: str = "",
    how_many: str = "1",
    token: str = "",
    where: Where = OWN,
) -> None:
    """Write in a vessel, or several alike. What is left out, except the volume, is guessed and marked as a guess.

    Parameters
    ----------
    name
        What you call it.
    volume
        Water in it, as filled: "20 L".
    depth
        From the surface to the air outlet: "30 cm".
    air
        Air flow such as "8 L/min", or the pump's power such as "5 W".
    air_is
        Where the flow is from: label, measured or unknown.
    diffuser
        How the air comes out: "fine bubble", "coarse bubble", "open pipe", venturi or none.
    altitude
        Height above the sea: "300 m".
    how_many
        How many alike.
    token
        An entry token: the same token twice writes it in once.
    """
    from aerobe.usecases.brews import BrewStart, add_vessels

    form = BrewStart(
        vessel_name=name,
        volume=volume or _ask("How much water is in it? (20 L)"),
        depth=depth,
        flow=air,
        flow_is=air_is,
        diffuser=diffuser,
        altitude=altitude,
        token=token,
    )
    with where.open() as open_one:
        keys = add_vessels(open_one, form, how_many=how_many, now=now())
    text = [f"Written in: {', '.join(keys)}.", *then(f"start --vessel {keys[0]}")]
    say({"keys": list(keys)}, as_json=where.json, text=text)


@test.command(name="add")
def test_add(
    name: str = "",
    /,
    *,
    method: str = "other",
    unit: str = "ug C/mL",
    price: str = "",
    token: str = "",
    where: Where = OWN,
) -> None:
    """Write in a test.

    Parameters
    ----------
    name
        What you call it.
    method
        How it works: "colour test", "direct microscopy", "plate count" ...
    unit
        Of its result.
    price
        Of one test.
    token
        An entry token: the same token twice writes it in once.
    """
    from aerobe.usecases.brews import BrewStart, add_test

    form = BrewStart(
        assay_name=name or _ask("What do you call the test?"), method=method, assay_unit=unit, price=price, token=token
    )
    with where.open() as open_one:
        key = add_test(open_one, form, now=now())
    text = [f"Test '{key}' is written in.", *then(f'reading add BREW "12.5" --assay {key}')]
    say({"key": key}, as_json=where.json, text=text)


@compost.command(name="list")
def compost_list(*, where: Where = OWN) -> None:
    """The composts of the notebook."""
    from aerobe.usecases.brews import start_choices

    with where.open(create=False) as open_one:
        found = start_choices(open_one).composts
    say(found, as_json=where.json, text=table(("key", "name"), [(item.key, item.name) for item in found]))


@recipe.command(name="list")
def recipe_list(*, where: Where = OWN) -> None:
    """The recipes of the notebook, without those put away."""
    from aerobe.usecases.brews import start_choices

    with where.open(create=False) as open_one:
        found = start_choices(open_one).recipes
    rows = [
        (
            item.key,
            item.name,
            f"{item.compost_g_per_l:.4g}",
            ", ".join(f"{dose.food} {dose.g_per_l:.4g} g/L" for dose in item.foods),
        )
        for item in found
    ]
    say(found, as_json=where.json, text=table(("key", "name", "compost g/L", "foods"), rows))


@vessel.command(name="list")
def vessel_list(*, where: Where = OWN) -> None:
    """The vessels of the notebook, without those put away."""
    from aerobe.usecases.brews import start_choices

    with where.open(create=False) as open_one:
        found = start_choices(open_one).vessels
    rows = [(item.key, item.name, f"{item.volume_l:.6g} L", f"{item.air.flow_l_per_min:.3g} L/min") for item in found]
    say(found, as_json=where.json, text=table(("key", "name", "water", "air"), rows))


@test.command(name="list")
def test_list(*, where: Where = OWN) -> None:
    """The tests of the notebook, without those put away."""
    from aerobe.usecases.brews import start_choices

    with where.open(create=False) as open_one:
        found = start_choices(open_one).assays
    rows = [(item.key, item.name, item.method, item.unit, f"{item.price:g}") for item in found]
    say(found, as_json=where.json, text=table(("key", "name", "method", "unit", "price"), rows))


def start(
    name: str = "",
    /,
    *,
    volume: str = "",
    compost_amount: str = "",
    food: tuple[str, ...] = (),
    air: str = "",
    air_is: str = "label",
    vessel: str = "",
    recipe: str = "",
    test: str = "",
    tests: str = "",
    price: str = "",
    depth: str = "",
    diffuser: str = "",
    temperature: str = "",
    started: str = "",
    token: str = "",
    where: Where = OWN,
) -> None:
    """Start a brew from nothing: how big, how much compost, what food, what air. At a terminal what is missing is asked.

    Whatever else is left out is guessed; the answer names each guess with its range.

    Parameters
    ----------
    name
        What you call it; left out, it gets the date.
    volume
        Water in the vessel, as filled: "20 L".
    compost_amount
        For the whole vessel, wet: "500 g", "2 L".
    food
        A food with its amount: "molasses 20 g"; may be given several times.
    air
        Air flow such as "8 L/min", or the pump's power such as "5 W".
    air_is
        Where the flow is from: label, measured or unknown.
    vessel
        Key of a vessel in the notebook, instead of volume and air.
    recipe
        Key of a recipe in the notebook, instead of compost and food.
    test
        Key of a test in the notebook, or the name of a new one.
    tests
        How many tests you can afford on it.
    price
        Of one new test.
    depth
        From the surface to the air outlet: "30 cm".
    diffuser
        How the air comes out.
    temperature
        Of the water.
    started
        When the air was turned on: 08:30, or a date and time; now if left out.
    token
        An entry token: the same token twice starts it once.
    """
    from aerobe.usecases.brews import BrewStart, guesses_of_brew, start_choices

    amount, unit = _amount(compost_amount, "g")
    with where.open() as open_one:
        known = {item.key for item in start_choices(open_one).assays}
        form = BrewStart(
            name=name,
            started_at=started,
            temperature=temperature,
            tests=tests,
            vessel=vessel or "(new)",
            volume=volume,
            depth=depth,
            flow=air,
            flow_is=air_is,
            diffuser=diffuser,
            recipe=recipe or "(new)",
            compost_amount=amount,
            compost_unit=unit,
            foods=tuple(_food(item) for item in food),
            assay=test if test in known else "(new)",
            assay_name="" if test in known else test,
            price=price,
            token=token,
        )
        if not where.json and sys.stdin.isatty() and not (volume or vessel):
            form = _asked(form)
        key = _started(open_one, form, asks=not where.json and sys.stdin.isatty())
        guesses = guesses_of_brew(open_one, key)
    text = [f"Brew '{key}' runs."]
    if guesses:
        text += ["Guessed, because nobody said:", *(f"  {item.what}: {item.says}" for item in guesses)]
    say({"key": key, "guesses": guesses}, as_json=where.json, text=[*text, *then(f"call {key}")])


QUESTIONS: dict[str, str] = {
    "volume": "How much water is in it? (20 L)",
    "compost_amount": "How much compost goes in, wet? (500 g, 2 L; empty: not known)",
    "food_1_amount": "What food, and how much? (molasses 20 g; empty: none)",
    "flow": "What does the pump's label say? (8 L/min, 5 W; empty: not known)",
}


def _asked(form: BrewStart) -> BrewStart:
    for field in QUESTIONS:
        if (field == "compost_amount" or field.startswith("food")) and form.recipe != "(new)":
            continue
        form = _answered(form, field)
    return form


def _answered(form: BrewStart, field: str) -> BrewStart:
    answer = _ask(QUESTIONS[field])
    if field == "volume":
        return replace(form, volume=answer)
    if field == "flow":
        return replace(form, flow=answer)
    if field == "compost_amount":
        amount, unit = _amount(answer, "g")
        return replace(form, compost_amount=amount, compost_unit=unit)
    return replace(form, foods=tuple(_food(item) for item in answer.split(",") if item.strip()))


def _started(notebook: Notebook, form: BrewStart, *, asks: bool) -> str:
    from aerobe.usecases.brews import start_brew

    for left in reversed(range(ASKED_AGAIN if asks else 1)):
        try:
            return start_brew(notebook, form, now=now())
        except UnusableForm as fault:
            wrong = [field for field, _ in fault.by_field if field in QUESTIONS]
            if not left or not wrong:
                raise
            for _, one in fault.by_field:
                print(shown(f"{one.problem} {one.remedy}"))
            for field in dict.fromkeys(wrong):
                form = _answered(form, field)
    raise AssertionError("the last try raises")


def _ask(question: str) -> str:
    """An answer typed at the terminal; nothing where nobody sits there."""
    if not sys.stdin.isatty():
        return ""
    try:
        return input(f"{question} ").strip()
    except EOFError:
        return ""


def _amount(text: str, unit: str) -> tuple[str, str]:
    """Number and unit of an amount such as `500 g`; with the unit given where it has none."""
    found = re.fullmatch(r"\s*(.*?\d[.,]?)\s*([A-Za-z][A-Za-z ]*)?\s*", text)
    return (found[1], (found[2] or unit).strip()) if found else (text.strip(), unit)


def _food(text: str) -> FoodTyped:
    """A food with its amount: `molasses 20 g`, `kelp-meal 1 tbsp`, or the food alone."""
    from aerobe.usecases.brews import FoodTyped

    found = re.fullmatch(r"\s*([A-Za-z][A-Za-z-]*)[\s:=]*(.*)", text)
    if found is None:
        raise NotAQuantity(f"'{text[:60]}' is no food with its amount.", "Write the food first: molasses 20 g.")
    amount, unit = _amount(found[2], "g") if found[2] else ("", "g")
    return FoodTyped(food=found[1], amount=amount, unit=unit)
