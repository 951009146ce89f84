"""The test that a brew is followed with: one that is known, or a new one."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from aerobe.notebook import Notebook, Pen
from aerobe.records import Assay
from aerobe.units import BIOMASS, MONEY
from aerobe.usecases.brews._form import Answers
from aerobe.usecases.brews._typed import NEW, BrewStart
from aerobe.usecases.notebook._records import new_key


def read_test(notebook: Notebook, form: BrewStart, answers: Answers) -> Assay | None:
    """The test chosen, a new one, or none where none has a name. Faults go to `answers`."""
    if form.assay not in ("", NEW):
        return answers.read("assay", "Test", lambda: notebook.get(Assay, form.assay), instead=None)
    price = answers.read("price", "Price of a test", lambda: MONEY.read(form.price or "0"), instead=0.0)
    name = form.assay_name.strip()
    if not form.assay or not name:
        return None
    return answers.read(
        "assay_unit",
        "Test",
        lambda: Assay(
            key="assay",
            name=name,
            method=form.method,
            unit=form.assay_unit,
            to_house=BIOMASS.convert(1.0, form.assay_unit),
            price=price,
        ),
        instead=None,
    )


def write_test(notebook: Notebook, pen: Pen, form: BrewStart, test: Assay | None, *, now: datetime, who: str) -> str:
    """Write a new test in; gives its key, or that of the one chosen; empty without one."""
    if test is None:
        return ""
    if form.assay != NEW:
        return test.key
    made = replace(test, key=new_key(notebook, Assay, test.name))
    return pen.add(made, at=now, who=who, token=form.token_of("assay")).key
