"""What is believed of a brew: its story from the notebook, what earlier brews teach, and the posterior of both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from aerobe import __version__
from aerobe.errors import NotEnoughData
from aerobe.inference import (
    DEFAULT_HORIZON_H,
    PRIOR,
    BestHour,
    BrewStory,
    Log,
    Past,
    Posterior,
    Taught,
    infer_brew,
    measurements_of,
    ph_notes,
)
from aerobe.notebook import BrewHistory, Notebook, brew_history
from aerobe.records import Brew, Harvest, Recipe, as_plain, content_hash
from aerobe.usecases.brews._behind_code import BEHIND_CODE, history_to_reckon
from aerobe.usecases.trials._blinding import HIDDEN, is_hidden

PAST_BREWS = 5  # earlier brews that sharpen the prior; more teach little and take time
PAST_TESTS = 2  # tests that an earlier brew must have to teach anything
HOURS_BEYOND = 12.0  # that a course goes on after the last thing known of a long brew [h]
MODEL = "3"  # grows when the model changes, so that kept summaries of brews are made anew


def infer_history(
    notebook: Notebook,
    history: BrewHistory,
    *,
    now: datetime,
    until_h: float | None = None,
    reach_h: float = 0.0,
    progress: Callable[[float], None] = lambda share: None,
) -> Posterior:
    """The posterior of a brew in the notebook, with what the person's earlier brews taught."""
    need_recipe_or_reading(history)
    story, notes = story_of_history(history, reach_h=reach_h)
    if until_h is not None:
        story = story.until(until_h)
    posterior = infer_brew(story, seed=history.brew.seed, past=past_of(notebook, history, now=now), progress=progress)
    hidden = (BEHIND_CODE,) if history.recipe.key == HIDDEN else ()
    return replace(posterior, notes=(*hidden, *notes, *posterior.notes))


def story_of_history(history: BrewHistory, *, reach_h: float = 0.0) -> tuple[BrewStory, tuple[str, ...]]:
    """The story of a brew as the notebook holds it, and what should be said about its readings.

    Its course goes on beyond the last thing known, and beyond `reach_h`.
    """
    measurements, notes = measurements_of(history.readings, history.assays)
    story = BrewStory(
        recipe=history.recipe,
        vessel=history.vessel,
        temperature_degc=history.brew.temperature_degc,
        measurements=measurements,
        oxygen=_log(history, "oxygen"),
        temperature=_log(history, "temperature"),
        events=history.events,
        temperature_guessed="temperature" in history.brew.guessed,
        horizon_h=max(DEFAULT_HORIZON_H, max(_last_hour(history), reach_h) + HOURS_BEYOND),
    )
    return story, (*notes, *ph_notes(_log(history, "pH"), history.brew.temperature_degc))


def beliefs_of_brew(notebook: Notebook, brew: str, now: datetime) -> list[dict[str, Any]]:
    """Every term of the model for a brew: name, meaning with unit, median and 90 % interval."""
    history = history_to_reckon(notebook, brew)
    need_recipe(history)
    found = infer_history(notebook, history, now=now).terms()
    meaning = {term.name: term.meaning for term in PRIOR}
    return [{"name": name, "meaning": meaning[name], **as_plain(band)} for name, band in found.items()]


def past_of(notebook: Notebook, history: BrewHistory, *, now: datetime) -> list[Past]:
    """What the person's last finished brews teach about this one; their posteriors are kept once worked out."""
    finished = {item.brew for item in notebook.find(Harvest)}
    earlier = [
        item
        for item in notebook.find(Brew)
        if item.key in finished
        and item.key != history.brew.key
        and item.started_at < history.brew.started_at
        # What a brew behind a code teaches would tell whether this one is of its recipe.
        and (not is_hidden(notebook, item) or (item.trial == history.brew.trial and history.recipe.key != HIDDEN))
    ]
    recipes = {item.key: item for item in notebook.find(Recipe)}
    if not history.recipe.is_known:
        return []  # what others taught is told in terms of food and compost
    earlier = [item for item in earlier if recipes[item.recipe].is_known]
    out: list[Past] = []
    for brew in sorted(earlier, key=lambda item: item.started_at, reverse=True):
        if len(out) == PAST_BREWS:
            break
        summary = _summary(notebook, brew, now=now)
        if summary is not None:
            out.append(
                Past(
                    mean=np.array(summary["mean"]),
                    covariance=np.array(summary["covariance"]),
                    same_recipe=brew.recipe == history.brew.recipe,
                    same_vessel=brew.vessel == history.brew.vessel,
                    same_compost=recipes[brew.recipe].compost == history.recipe.compost,
                    taught=_taught(summary.get("taught")),
                )
            )
    return out


def _taught(kept: object) -> Taught | None:
    """When an earlier brew was best, as its summary keeps it."""
    if not isinstance(kept, dict):
        return None
    return Taught(before=BestHour(**kept["before"]), after=BestHour(**kept["after"]))


def _summary(notebook: Notebook, brew: Brew, *, now: datetime) -> dict[str, object] | None:
    events = [item.payload for item in notebook.kept("event", brew.key)]
    held = [[reading.key for reading in notebook.readings(brew.key)], notebook.logged(brew.key), *([events] if events else [])]
    stamp = content_hash([MODEL, __version__, held])
    kept = notebook.latest("summary", brew.key)
    if kept is not None and kept.payload.get("stamp") == stamp:
        return kept.payload if kept.payload["settled"] else None
    story, _ = story_of_history(brew_history(notebook, brew.key))
    payload: dict[str, object] = {"stamp": stamp, "settled": False, "seed": brew.seed}
    if len(story.measurements) >= PAST_TESTS:
        # Each from the first prior, so that no brew's data are counted twice.
        posterior = infer_brew(story, seed=brew.seed)
        past = posterior.as_past(same_compost=True, same_recipe=True, same_vessel=True)
        payload |= {"settled": posterior.settled, "mean": past.mean.tolist(), "covariance": past.covariance.tolist()}
        if past.taught is not None:
            payload["taught"] = as_plain(past.taught)
    if not notebook.read_only:
        notebook.keep("summary", brew.key, payload, at=now)
    return payload if payload["settled"] else None


def need_recipe_or_reading(history: BrewHistory) -> None:
    """Refuse a brew of which neither what went in nor any result is known.

    Raises
    ------
    NotEnoughData
        If there is neither.
    """
    if not history.recipe.is_known and not any(reading.role == "sample" for reading in history.readings):
        raise NotEnoughData(
            f"Recipe '{history.recipe.key}' holds neither compost nor food, and the brew has no reading: nothing is known of it.",
            "Write down what went in, as near as you know it, or take one test; a call from readings alone is less sure.",
        )


def need_recipe(history: BrewHistory) -> None:
    """Refuse what only a recipe can answer.

    Raises
    ------
    NotEnoughData
        If nobody said what went in.
    """
    if not history.recipe.is_known:
        raise NotEnoughData(
            f"Recipe '{history.recipe.key}' holds neither compost nor food, so carbon and oxygen cannot be reckoned.",
            f"Write down what went in (aerobe notebook show recipe {history.recipe.key}) as near as you know it, then ask again.",
        )


def _last_hour(history: BrewHistory) -> float:
    read = max((item.elapsed_h for item in history.readings), default=0.0)
    return max(read, *(max(log.elapsed_h, default=0.0) for log in history.logs), 0.0)


def _log(history: BrewHistory, channel: str) -> Log | None:
    log = history.log(channel)
    if log is None or not log.values:
        return None
    return Log(elapsed_h=np.asarray(log.elapsed_h, float), values=np.asarray(log.values, float))
