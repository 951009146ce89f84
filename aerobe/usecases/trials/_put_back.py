"""A copy put in the notebook's place forgets results and questions: that there were some is carried over, and said."""

from __future__ import annotations

from datetime import datetime

from aerobe.notebook import Notebook
from aerobe.records import Brew, Trial
from aerobe.usecases.trials._asked import KIND as ASKED
from aerobe.usecases.trials._blinding import OPENING

KIND = "set aside"  # of kept results, under the key of the trial whose results a copy did not have


def known_of_trials(notebook: Notebook) -> dict[str, dict[str, list[str]]]:
    """What a notebook knows of its trials that an older copy of it may lack: results, questions and looks, and the recipes."""
    found = {}
    for trial in notebook.find(Trial):
        brews = notebook.find(Brew, of=trial.key)
        asked = [item for kind in (ASKED, *OPENING) for item in notebook.kept(kind, trial.key)]
        found[trial.key] = {
            "results": sorted(reading.key for brew in brews for reading in notebook.readings(brew.key, with_corrected=True)),
            "asked": sorted(f"{item.kind} {item.at.isoformat()} {item.payload}" for item in asked),
            "recipes": sorted({arm.recipe for arm in trial.arms if arm.recipe}),
        }
    return found


def note_what_was_set_aside(notebook: Notebook, before: dict[str, dict[str, list[str]]], *, now: datetime) -> None:
    """After a copy was put back: note each trial that had results or questions which the copy lacks."""
    here = known_of_trials(notebook)
    for key, knew in before.items():
        has = here.get(key, {"results": [], "asked": []})
        lost = {name: len(set(knew[name]) - set(has[name])) for name in ("results", "asked")}
        if any(lost.values()):
            notebook.keep(KIND, key, {**lost, "recipes": knew["recipes"], "trials": sorted(here)}, at=now)


def put_back_in_words(notebook: Notebook, trial: str) -> str:
    """That results or questions of this trial, or of one with its recipes before it was planned, were set aside; or nothing."""
    wanted = {arm.recipe for arm in notebook.get(Trial, trial).arms if arm.recipe}
    for item in notebook.kept(KIND):
        payload = item.payload if isinstance(item.payload, dict) else {}
        came_later = trial not in payload.get("trials", ()) and bool(wanted) and wanted <= set(payload.get("recipes", ()))
        if item.subject == trial or came_later:
            whose = "of this trial" if item.subject == trial else f"of the same recipes, in trial {item.subject},"
            return (
                f"An older copy was put in the notebook's place on {item.at:%Y-%m-%d %H:%M %Z}: {payload.get('results')} "
                f"readings {whose} and {payload.get('asked')} questions or looks were set aside with it."
            )
    return ""
