"""What stands ready for brews and trials: recipes, vessels and tests, written in before any air is on."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook
from aerobe.units import VOLUME, parse_number
from aerobe.usecases.brews._starting import NEW, BrewStart, take_assay, take_recipe, take_vessel
from aerobe.usecases.brews._vessel import named

VESSELS_AT_ONCE = 24


def add_recipe(notebook: Notebook, form: BrewStart, *, now: datetime, who: str = "") -> str:
    """Write in a recipe; its amounts are for the water given in `volume`. Gives its key.

    Raises
    ------
    AerobeError
        If a field cannot be used; then nothing has been written.
    """
    if not form.recipe_name.strip():
        raise UnusableRecord("The recipe has no name.", "Give it a short name, for example 'Plain' or 'With molasses'.")
    litres = named("Water that the amounts are for", lambda: VOLUME.read(form.volume))
    if litres <= 0.0:
        raise UnusableRecord("The amounts need water to go into.", "Give the water of one vessel, for example 20 L.")
    with notebook.writing() as pen:
        return take_recipe(notebook, pen, form, litres, now, who)


def add_vessels(notebook: Notebook, form: BrewStart, *, how_many: str = "1", now: datetime, who: str = "") -> tuple[str, ...]:
    """Write in one vessel, or several alike: `Bucket` four times becomes Bucket 1 to Bucket 4. Gives their keys.

    Raises
    ------
    AerobeError
        If a field cannot be used; then nothing has been written.
    """
    count = named("How many alike", lambda: parse_number(how_many or "1"))
    if count != int(count) or not 1 <= count <= VESSELS_AT_ONCE:
        raise UnusableRecord(f"'{how_many}' is no number of vessels.", f"Give a whole number from 1 to {VESSELS_AT_ONCE}.")
    name = form.vessel_name.strip() or "Vessel"
    names = [name] if count == 1 else [f"{name} {place}" for place in range(1, int(count) + 1)]
    with notebook.writing() as pen:
        return tuple(
            take_vessel(notebook, pen, replace(form, vessel_name=each, token=_token(form, place)), now, who)[1]
            for place, each in enumerate(names)
        )


def add_test(notebook: Notebook, form: BrewStart, *, now: datetime, who: str = "") -> None:
    """Write in a test by its name, method, unit and price.

    Raises
    ------
    AerobeError
        If a field cannot be used; then nothing has been written.
    """
    if not form.assay_name.strip():
        raise UnusableRecord("The test has no name.", "Name it as you call it, for example 'Colour test'.")
    with notebook.writing() as pen:
        take_assay(notebook, pen, replace(form, assay=NEW), now, who)


def _token(form: BrewStart, place: int) -> str:
    return f"{form.token}.{place}" if form.token else ""
