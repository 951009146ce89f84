"""A trial as it stands: its sheet, its brews, what waits."""

from __future__ import annotations

from dataclasses import dataclass, replace

from aerobe.errors import NotFound
from aerobe.notebook import Notebook
from aerobe.records import Brew, PlannedBrew, RunSheet, Trial
from aerobe.usecases.trials._blinding import shown, shown_sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialView:
    """A trial as it stands."""

    trial: Trial
    sheet: RunSheet | None
    brews: tuple[Brew, ...]  # that were started
    waiting: tuple[PlannedBrew, ...]  # planned and not started
    with_results: int  # brews that have a sample reading


def trial_list(notebook: Notebook) -> list[dict[str, object]]:
    """Every trial with how far it has come, in the order of keys."""
    started: dict[str, int] = {}
    for brew in notebook.find(Brew):
        started[brew.trial] = started.get(brew.trial, 0) + 1
    return [
        {
            "key": trial.key,
            "name": trial.name,
            "question": trial.question,
            "outcome": trial.outcome,
            "arms": len(trial.arms),
            "brews": started.get(trial.key, 0),
        }
        for trial in notebook.find(Trial)
    ]


def trial_view(notebook: Notebook, key: str) -> TrialView:
    """One trial as it stands.

    Raises
    ------
    NotFound
        If there is none with this key.
    """
    trial = notebook.get(Trial, key)
    sheet = sheet_of(notebook, key)
    brews = tuple(notebook.find(Brew, of=key))
    known = {brew.key for brew in brews}
    sampled = {reading.brew for brew in brews for reading in notebook.readings(brew.key) if reading.role == "sample"}
    waiting = tuple(planned for planned in (sheet.brews if sheet else ()) if planned.brew not in known)
    return TrialView(trial=trial, sheet=sheet, brews=brews, waiting=waiting, with_results=len(sampled))


def trial_shown(notebook: Notebook, key: str) -> TrialView:
    """One trial as it may be shown: recipes and arms stay behind their codes until these are opened."""
    view = trial_view(notebook, key)
    sheet = shown_sheet(notebook, view.sheet)
    left = {item.brew for item in view.waiting}
    return replace(
        view,
        sheet=sheet,
        brews=tuple(shown(notebook, brew) for brew in view.brews),
        waiting=tuple(item for item in (sheet.brews if sheet else ()) if item.brew in left),
    )


def sheet_of(notebook: Notebook, key: str) -> RunSheet | None:
    """The run sheet of a trial, if it has one."""
    try:
        return notebook.get(RunSheet, key)
    except NotFound:
        return None
