"""Commands that write in what stands ready, and list it."""

from __future__ import annotations

from dataclasses import replace

from cyclopts import App

from aerobe.cli._common import OWN, Where, now, say, table, then
from aerobe.cli._typed import VESSEL, VesselOptions, amount_typed, ask, food_typed

compost = App(name="compost", help="Composts: write one in, list them.")
recipe = App(name="recipe", help="Recipes: write one in, list them.")
vessel = App(name="vessel", help="Vessels and their air: write one in, list them.")
test = App(name="test", help="Tests: write one in, list them.")


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

    typed = name or ask("What do you call the compost?")
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

    amount, unit = amount_typed(compost_amount, "g")
    form = BrewStart(
        recipe_name=name or ask("What do you call the recipe?"),
        compost=compost,
        compost_amount=amount,
        compost_unit=unit,
        volume=water,
        foods=tuple(food_typed(item) for item in food),
        water=kind_of_water,
        token=token,
    )
    with where.open() as open_one:
        key = add_recipe(open_one, form, now=now())
    say({"key": key}, as_json=where.json, text=[f"Recipe '{key}' is written in.", *then(f"start --recipe {key}")])


@vessel.command(name="add")
def vessel_add(
    name: str = "", /, *, asked: VesselOptions = VESSEL, how_many: str = "1", token: str = "", where: Where = OWN
) -> None:
    """Write in a vessel, or several alike. What is left out, except the volume, is guessed and marked as a guess.

    Parameters
    ----------
    name
        What you call it.
    how_many
        How many alike.
    token
        An entry token: the same token twice writes it in once.
    """
    from aerobe.usecases.brews import BrewStart, add_vessels

    form = asked.onto(BrewStart(vessel_name=name, token=token))
    form = form if form.volume else replace(form, volume=ask("How much water is in it? (20 L)"))
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
        assay_name=name or ask("What do you call the test?"), method=method, assay_unit=unit, price=price, token=token
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
