"""From the notebook to the call: read, infer, decide, keep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass, replace
from datetime import datetime
from importlib.metadata import version
from typing import Any

import numpy as np

from aerobe import __version__
from aerobe.decisions import Advice, advise, oxygen_outlook, replay
from aerobe.desk._records import ReadingEntry, add_reading
from aerobe.desk._safety_facts import gates_of_brew
from aerobe.desk._trial_steps import steps_of_brew
from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.inference import DEFAULT_HORIZON_H, PRIOR, BrewStory, Log, Measurement, Past, Posterior, infer_brew, measurements_of
from aerobe.notebook import BrewHistory, Notebook, Receipt, brew_history
from aerobe.records import Assay, Brew, Harvest, Recipe, content_hash

PAST_BREWS = 5  # earlier brews that sharpen the prior; more teach little and take time
CLOSEST_H, LATEST_H = 0.25, 240.0  # steps and end of a replay [h]
PAST_TESTS = 2  # tests that an earlier brew must have to teach anything
HOURS_BEYOND = 12.0  # that a course goes on after the last thing known of a long brew [h]
LONGEST_H = 168.0  # a brew that nobody ended is followed no further than this [h]
_MODEL = "2"  # grows when the model changes, so that kept summaries of brews are made anew


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
        horizon_h=max(DEFAULT_HORIZON_H, max(_last_hour(history), reach_h) + HOURS_BEYOND),
    )
    return story, notes


def _last_hour(history: BrewHistory) -> float:
    read = max((item.elapsed_h for item in history.readings), default=0.0)
    return max(read, *(max(log.elapsed_h, default=0.0) for log in history.logs), 0.0)


def _need_something_that_grows(history: BrewHistory) -> None:
    recipe = history.recipe
    if recipe.compost_g_per_l <= 0.0 and not recipe.foods:
        raise NotEnoughData(
            f"Recipe '{recipe.key}' holds neither compost nor food, so the brew model has nothing that could grow.",
            f"Write down what went in (aerobe notebook show recipe {recipe.key}), as near as you know it, then ask again.",
        )


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
    _need_something_that_grows(history)
    story, notes = story_of_history(history, reach_h=reach_h)
    if until_h is not None:
        story = story.until(until_h)
    posterior = infer_brew(story, seed=history.brew.seed, past=past_of(notebook, history, now=now), progress=progress)
    return replace(posterior, notes=(*notes, *posterior.notes))


def advise_brew(
    notebook: Notebook, brew: str, now: datetime, *, progress: Callable[[float], None] = lambda share: None
) -> Advice:
    """The call for a brew at a moment, kept in the notebook with versions and seed.

    Parameters
    ----------
    notebook
        The open notebook.
    brew
        Key of the brew.
    now
        The moment, with offset.
    progress
        Called with the share of the work done.

    Raises
    ------
    NotFound
        If there is no such brew.
    """
    history = brew_history(notebook, brew)
    now_h = max(0.0, history.brew.hours_at(now))
    posterior = infer_history(notebook, history, now=now, reach_h=min(now_h, LONGEST_H), progress=progress)
    if now_h > LONGEST_H + HOURS_BEYOND:
        end = posterior.times_h[-1]
        forgotten = f"This brew began {now_h / 24.0:.0f} days ago and was never ended; its course stops at {end:.0f} h."
        posterior = replace(posterior, notes=(forgotten, *posterior.notes))
    outlook = oxygen_outlook(posterior, now_h, history.brew.aim.oxygen_floor_mg_per_l)
    gates = gates_of_brew(notebook, brew, now=now, risk=outlook.probability_below)
    advice = advise(
        posterior,
        now_h=now_h,
        aim=history.brew.aim,
        costs=history.brew.costs,
        tests_left=tests_left(notebook, history),
        kit=kit_of(notebook, history),
        gates=gates,
        seed=history.brew.seed,
    )
    if notebook_is_newer(history, advice):
        notebook.add_advice(brew, advice_payload(advice, history), at=now)
    return advice


def record_and_advise(
    notebook: Notebook,
    entry: ReadingEntry,
    *,
    now: datetime,
    who: str = "",
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[Receipt, Advice]:
    """Keep the reading first, then think: a failed fit never loses a measurement."""
    receipt = add_reading(notebook, entry, now=now, who=who)
    return receipt, advise_brew(notebook, entry.brew, now, progress=progress)


def replay_hours(every_h: float, until_h: float) -> tuple[float, ...]:
    """The hours of a replay. [h]

    Raises
    ------
    UnusableRecord
        If they are too many, too close, or none.
    """
    if not CLOSEST_H <= every_h <= until_h <= LATEST_H:
        raise UnusableRecord(
            f"A call every {every_h:g} h until {until_h:g} h cannot be replayed.",
            f"Give steps of at least {CLOSEST_H:g} h, and an end within {LATEST_H:g} h.",
        )
    return tuple(every_h * step for step in range(int(until_h / every_h) + 1))


def replay_brew(
    notebook: Notebook, brew: str, hours: Sequence[float], *, progress: Callable[[float], None] = lambda share: None
) -> list[Advice]:
    """What the call would have been at each past hour, from what was known then. Gates are not replayed."""
    history = brew_history(notebook, brew)
    _need_something_that_grows(history)
    story, _ = story_of_history(history)
    return replay(
        story,
        hours,
        aim=history.brew.aim,
        costs=history.brew.costs,
        tests=history.brew.tests_in_budget,
        kit=kit_of(notebook, history),
        seed=history.brew.seed,
        progress=progress,
    )


def tests_left(notebook: Notebook, history: BrewHistory) -> int:
    """Tests that the call may ask for: each reading counts as used, controls too, and what a run sheet still asks for is kept."""
    kept = sum(not step.done for step in steps_of_brew(notebook, history.brew))
    return max(0, history.brew.tests_in_budget - len(history.readings) - kept)


def kit_of(notebook: Notebook, history: BrewHistory) -> Measurement:
    """A measurement as the next test would make it: with the brew's latest assay, or the notebook's only one."""
    samples = [reading for reading in history.readings if reading.role == "sample"]
    if samples:
        made, _ = measurements_of(samples[-1:], history.assays)
        if made:
            return made[0]
    known = notebook.find(Assay)
    if known:
        error = known[0].error
        if error is not None:
            return Measurement(
                elapsed_h=0.0,
                value=0.0,
                quantity=known[0].quantity,
                assay=known[0].key,
                error=replace(error, detection_limit=None, upper_limit=None),
            )
    return Measurement(elapsed_h=0.0, value=0.0)


def past_of(notebook: Notebook, history: BrewHistory, *, now: datetime) -> list[Past]:
    """What the person's last finished brews teach about this one; their posteriors are kept once worked out."""
    finished = {item.brew for item in notebook.find(Harvest)}
    earlier = [
        item
        for item in notebook.find(Brew)
        if item.key in finished and item.key != history.brew.key and item.started_at < history.brew.started_at
    ]
    recipes = {item.key: item for item in notebook.find(Recipe)}
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
                )
            )
    return out


