"""The brews at a glance: which are under way, how far, how their oxygen stands, how many tests are left."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from aerobe.notebook import LogEnvelope, Notebook
from aerobe.records import Assay, Brew, Compost, Harvest, Reading, Recipe, Trial, Use, Vessel

LEFT_OPEN_AFTER = timedelta(days=7)  # a brew nobody closed for so long is no longer under way
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
    tests_left: int
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
    held = _held(notebook)
    groups: dict[str, list[Brew]] = {"under way": [], "planned": [], "harvested": [], "left open": []}
    for brew in held.brews:
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
    held = _held(notebook)
    return tuple(brew for brew in _newest_first(held.brews) if _state(brew, held.ends.get(brew.key), now) == "under way")


def trial_names(notebook: Notebook) -> tuple[tuple[str, str], ...]:
    """Key and name of every trial."""
    return tuple((trial.key, trial.name) for trial in notebook.find(Trial))


def brew_view(notebook: Notebook, key: str, *, now: datetime, buckets: int = 240) -> BrewView:
    """Everything that the page of one brew shows, except the call.

    Raises
    ------
    NotFound
        If there is no such brew.
    """
    brew = notebook.get(Brew, key)
    held = _held(notebook)
    recipe = notebook.get(Recipe, brew.recipe)
    readings = tuple(notebook.readings(key))
    oxygen, temperature = cached(
        notebook,
        ("envelopes", key, buckets),
        notebook.last_change(key),
        lambda: tuple(notebook.log_envelope(key, channel, buckets=buckets) for channel in ("oxygen", "temperature")),
    )
    return BrewView(
        card=_card(notebook, held, brew, now),
        recipe=recipe,
        vessel=notebook.get(Vessel, brew.vessel),
        compost=notebook.get(Compost, recipe.compost),
        readings=readings,
        assays={name: notebook.get(Assay, name) for name in sorted({reading.assay for reading in readings})},
        oxygen_log=oxygen,
        temperature_log=temperature,
        harvest=held.ends.get(key),
        uses=tuple(notebook.find(Use, of=key)),
        last_change=notebook.last_change(key),
    )


def oxygen_now(notebook: Notebook, brew: Brew, *, now: datetime) -> OxygenNow | None:
    """The newest point of the oxygen log, if there is one, with the temperature logged nearest before it."""
    elapsed_h = (now - brew.started_at).total_seconds() / 3600.0
    times, values = notebook.log(brew.key, "oxygen", from_h=elapsed_h - RECENT_H)
    if not len(times):
        times, values = notebook.log(brew.key, "oxygen")
    if not len(times):
        return None
    warm_at, warm = notebook.log(brew.key, "temperature", from_h=float(times[-1]) - 1.0, to_h=float(times[-1]) + 0.5)
    return OxygenNow(
        mg_per_l=float(values[-1]),
        at_h=float(times[-1]),
        minutes_ago=max(0.0, 60.0 * (elapsed_h - float(times[-1]))),
        temperature_degc=float(warm[-1]) if len(warm_at) else None,
    )


# -- what was read once is kept while nothing is written ---------------------------------------------------------------

_CACHE: WeakKeyDictionary[Notebook, dict[Any, tuple[int, Any]]] = WeakKeyDictionary()
_LOCK = threading.Lock()
_CACHED_AT_MOST = 512


def cached(notebook: Notebook, name: tuple[Any, ...], version: int, make: Callable[[], T]) -> T:
    """`make()`, or what it gave for the same name and version before. `version` is the notebook's count of changes."""
    with _LOCK:
        mine = _CACHE.setdefault(notebook, {})
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    brews: tuple[Brew, ...]
    ends: dict[str, Harvest]
    recipes: dict[str, str]
    vessels: dict[str, str]


def _held(notebook: Notebook) -> _Held:
    def read() -> _Held:
        return _Held(
            brews=tuple(notebook.find(Brew)),
            ends={harvest.brew: harvest for harvest in notebook.find(Harvest)},
            recipes={recipe.key: recipe.name for recipe in notebook.find(Recipe)},
            vessels={vessel.key: vessel.name for vessel in notebook.find(Vessel)},
        )

    return cached(notebook, ("held",), notebook.last_change(), read)


def _state(brew: Brew, harvest: Harvest | None, now: datetime) -> str:
    if harvest is not None:
        return "harvested"
    if brew.started_at > now:
        return "planned"
    return "under way" if now - brew.started_at < LEFT_OPEN_AFTER else "left open"


def _newest_first(brews: Any) -> list[Brew]:
    return sorted(brews, key=lambda brew: brew.started_at, reverse=True)


def _card(notebook: Notebook, held: _Held, brew: Brew, now: datetime, *, with_oxygen: bool = True) -> BrewCard:
    end = held.ends.get(brew.key)
    readings = cached(notebook, ("readings", brew.key), notebook.last_change(brew.key), lambda: notebook.readings(brew.key))
    state = _state(brew, end, now)
    return BrewCard(
        brew=brew,
        recipe_name=held.recipes.get(brew.recipe, brew.recipe),
        vessel_name=held.vessels.get(brew.vessel, brew.vessel),
        state=state,
        elapsed_h=end.elapsed_h if end is not None else (now - brew.started_at).total_seconds() / 3600.0,
        readings=len(readings),
        tests_left=max(0, brew.tests_in_budget - len(readings)),
        last_reading=readings[-1] if readings else None,
        oxygen=oxygen_now(notebook, brew, now=now) if with_oxygen and state != "planned" else None,
    )
