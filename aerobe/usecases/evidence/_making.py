"""What the trials of a notebook, own or unpacked, show as contrasts, and how they were made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from aerobe.errors import AerobeError, NotAllowed, UnusableRecord
from aerobe.evidence import TrialContrast, brew_lines, contrasts_of_verdict, doubts_of_all, evidence_hash, grain_of
from aerobe.notebook import Notebook
from aerobe.records import Arm, Assay, Brew, Reading, Recipe, RunSheet, Trial
from aerobe.usecases.trials._history import HISTORY, PlanHistory, plan_history
from aerobe.usecases.trials._results import judged
from aerobe.verdicts import Verdict

CLOCKS_APART = timedelta(days=1)  # zones and clocks of others


def own_evidence(
    notebook: Notebook, site: str, *, asks: bool = True, sent: str | None = None, now: datetime | None = None
) -> tuple[list[TrialContrast], list[dict[str, Any]], list[str]]:
    """What the trials of a notebook show, their brews, and those that say nothing yet with the reason.

    Parameters
    ----------
    site
        What to call its place.
    asks
        Whether trials that were not judged yet are judged now.
    sent
        Of a package of others: the mark of the notebook that it came from, empty if it told none. None: one's own.
    now
        Of a package of others: nothing in it may have happened later.
    """
    notebook.require_whole()
    contrasts: list[TrialContrast] = []
    brews: list[dict[str, Any]] = []
    silent: list[str] = []
    for trial in notebook.find(Trial):
        try:
            found, lot = _of_trial(notebook, trial, site, asks=asks, sent=sent, now=now)
        except AerobeError as fault:
            silent.append(f"Trial {trial.key} says nothing yet: {fault.problem}")
            continue
        contrasts += found
        brews.append(lot)
    return contrasts, brews, silent


def _of_trial(
    notebook: Notebook, trial: Trial, site: str, *, asks: bool, sent: str | None, now: datetime | None
) -> tuple[list[TrialContrast], dict[str, Any]]:
    brews = notebook.find(Brew, of=trial.key)
    readings: list[Reading] = [item for brew in brews for item in notebook.readings(brew.key)]
    if now is not None:
        _refuse_what_is_to_come(brews, readings, now)
    assays = {item.key: item for item in notebook.find(Assay)}
    sheets = [sheet for sheet in notebook.find(RunSheet) if sheet.trial == trial.key]
    # Evidence is what the records say, not when somebody asks; the trial's own last day stands for the clock.
    last_day = max((brew.started_at for brew in brews), default=datetime(2000, 1, 1, tzinfo=UTC))
    verdict, told, _ = judged(notebook, trial.key, at_h=None, now=last_day, asks=asks)
    if doubts := doubts_of_all(verdict):
        raise NotAllowed(f"its verdict is held back. {doubts[0]}", "Mend that first, then judge the trial again.")
    recipes = {item.key: item for item in notebook.find(Recipe)}
    names = {arm.key: _recipe_name(arm, recipes) for arm in trial.arms}
    mark = evidence_hash(sorted([item.role, item.elapsed_h, item.signal, item.dilution] for item in readings))
    made = _making(readings, assays, sheets) | _plan(notebook, trial, brews, is_sent=sent is not None)
    made |= {"origin": notebook.origin if sent is None else sent, "moderators": _moderators(told, recipes)}
    hours = [result.elapsed_h for result in verdict.results if result.elapsed_h is not None]
    if hours:
        made["moderators"]["hour_h"] = round(sum(hours) / len(hours), 2)
    contrasts = contrasts_of_verdict(verdict, names, site=site, data_hash=mark, made=made)
    if not contrasts:
        raise NotAllowed(*_why_nothing(verdict))
    lines = brew_lines(verdict, names, {brew.key: brew.temperature_degc for brew in told})
    return contrasts, {"trial": trial.key, "site": site, "outcome": verdict.outcome.key, "data_hash": mark, "brews": lines}


def _why_nothing(verdict: Verdict) -> tuple[str, str]:
    """Why a verdict gives nothing to pool, and what to do."""
    held = next((item.because for item in verdict.comparisons if item.held_by), "")
    if held:
        return f"its verdict is held back. {held}", "Mend that first, then judge the trial again."
    return f"it compares no two recipes by a ratio of their {verdict.outcome.label}.", "Pool trials that compare two recipes."


def _refuse_what_is_to_come(brews: Sequence[Brew], readings: Sequence[Reading], now: datetime) -> None:
    """Refuse a trial of others whose brews or readings lie in the future.

    Raises
    ------
    UnusableRecord
        If one does; it is named.
    """
    began = {brew.key: brew.started_at for brew in brews}
    taken = [(item.brew or "", began[item.brew] + timedelta(hours=item.elapsed_h)) for item in readings if item.brew in began]
    late = [key for key, at in (*began.items(), *taken) if at > now + CLOCKS_APART]
    if late:
        raise UnusableRecord(
            f"brew {late[0]} has a date in the future.", "Ask whoever sent it for the true dates; check this clock, too."
        )


def _recipe_name(arm: Arm, recipes: Mapping[str, Recipe]) -> str:
    """Recipes are known to each other by name, so that two notebooks with other keys speak of the same thing."""
    recipe = recipes.get(arm.recipe)
    return recipe.name.strip().casefold() if recipe else arm.key


def trials_of(notebook: Notebook, recipe: str, against: str) -> list[Trial]:
    """Trials of a notebook that have both recipes, by the names that pools know them by."""
    recipes = {item.key: item for item in notebook.find(Recipe)}
    return [trial for trial in notebook.find(Trial) if {recipe, against} <= {_recipe_name(arm, recipes) for arm in trial.arms}]


def _plan(notebook: Notebook, trial: Trial, brews: Sequence[Brew], *, is_sent: bool) -> dict[str, bool | None]:
    """Whether the comparison was planned and the reader blind; None where a package does not tell the order of writing."""
    if is_sent and not notebook.kept(HISTORY, trial.key):
        return {"planned": None, "blinded": None}
    history = plan_history(notebook, trial.key)
    return {"planned": history.planned and _plan_came_first(trial, history, brews), "blinded": history.blinded}


def _plan_came_first(trial: Trial, history: PlanHistory, brews: Sequence[Brew]) -> bool:
    """Whether the dates bear out what a history says of itself."""
    if trial.planned_at is None or not brews:
        return False
    began = min(brew.started_at for brew in brews)
    try:
        written = datetime.fromisoformat(history.written_at) if history.written_at else began
    except ValueError:
        return False
    return trial.planned_at <= began and written.tzinfo is not None and written <= began


def _making(readings: Sequence[Reading], assays: Mapping[str, Assay], sheets: Sequence[RunSheet]) -> dict[str, Any]:
    samples = [item for item in readings if item.role == "sample"]
    used = [assays[key] for key in sorted({item.assay for item in samples})]
    return {
        "randomised": bool(sheets),
        "assay": ", ".join(item.name for item in used),
        "assay_characterised": all(item.error is not None and item.error.origin != "assumed" for item in used),
        "grain": grain_of([item.signal for item in samples]),
    }


def _moderators(brews: Sequence[Brew], recipes: Mapping[str, Recipe]) -> dict[str, float]:
    doses = [recipes[brew.recipe].compost_g_per_l for brew in brews if brew.recipe in recipes]
    found = {"temperature_degc": sum(brew.temperature_degc for brew in brews) / len(brews)}
    return {**found, "compost_g_per_l": sum(doses) / len(doses)} if doses else found
