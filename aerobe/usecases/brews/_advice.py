"""The call: infer, decide, keep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from importlib.metadata import version

from aerobe import __version__
from aerobe.decisions import Advice, advise, oxygen_outlook, replay
from aerobe.errors import NotAllowed, NotEnoughData, UnusableRecord
from aerobe.inference import Measurement, measurements_of
from aerobe.notebook import BrewHistory, Notebook
from aerobe.records import Assay, as_plain, content_hash
from aerobe.usecases.brews._behind_code import history_to_reckon
from aerobe.usecases.brews._beliefs import HOURS_BEYOND, infer_history, need_recipe_or_reading, story_of_history
from aerobe.usecases.brews._budget import budget_of
from aerobe.usecases.safety._facts import gates_of_brew
from aerobe.usecases.trials._steps import sheet_of_brew

CLOSEST_H, LATEST_H = 0.25, 240.0  # steps and end of a replay [h]
LONGEST_H = 168.0  # a brew that nobody ended is followed no further than this [h]


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
    NotAllowed
        If it was harvested: nothing is left to be called.
    """
    history = history_to_reckon(notebook, brew)
    if history.harvest is not None:
        raise NotAllowed(
            f"'{history.brew.name}' was harvested {history.harvest.elapsed_h:.1f} h after its air went on: no call is left.",
            f"Its page looks back at it; `aerobe call replay {brew}` tells the calls on the way.",
        )
    now_h = max(0.0, history.brew.hours_at(now))
    posterior = infer_history(notebook, history, now=now, reach_h=min(now_h, LONGEST_H), progress=progress)
    if now_h > LONGEST_H + HOURS_BEYOND:
        end = posterior.times_h[-1]
        forgotten = f"This brew began {now_h / 24.0:.0f} days ago and was never ended; its course stops at {end:.0f} h."
        posterior = replace(posterior, notes=(forgotten, *posterior.notes))
    outlook = oxygen_outlook(posterior, now_h, history.brew.aim.oxygen_floor_mg_per_l)
    gates = gates_of_brew(notebook, brew, now=now, risk=outlook.probability_below if outlook else None)
    advice = advise(
        posterior,
        now_h=now_h,
        aim=history.brew.aim,
        costs=history.brew.costs,
        tests_left=budget_of(history.brew, history.readings, sheet_of_brew(notebook, history.brew)).left,
        kit=kit_of(notebook, history),
        gates=gates,
        seed=history.brew.seed,
    )
    if notebook_is_newer(history, advice) and not notebook.read_only:
        notebook.add_advice(brew, advice_payload(advice, history), at=now)
    return advice


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
    notebook: Notebook,
    brew: str,
    hours: Sequence[float],
    *,
    now: datetime,
    progress: Callable[[float], None] = lambda share: None,
) -> list[Advice]:
    """What this brew's own readings would have made the call say at each past hour. Gates and earlier brews are not replayed.

    Hours that have not come, and hours after the harvest, have no call and are left out.

    Raises
    ------
    NotEnoughData
        If none of the hours lies behind this brew.
    """
    history = history_to_reckon(notebook, brew)
    need_recipe_or_reading(history)
    end_h = history.brew.hours_at(now) if history.harvest is None else history.harvest.elapsed_h
    hours = [hour for hour in hours if 0.0 <= hour <= end_h + 1e-6]
    if not hours:
        raise NotEnoughData(
            f"None of these hours of '{history.brew.name}' has passed under air.", "Replay a brew that has begun."
        )
    story, _ = story_of_history(history)
    sheet = sheet_of_brew(notebook, history.brew)
    return replay(
        story,
        hours,
        aim=history.brew.aim,
        costs=history.brew.costs,
        tests_left_at=lambda hour: budget_of(history.brew, history.readings, sheet, until_h=hour).left,
        kit=kit_of(notebook, history),
        seed=history.brew.seed,
        progress=progress,
    )


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


def notebook_is_newer(history: BrewHistory, advice: Advice) -> bool:
    """Whether this advice says anything that the last kept one did not: a page asked again is no reason to write."""
    if not history.advice:
        return True
    last = history.advice[-1].payload
    hours = abs(advice.now_h - float(last.get("now_h", -1e9)))
    return bool(hours > 0.25 or last.get("call") != advice.call or last.get("data") != _data_stamp(history))


def _data_stamp(history: BrewHistory) -> str:
    events = [[item.key for item in history.events]] if history.events else []
    return content_hash([[item.key for item in history.readings], [len(item.values) for item in history.logs], *events])


def advice_payload(advice: Advice, history: BrewHistory) -> dict[str, object]:
    """Advice as plain values, with the versions and the seed that made it."""
    plain = plain_advice(advice)
    plain["data"] = _data_stamp(history)
    plain["versions"] = {"aerobe": __version__, **{name: version(name) for name in ("numpy", "scipy", "numba")}}
    return plain


def plain_advice(advice: Advice) -> dict[str, object]:
    """Advice as plain JSON values, its words included."""
    return {"says": advice.as_text(), **as_plain(advice, digits=6)}
