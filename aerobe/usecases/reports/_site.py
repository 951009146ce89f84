"""All trials and finished brews of a notebook as a folder of static pages."""

from __future__ import annotations

from datetime import datetime

from aerobe.errors import AerobeError
from aerobe.notebook import Notebook
from aerobe.records import Harvest, Trial
from aerobe.reports import Report, site
from aerobe.usecases.reports._writing import Wanted, report_of_brew, report_of_trial


def static_site(
    notebook: Notebook,
    *,
    title: str,
    about: str,
    now: datetime,
    wanted: Wanted | None = None,
) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """Files by path, and a line for each trial or brew that cannot be reported yet.

    Parameters
    ----------
    title, about
        For the first page.
    now, wanted
        As for reports.
    """
    reports: list[tuple[str, Report]] = []
    skipped: list[str] = []
    for trial in notebook.find(Trial):
        try:
            reports.append((trial.key, report_of_trial(notebook, trial.key, now=now, wanted=wanted)))
        except AerobeError as fault:
            skipped.append(f"Trial {trial.key} is left out: {fault.problem}")
    for harvest in notebook.find(Harvest):
        try:
            reports.append((harvest.brew, report_of_brew(notebook, harvest.brew, now=now, wanted=wanted)))
        except AerobeError as fault:
            skipped.append(f"Brew {harvest.brew} is left out: {fault.problem}")
    return site(reports, title=title, about=about, made_at=now), tuple(skipped)
