"""The brews at a glance: which are under way, how far, how their oxygen stands, how many tests are left."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from aerobe.notebook import LogEnvelope, Notebook
from aerobe.records import Assay, Brew, Compost, Harvest, Reading, Recipe, RunSheet, Trial, Use, Vessel
from aerobe.usecases.brews._budget import Budget, budget_of
from aerobe.usecases.brews._put_away import put_away
from aerobe.usecases.notebook._moments import AHEAD
from aerobe.usecases.trials._blinding import HIDDEN, is_hidden

LEFT_OPEN_AFTER = timedelta(days=7)  # a brew nobody closed for so long is no longer under way
WORKED_OUT = ("advice", "summary", "hindsight")  # kept results that are made from a brew
RECENT_H = 3.0  # how far back "oxygen now" is looked for first [h]

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenNow:
    """The last word of the probe."""

    mg_per_l: float  # [mg/L]
    at_h: float  # since aeration began [h]
    minutes_ago: float  # [min]
    temperature_degc: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewCard:
    """One brew in the list."""

    brew: Brew
    recipe_name: str
    vessel_name: str
    state: str  # "under way", "planned", "harvested" or "left open"
    elapsed_h: float  # now, or at harvest [h]
    readings: int
    budget: Budget
    last_reading: Reading | None
    oxygen: OxygenNow | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """All brews by state; `earlier` holds those harvested or left open, newest first."""

    under_way: tuple[BrewCard, ...]
    planned: tuple[BrewCard, ...]
    earlier: tuple[BrewCard, ...]
    earlier_in_all: int
    empty: bool  # no brew has ever been written in


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewView:
    """One brew with what its page shows. Logs are thinned."""

    card: BrewCard
    recipe: Recipe
    vessel: Vessel
    compost: Compost
    readings: tuple[Reading, ...]
    assays: dict[str, Assay]
    oxygen_log: LogEnvelope
    temperature_log: LogEnvelope
    harvest: Harvest | None
    uses: tuple[Use, ...]
    last_change: int


def brews_overview(notebook: Notebook, *, now: datetime, earlier: int = 20) -> Overview:
    """Brews under way with their oxygen, planned ones, and so many of the earlier ones."""
    held = held_by(notebook)
    groups: dict[str, list[Brew]] = {"under way": [], "planned": [], "harvested": [], "left open": []}
    gone = put_away(notebook)
    for brew in held.brews.values():
        if ("brew", brew.key) in gone:
            continue
        groups[_state(brew, held.ends.get(brew.key), now)].append(brew)
    past = sorted(groups["harvested"] + groups["left open"], key=lambda brew: brew.started_at, reverse=True)
    return Overview(
        under_way=tuple(_card(notebook, held, brew, now) for brew in _newest_first(groups["under way"])),
        planned=tuple(_card(notebook, held, brew, now) for brew in _newest_first(groups["planned"])),
        earlier=tuple(_card(notebook, held, brew, now, with_oxygen=False) for brew in past[:earlier]),
        earlier_in_all=len(past),
        empty=not held.brews,
    )


def brews_under_way(notebook: Notebook, *, now: datetime) -> tuple[Brew, ...]:
    """The brews that stand under air now."""
    held = held_by(notebook)
    gone = put_away(notebook)
    return tuple(
        brew
        for brew in _newest_first(held.brews.values())
        if _state(brew, held.ends.get(brew.key), now) == "under way" and ("brew", brew.key) not in gone
    )


def trial_names(notebook: Notebook) -> tuple[tuple[str, str], ...]:
    """Key and name of every trial."""
    return tuple((trial.key, trial.name) for trial in notebook.find(Trial))


def brew_view(notebook: Notebook, key: str, *, now: datetime, buckets: int = 160) -> BrewView:
    """Everything that the page of one brew shows, except the call.

    Raises
    ------
    NotFound
        If there is no such brew.
    """
    held = held_by(notebook)
    brew = held.brews[key] if key in held.brews else notebook.get(Brew, key)

    def read() -> dict[str, Any]:
        recipe = notebook.get(Recipe, brew.recipe)
        readings = _readings(notebook, held, key)
        logs = [notebook.log_envelope(key, channel, buckets=buckets) for channel in ("oxygen", "temperature")]
        return {
            "recipe": recipe,
            "vessel": notebook.get(Vessel, brew.vessel),
            "compost": notebook.get(Compost, recipe.compost),
            "readings": readings,
            "assays": {name: notebook.get(Assay, name) for name in sorted({reading.assay for reading in readings})},
            "oxygen_log": logs[0],
            "temperature_log": logs[1],
            "uses": tuple(notebook.find(Use, of=key)),
        }

    version = held.version(key)
    still = cached(notebook, ("view", key, buckets), version, read)
    return BrewView(card=_card(notebook, held, brew, now), harvest=held.ends.get(key), last_change=version, **still)


def brew_version(notebook: Notebook, key: str) -> int:
    """A number that grows when a brew, or what it shares with others, changes."""
    return held_by(notebook).version(key)


def oxygen_now(notebook: Notebook, brew: Brew, *, now: datetime) -> OxygenNow | None:
    """The newest point of the oxygen log, if there is one, with the temperature logged nearest before it."""

    def read() -> tuple[float, float, float | None] | None:
        # What was logged while a clock was ahead is not the oxygen of now.
        latest_h = brew.hours_at(now + AHEAD)
        times, values = notebook.log(brew.key, "oxygen", from_h=elapsed_h - RECENT_H, to_h=latest_h)
        if not len(times):
            times, values = notebook.log(brew.key, "oxygen", to_h=latest_h)
        if not len(times):
            return None
        at_h = float(times[-1])
        warm = notebook.log(brew.key, "temperature", from_h=at_h - 1.0, to_h=at_h + 0.5)[1]
        return at_h, float(values[-1]), float(warm[-1]) if len(warm) else None

    elapsed_h = brew.hours_at(now)
    version = held_by(notebook).version(brew.key), int(now.timestamp() // AHEAD.total_seconds())
    last = cached(notebook, ("oxygen now", brew.key), version, read)
    if last is None:
        return None
    at_h, value, warm = last
    return OxygenNow(mg_per_l=value, at_h=at_h, minutes_ago=max(0.0, 60.0 * (elapsed_h - at_h)), temperature_degc=warm)


# -- what was read once is kept while nothing is written ---------------------------------------------------------------

# Under the engine and not the notebook: where a damaged file gives way to what is whole of it, nothing read before counts.
_CACHE: WeakKeyDictionary[object, dict[tuple[object, ...], tuple[object, Any]]] = WeakKeyDictionary()
_LOCK = threading.Lock()
_CACHED_AT_MOST = 4096


def cached(notebook: Notebook, name: tuple[object, ...], version: object, make: Callable[[], T]) -> T:
    """`make()`, or what it gave for the same name and version before. `version` is the notebook's count of changes."""
    with _LOCK:
        mine = _CACHE.setdefault(notebook.store.engine, {})
        found = mine.get(name)
    if found is not None and found[0] == version:
        kept: T = found[1]
        return kept
    made = make()
    with _LOCK:
        mine.pop(name, None)
        mine[name] = (version, made)
        while len(mine) > _CACHED_AT_MOST:
            del mine[next(iter(mine))]
    return made