def _summary(notebook: Notebook, brew: Brew, *, now: datetime) -> dict[str, Any] | None:
    held = [[reading.key for reading in notebook.readings(brew.key)], notebook.logged(brew.key)]
    stamp = content_hash([_MODEL, __version__, held])
    kept = notebook.latest("summary", brew.key)
    if kept is not None and kept.payload.get("stamp") == stamp:
        return kept.payload if kept.payload["settled"] else None
    story, _ = story_of_history(brew_history(notebook, brew.key))
    payload: dict[str, Any] = {"stamp": stamp, "settled": False, "seed": brew.seed}
    if len(story.measurements) >= PAST_TESTS:
        # Each from the first prior, so that no brew's data are counted twice.
        posterior = infer_brew(story, seed=brew.seed)
        past = posterior.as_past(same_compost=True, same_recipe=True, same_vessel=True)
        payload |= {"settled": posterior.settled, "mean": past.mean.tolist(), "covariance": past.covariance.tolist()}
    notebook.keep("summary", brew.key, payload, at=now)
    return payload if payload["settled"] else None


def notebook_is_newer(history: BrewHistory, advice: Advice) -> bool:
    """Whether this advice says anything that the last kept one did not: a page asked again is no reason to write."""
    if not history.advice:
        return True
    last = history.advice[-1].payload
    hours = abs(advice.now_h - float(last.get("now_h", -1e9)))
    return bool(hours > 0.25 or last.get("call") != advice.call or last.get("data") != _data_stamp(history))


def _data_stamp(history: BrewHistory) -> str:
    return content_hash([[item.key for item in history.readings], [len(item.values) for item in history.logs]])


def advice_payload(advice: Advice, history: BrewHistory) -> dict[str, Any]:
    """Advice as plain values, with the versions and the seed that made it."""
    plain = plain_advice(advice)
    plain["data"] = _data_stamp(history)
    plain["versions"] = {"aerobe": __version__, **{name: version(name) for name in ("numpy", "scipy", "numba")}}
    return plain


def plain_advice(advice: Advice) -> dict[str, Any]:
    """Advice as plain JSON values, its words included."""
    plain = _plain(advice)
    assert isinstance(plain, dict)
    return {"says": advice.as_text(), **plain}


def beliefs_of_brew(notebook: Notebook, brew: str, now: datetime) -> list[dict[str, Any]]:
    """Every term of the model for a brew: name, meaning with unit, median and 90 % interval."""
    found = infer_history(notebook, brew_history(notebook, brew), now=now).terms()
    meaning = {term.name: term.meaning for term in PRIOR}
    return [{"name": name, "meaning": meaning[name], **_plain(band)} for name, band in found.items()]


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: _plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, np.ndarray):
        return [float(f"{item:.6g}") for item in value.tolist()]
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value


def _log(history: BrewHistory, channel: str) -> Log | None:
    log = history.log(channel)
    if log is None or not log.values:
        return None
    return Log(elapsed_h=np.asarray(log.elapsed_h, float), values=np.asarray(log.values, float))
