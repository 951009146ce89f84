"""Trials with brews that have not begun, for the first screen: it loads nothing that plans or judges."""

from __future__ import annotations

from aerobe.notebook import Notebook
from aerobe.records import Trial
from aerobe.usecases.brews._held import cached, held_by


def trials_waiting(notebook: Notebook) -> tuple[tuple[str, str, int], ...]:
    """Key and name of each trial with brews that have not begun, and how many those are."""
    held = held_by(notebook)

    def read() -> tuple[tuple[str, str, int], ...]:
        begun = held.brews
        names = {trial.key: trial.name for trial in notebook.find(Trial)}
        sheets = [held.sheets[key] for key in sorted(held.sheets)]
        counts = [(sheet.trial, sum(planned.brew not in begun for planned in sheet.brews)) for sheet in sheets]
        return tuple((key, names.get(key, key), count) for key, count in counts if count)

    return cached(notebook, ("trials waiting",), held.version_of("brews", "run_sheets", "trials"), read)