class Held:
    """What lists are made of, read once and then kept up to date by the audit trail: a probe's point costs no new reading of
    a thousand brews."""

    def __init__(self, notebook: Notebook) -> None:
        self.seen = notebook.last_change()
        self.brews = {brew.key: brew for brew in notebook.find(Brew)}
        self.ends = {harvest.brew: harvest for harvest in notebook.find(Harvest)}
        self.recipes = {recipe.key: recipe.name for recipe in notebook.find(Recipe)}
        self.vessels = {vessel.key: vessel.name for vessel in notebook.find(Vessel)}
        self.sheets = {sheet.trial: sheet for sheet in notebook.find(RunSheet)}
        self._changed: dict[str, int] = {}
        self._shared = self.seen  # last change of what several brews share

    def version(self, brew: str) -> int:
        """A number that grows when this brew, or what it shares with others, changes."""
        return max(self._changed.get(brew, 0), self._shared)

    def take_up(self, notebook: Notebook, newest: int) -> bool:
        """Follow the audit trail up to `newest`; False if it is better to read everything anew."""
        if not 0 <= newest - self.seen <= FOLLOWED_AT_MOST:
            return False
        lines = [line for line in notebook.audit(newest=newest - self.seen) if line.id > self.seen]
        if any(line.did in ("import", "restore") or line.noun in ("recipes", "vessels", "composts", "assays") for line in lines):
            return False
        for line in lines:
            if line.noun == "brews":
                self.brews[line.key] = notebook.get(Brew, line.key)
            elif line.noun == "harvests":
                self.ends[line.key] = notebook.get(Harvest, line.key)
            elif line.noun == "run_sheets":
                self.sheets[line.key] = notebook.get(RunSheet, line.key)
            # What was worked out from a brew changes nothing of it.
            if line.brew and line.noun not in WORKED_OUT:
                self._changed[line.brew] = line.id
        self.seen = newest
        return True


FOLLOWED_AT_MOST = 500
_HELD: WeakKeyDictionary[object, Held] = WeakKeyDictionary()
_HELD_LOCK = threading.RLock()


def held_by(notebook: Notebook) -> Held:
    """The lists of a notebook, up to date."""
    with _HELD_LOCK:
        found, newest = _HELD.get(notebook.store.engine), notebook.last_change()
        if found is None or (found.seen != newest and not found.take_up(notebook, newest)):
            found = _HELD[notebook.store.engine] = Held(notebook)
        return found


def _readings(notebook: Notebook, held: Held, key: str) -> tuple[Reading, ...]:
    return cached(notebook, ("readings", key), held.version(key), lambda: tuple(notebook.readings(key)))


def _state(brew: Brew, harvest: Harvest | None, now: datetime) -> str:
    if harvest is not None:
        return "harvested"
    if brew.started_at > now:
        return "planned"
    return "under way" if now - brew.started_at < LEFT_OPEN_AFTER else "left open"


def _newest_first(brews: Iterable[Brew]) -> list[Brew]:
    return sorted(brews, key=lambda brew: brew.started_at, reverse=True)


def _card(notebook: Notebook, held: Held, brew: Brew, now: datetime, *, with_oxygen: bool = True) -> BrewCard:
    end = held.ends.get(brew.key)
    readings = _readings(notebook, held, brew.key)
    state = _state(brew, end, now)
    return BrewCard(
        brew=brew,
        recipe_name=HIDDEN if is_hidden(notebook, brew) else held.recipes.get(brew.recipe, brew.recipe),
        vessel_name=held.vessels.get(brew.vessel, brew.vessel),
        state=state,
        elapsed_h=end.elapsed_h if end is not None else brew.hours_at(now),
        readings=len(readings),
        budget=budget_of(brew, readings, held.sheets.get(brew.trial)),
        last_reading=readings[-1] if readings else None,
        oxygen=oxygen_now(notebook, brew, now=now) if with_oxygen and state != "planned" else None,
    )
