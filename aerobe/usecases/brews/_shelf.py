"""What stands ready for brews and trials: composts, recipes, vessels and tests, written in before any air is on."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.records import Compost
from aerobe.units import VOLUME, parse_number
from aerobe.usecases.brews._form import Answers
from aerobe.usecases.brews._ingredients import read_recipe, write_recipe
from aerobe.usecases.brews._tests import read_test, write_test
from aerobe.usecases.brews._typed import NEW, BrewStart
from aerobe.usecases.brews._vessel import vessel_of_answers, write_vessel
from aerobe.usecases.notebook._records import new_key

VESSELS_AT_ONCE = 24


def add_compost(
    notebook: Notebook, name: str, *, animal: str = "not known", now: datetime, who: str = "", token: str = ""
) -> str:
    """Write in a compost by its name; gives its key.

    Raises
    ------
    UnusableForm
        If a field cannot be used.
    """
    answers, origin = Answers(), {"yes": True, "no": False, "not known": None}
    typed = answers.read("compost_name", "Compost", lambda: _named(name, "'Leaf mould'"), instead="")
    if animal not in origin:
        wrong = UnusableRecord(f"'{animal}' is no answer.", f"Use one of: {', '.join(origin)}.")
        answers.faults.append(("animal", wrong))
    answers.settle()
    with notebook.writing() as pen:
        compost = Compost(key=new_key(notebook, Compost, typed), name=typed, animal_origin=origin[animal])
        return pen.add(compost, at=now, who=who, token=token).key


def add_recipe(notebook: Notebook, form: BrewStart, *, now: datetime, who: str = "") -> str:
    """Write in a recipe; its amounts are for the water given in `volume`. Gives its key.

    Raises
    ------
    UnusableForm
        If fields cannot be used: all of them at once. Nothing has been written then.
    """
    answers = Answers()
    answers.read("recipe_name", "Recipe", lambda: _named(form.recipe_name, "'Plain' or 'With molasses'"), instead="")
    litres = answers.read("batch", "Water that the amounts are for", lambda: _batch(form.volume), instead=1.0)
    with notebook.writing() as pen:
        recipe = read_recipe(notebook, form, litres, answers)
        answers.settle()
        return write_recipe(notebook, pen, form, recipe, now=now, who=who)


def add_vessels(notebook: Notebook, form: BrewStart, *, how_many: str = "1", now: datetime, who: str = "") -> tuple[str, ...]:
    """Write in one vessel, or several alike: `Bucket` four times becomes Bucket 1 to Bucket 4. Gives their keys.

    Raises
    ------
    UnusableForm
        If fields cannot be used: all of them at once. Nothing has been written then.
    """
    answers = Answers()
    with notebook.writing() as pen:
        vessel = vessel_of_answers(notebook, form, answers)
        count = answers.read("how_many", "How many alike", lambda: _how_many(how_many), instead=1)
        answers.settle()
        names = [vessel.name] if count == 1 else [f"{vessel.name} {place}" for place in range(1, count + 1)]
        return tuple(
            write_vessel(
                notebook, pen, replace(form, token=form.token_of(str(place))), replace(vessel, name=each), now=now, who=who
            )
            for place, each in enumerate(names)
        )


def add_test(notebook: Notebook, form: BrewStart, *, now: datetime, who: str = "") -> str:
    """Write in a test by its name, method, unit and price; gives its key.

    Raises
    ------
    UnusableForm
        If fields cannot be used: all of them at once. Nothing has been written then.
    """
    answers, fresh = Answers(), replace(form, assay=NEW)
    answers.read("assay_name", "Test", lambda: _named(form.assay_name, "'Colour test'"), instead="")
    with notebook.writing() as pen:
        test = read_test(notebook, fresh, answers)
        answers.settle()
        return write_test(notebook, pen, fresh, test, now=now, who=who)


def _named(text: str, such_as: str) -> str:
    if not text.strip():
        raise UnusableRecord("It has no name.", f"Name it as you call it, for example {such_as}.")
    return text.strip()


def _batch(text: str) -> float:
    litres = VOLUME.read(text) if text.strip() else 0.0
    if litres <= 0.0:
        raise UnusableRecord("The amounts need water to go into.", "Give the water of one vessel, for example 20 L.")
    return litres


def _how_many(text: str) -> int:
    count = parse_number(text or "1")
    if count != int(count) or not 1 <= count <= VESSELS_AT_ONCE:
        raise UnusableRecord(f"'{text}' is no number of vessels.", f"Give a whole number from 1 to {VESSELS_AT_ONCE}.")
    return int(count)
