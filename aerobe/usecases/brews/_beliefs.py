"""What is believed of a brew: its story from the notebook, what earlier brews teach, and the posterior of both."""

from __future__ import annotations

import hashlib
import threading
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
from aerobe.records import Assay, Brew, Harvest, Recipe, Vessel, as_plain, content_hash
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


class _Shared:
    """What several brews name, by key, read once for all of them."""

    def __init__(self, notebook: Notebook) -> None:
        self.recipes = {item.key: item for item in notebook.find(Recipe)}
        self.vessels = {item.key: item for item in notebook.find(Vessel)}
        self.assays = {item.key: item for item in notebook.find(Assay)}


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
    shared = _Shared(notebook)
    recipes = shared.recipes
    if not history.recipe.is_known:
        return []  # what others taught is told in terms of food and compost
    earlier = [item for item in earlier if recipes[item.recipe].is_known]
    out: list[Past] = []
    for brew in sorted(earlier, key=lambda item: item.started_at, reverse=True):
        if len(out) == PAST_BREWS:
            break
        summary = _summary(notebook, brew, shared, now=now)
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


def _summary(notebook: Notebook, brew: Brew, shared: _Shared, *, now: datetime) -> dict[str, object] | None:
    events = [item.payload for item in notebook.kept("event", brew.key)]
    read = notebook.readings(brew.key)
    # Whatever is read of it: a recipe or a test that was put right afterwards makes another brew of it.
    stood = [
        shared.recipes[brew.recipe],
        shared.vessels.get(brew.vessel),
        {name: shared.assays.get(name) for name in sorted({reading.assay for reading in read})},
        [brew.temperature_degc, brew.guessed, brew.seed],
    ]
    held = [[reading.key for reading in read], notebook.logged(brew.key), as_plain(stood), *([events] if events else [])]
    stamp = content_hash([MODEL, __version__, held])
    kept = notebook.latest("summary", brew.key)
    if kept is not None and kept.payload.get("stamp") == stamp:
        return kept.payload if kept.payload["settled"] else None
    story, _ = story_of_history(brew_history(notebook, brew.key))
    payload: dict[str, object] = {"stamp": stamp, "settled": False, "seed": brew.seed}
    if len(story.measurements) >= PAST_TESTS:
        payload |= _taught_alone(story, brew.seed)
    if not notebook.read_only:
        notebook.keep("summary", brew.key, payload, at=now)
    return payload if payload["settled"] else None


# By content, so that what was corrected is worked out anew; of a notebook that can only be read nothing else would be kept.
_WORKED_OUT: dict[object, dict[str, object]] = {}
_WORKED_OUT_AT_MOST = 64
_LOCK = threading.Lock()


def _taught_alone(story: BrewStory, seed: int) -> dict[str, object]:
    """What a brew teaches by its own data, from the first prior: so no brew's data are counted twice."""
    asked = (infer_brew, seed, _content(story))
    with _LOCK:
        found = _WORKED_OUT.get(asked)
    if found is None:
        posterior = infer_brew(story, seed=seed)
        past = posterior.as_past(same_compost=True, same_recipe=True, same_vessel=True)
        found = {"settled": posterior.settled, "mean": past.mean.tolist(), "covariance": past.covariance.tolist()}
        if past.taught is not None:
            found["taught"] = as_plain(past.taught)
        with _LOCK:
            _WORKED_OUT[asked] = found
            while len(_WORKED_OUT) > _WORKED_OUT_AT_MOST:
                del _WORKED_OUT[next(iter(_WORKED_OUT))]
    return found


def _content(story: BrewStory) -> str:
    """A name for all that a story says; probes' points by their bytes, since they may be many."""
    logs = [
        [hashlib.sha256(points.tobytes()).hexdigest() for points in (log.elapsed_h, log.values)] if log is not None else []
        for log in (story.oxygen, story.temperature)
    ]
    return content_hash([as_plain(replace(story, oxygen=None, temperature=None)), logs])


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
