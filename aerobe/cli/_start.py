"""The command that starts a brew from nothing but answers."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from aerobe.cli._common import OWN, Where, now, say, shown, then
from aerobe.cli._typed import VESSEL, VesselOptions, amount_typed, ask, food_typed
from aerobe.errors import UnusableForm

if TYPE_CHECKING:
    from aerobe.usecases.brews import BrewStart
    from aerobe.usecases.notebook import Notebook

ASKED_AGAIN = 5  # times that a person at a terminal may mend a slip


def start(
    name: str = "",
    /,
    *,
    asked: VesselOptions = VESSEL,
    compost_amount: str = "",
    food: tuple[str, ...] = (),
    vessel: str = "",
    recipe: str = "",
    test: str = "",
    tests: str = "",
    price: str = "",
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
    compost_amount
        For the whole vessel, wet: "500 g", "2 L".
    food
        A food with its amount: "molasses 20 g"; may be given several times.
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
    temperature
        Of the water.
    started
        When the air was turned on: 08:30, or a date and time; now if left out.
    token
        An entry token: the same token twice starts it once.
    """
    from aerobe.usecases.brews import BrewStart, guesses_of_brew, start_choices

    amount, unit = amount_typed(compost_amount, "g")
    with where.open() as open_one:
        known = {item.key for item in start_choices(open_one).assays}
        form = BrewStart(
            name=name,
            started_at=started,
            temperature=temperature,
            tests=tests,
            vessel=vessel or "(new)",
            recipe=recipe or "(new)",
            compost_amount=amount,
            compost_unit=unit,
            foods=tuple(food_typed(item) for item in food),
            assay=test if test in known else "(new)",
            assay_name="" if test in known else test,
            price=price,
            token=token,
        )
        form = asked.onto(form)
        if not where.json and sys.stdin.isatty() and not (form.volume or vessel):
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
    answer = ask(QUESTIONS[field])
    if field == "volume":
        return replace(form, volume=answer)
    if field == "flow":
        return replace(form, flow=answer)
    if field == "compost_amount":
        amount, unit = amount_typed(answer, "g")
        return replace(form, compost_amount=amount, compost_unit=unit)
    return replace(form, foods=tuple(food_typed(item) for item in answer.split(",") if item.strip()))


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
