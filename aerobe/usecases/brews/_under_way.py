"""The brews at a glance: which are under way, how far, how their oxygen stands, how many tests are left."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from aerobe.notebook import LogEnvelope, Notebook
from aerobe.records import Assay, Brew, Compost, Harvest, Reading, Recipe, Trial, Use, Vessel
from aerobe.usecases.brews._behind_code import recipe_and_compost
from aerobe.usecases.brews._budget import BrewTests, budget_of
from aerobe.usecases.brews._held import Held, cached, held_by
from aerobe.usecases.brews._put_away import put_away
from aerobe.usecases.notebook._moments import AHEAD
from aerobe.usecases.trials._blinding import HIDDEN, is_hidden

LEFT_OPEN_AFTER = timedelta(days=7)  # a brew nobody closed for so long is no longer under way
RECENT_H = 3.0  # how far back "oxygen now" is looked for first [h]


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
    budget: BrewTests
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
    harvest: Harvest | None
    uses: tuple[Use, ...]
    last_change: int
    last_noted: int  # without what probes add


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

    def oxygen() -> LogEnvelope:
        return notebook.log_envelope(key, "oxygen", buckets=buckets)

    version, noted = held.version(key), held.noted(key)
    written = cached(notebook, ("view", key), noted, lambda: _written(notebook, held, brew))
    return BrewView(
        card=_card(notebook, held, brew, now),
        recipe=written.recipe,
        vessel=written.vessel,
        compost=written.compost,
        readings=written.readings,
        assays=written.assays,
        uses=written.uses,
        oxygen_log=cached(notebook, ("logs", key, buckets), version, oxygen),
        harvest=held.ends.get(key),
        last_change=version,
        last_noted=noted,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Written:
    """What a page shows of a brew and people wrote: the same until somebody writes again."""

    recipe: Recipe
    vessel: Vessel
    compost: Compost
    readings: tuple[Reading, ...]
    assays: dict[str, Assay]
    uses: tuple[Use, ...]


def _written(notebook: Notebook, held: Held, brew: Brew) -> _Written:
    recipe, compost = recipe_and_compost(notebook, brew)
    readings = _readings(notebook, held, brew.key)
    return _Written(
        recipe=recipe,
        vessel=notebook.get(Vessel, brew.vessel),
        compost=compost,
        readings=readings,
        assays={name: notebook.get(Assay, name) for name in sorted({reading.assay for reading in readings})},
        uses=tuple(notebook.find(Use, of=brew.key)),
    )


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


def _readings(notebook: Notebook, held: Held, key: str) -> tuple[Reading, ...]:
    return cached(notebook, ("readings", key), held.noted(key), lambda: tuple(notebook.readings(key)))


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
