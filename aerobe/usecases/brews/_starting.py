"""A brew started from one form: what it stands in, what goes in, how it is tested. All is written, or nothing.

How big it is has to be said. Whatever else nobody gives stands there as a guess, marked as one, and makes the call less sure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.inference import TEMPERATURE_DEGC
from aerobe.notebook import Notebook
from aerobe.oxygen import FOODS
from aerobe.records import (
    BREW_GUESSES,
    DIFFUSERS,
    METHODS,
    AimChoice,
    Assay,
    Brew,
    Compost,
    Costs,
    Recipe,
    Vessel,
)
from aerobe.units import BIOMASS, TEMPERATURE, parse_number
from aerobe.usecases.brews._form import Answers
from aerobe.usecases.brews._ingredients import AMOUNTS_OF_COMPOST, MASSES, read_recipe, write_recipe
from aerobe.usecases.brews._put_away import put_away
from aerobe.usecases.brews._tests import read_test, write_test
from aerobe.usecases.brews._typed import NEW, BrewStart
from aerobe.usecases.brews._vessel import vessel_of_answers, write_vessel
from aerobe.usecases.notebook._moments import moment_of
from aerobe.usecases.notebook._records import new_key
from aerobe.usecases.trials._blinding import is_hidden, refuse_while_hidden

TESTS_OF_A_BREW = 4  # where a test is at hand and nobody says how many


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
    masses: tuple[str, ...] = AMOUNTS_OF_COMPOST
    amounts: tuple[str, ...] = (*MASSES, "mL", "tsp", "tbsp", "cup")
    biomass_units: tuple[str, ...] = tuple(BIOMASS.accepts)


def start_choices(notebook: Notebook) -> Choices:
    """What a new brew can be put together from; what was put away is not among it."""
    gone = put_away(notebook)
    return Choices(
        vessels=tuple(item for item in notebook.find(Vessel) if ("vessel", item.key) not in gone),
        composts=tuple(notebook.find(Compost)),
        recipes=tuple(item for item in notebook.find(Recipe) if ("recipe", item.key) not in gone),
        assays=tuple(item for item in notebook.find(Assay) if ("assay", item.key) not in gone),
        foods=tuple(sorted(((food.key, food.name) for food in FOODS.values()), key=lambda pair: pair[1].lower())),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Latest:
    """What was used last, so that the form begins with it; "(new)" where there is nothing."""

    vessel: str = NEW
    recipe: str = NEW
    assay: str = NEW


def latest_choices(notebook: Notebook) -> Latest:
    """Vessel and recipe of the newest brew whose recipe may be seen, and the test that it was followed with."""
    choices = start_choices(notebook)
    brews = sorted(notebook.find(Brew), key=lambda item: item.started_at)
    last = next((brew for brew in reversed(brews) if not is_hidden(notebook, brew)), None)
    readings = notebook.readings(last.key) if last else []

    def among(key: str | None, items: Sequence[Vessel | Recipe | Assay]) -> str:
        keys = [item.key for item in items]
        return key if key in keys and key is not None else keys[0] if keys else NEW

    return Latest(
        vessel=among(last.vessel if last else None, choices.vessels),
        recipe=among(last.recipe if last else None, choices.recipes),
        assay=among(readings[-1].assay if readings else None, choices.assays),
    )


def brew_to_repeat(notebook: Notebook, key: str) -> Brew:
    """The brew that is to be brewed once more.

    Raises
    ------
    NotFound
        If there is no such brew.
    NotAllowed
        If its recipe is still hidden behind a code.
    """
    brew = notebook.get(Brew, key)
    refuse_while_hidden(notebook, [brew])
    return brew


def start_brew(notebook: Notebook, form: BrewStart, *, now: datetime, who: str = "") -> str:
    """Write a brew with whatever of vessel, compost, recipe and test is new; gives its key.

    Raises
    ------
    UnusableForm
        If fields cannot be used: all of them at once. Nothing has been written then.
    """
    answers = Answers()
    with notebook.writing() as pen:
        vessel = vessel_of_answers(notebook, form, answers)
        recipe = read_recipe(notebook, form, vessel.volume_l, answers)
        test = read_test(notebook, form, answers)
        tests = answers.read("tests", "Tests you can afford", lambda: tests_of(form.tests, test is not None), instead=0)
        began = answers.read("started_at", "Air on since", lambda: moment_of(form.started_at, now=now), instead=now)
        degc = answers.read("temperature", "Water temperature", lambda: temperature_of(form.temperature), instead=20.0)
        name = form.name.strip() or f"Brew of {began.day} {began:%B}"
        key = new_key(notebook, Brew, name)
        draft = Brew(key=key, name=name, recipe="recipe", vessel="vessel", started_at=began)
        made = answers.read("temperature", "Water temperature", lambda: replace(draft, temperature_degc=degc), instead=draft)
        answers.settle()
        brew = replace(
            made,
            vessel=write_vessel(notebook, pen, form, vessel, now=now, who=who),
            recipe=write_recipe(notebook, pen, form, recipe, now=now, who=who),
            aim=AimChoice(),
            costs=Costs(test=price_of(test)),
            tests_in_budget=tests,
            guessed=() if form.temperature.strip() else BREW_GUESSES,
        )
        write_test(notebook, pen, form, test, now=now, who=who)
        return pen.add(brew, at=now, who=who, token=form.token).key


def price_of(test: Assay | None) -> float:
    """The price of a test, or what one is taken to cost where nobody says. [money]"""
    return (test.price if test is not None else 0.0) or Costs().test


def temperature_of(text: str) -> float:
    """The water's temperature as typed, or the guess that stands where nobody looked. [degC]"""
    return TEMPERATURE.read(text) if text.strip() else TEMPERATURE_DEGC.middle


def tests_of(text: str, at_hand: bool) -> int:
    """How many tests may be spent on a brew; without a word, none where there is no test.

    Raises
    ------
    UnusableRecord
        If the text is no number of tests.
    """
    if not text.strip():
        return TESTS_OF_A_BREW if at_hand else 0
    tests = parse_number(text)
    if tests != int(tests) or not 0 <= tests <= 1000:
        raise UnusableRecord(f"'{text}' is no number of tests.", "Give a whole number such as 4.")
    return int(tests)
