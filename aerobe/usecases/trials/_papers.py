"""The papers of a trial: the run sheet to print, what goes into each brew, and the calendar."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from aerobe.errors import NotFound
from aerobe.notebook import Notebook
from aerobe.records import Recipe, RunSheet, Vessel
from aerobe.reports import sheet_page
from aerobe.trials import calendar_of
from aerobe.units import display_units, number, shown_markup, shown_text, signs_of_page
from aerobe.usecases.trials._blinding import note_key_shown
from aerobe.usecases.trials._view import TrialView, trial_view


def print_run_sheet(
    notebook: Notebook, key: str, *, with_arms: bool = False, link: str = "", style_href: str = "", now: datetime, who: str = ""
) -> str:
    """The run sheet as a printable page; that the key was shown is noted, for whoever saw it does not read blind."""
    view = trial_view(notebook, key)
    if with_arms and view.sheet is not None:
        note_key_shown(notebook, key, now=now, who=who)
    sheet, vessels = _need_sheet(view), {vessel.key: vessel for vessel in notebook.find(Vessel)}
    page = sheet_page(
        sheet,
        view.trial,
        with_arms=with_arms,
        link=link,
        style_href=style_href,
        vessels={key: vessel.name for key, vessel in vessels.items()},
        weighed=_to_weigh(notebook, view, vessels),
    )
    return signs_of_page(shown_markup(display_units(), page))


def _to_weigh(notebook: Notebook, view: TrialView, vessels: Mapping[str, Vessel]) -> dict[str, str]:
    """What goes into each planned brew whose recipe and vessel are written in."""
    recipes, arms = {recipe.key: recipe for recipe in notebook.find(Recipe)}, {arm.key: arm for arm in view.trial.arms}
    found = {}
    for planned in view.sheet.brews if view.sheet else ():
        recipe, vessel = recipes.get(arms[planned.arm].recipe), vessels.get(planned.vessel)
        if recipe is not None and vessel is not None:
            parts = [("compost", recipe.compost_g_per_l), *((dose.food, dose.g_per_l) for dose in recipe.foods)]
            weights = [f"{number(amount * vessel.volume_l)} g {name}" for name, amount in parts]
            found[planned.brew] = f"{', '.join(weights)}, in {number(vessel.volume_l)} L of water"
    return found


def trial_calendar(notebook: Notebook, key: str, *, now: datetime) -> bytes:
    """Starts and samplings as a calendar file."""
    return calendar_of(_need_sheet(trial_view(notebook, key)), made_at=now, shown=lambda text: shown_text(display_units(), text))


def _need_sheet(view: TrialView) -> RunSheet:
    if view.sheet is None:
        raise NotFound(f"Trial {view.trial.key} has no run sheet.", "Plan the trial here, so that brews are drawn at random.")
    return view.sheet
