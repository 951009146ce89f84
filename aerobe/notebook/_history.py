"""All that is known of one brew, in one call."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from aerobe.notebook import _logs
from aerobe.notebook._notebook import Notebook
from aerobe.notebook._reads import Kept, all_kept, all_readings, get, load
from aerobe.notebook._schema import BY_CLASS, log_chunks
from aerobe.records import (
    Assay,
    Brew,
    BrewEvent,
    Compost,
    Harvest,
    Reading,
    Recipe,
    Sample,
    SensorLog,
    Use,
    Vessel,
    from_plain,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewHistory:
    """One brew with everything that belongs to it: evidence after corrections, and earlier advice. Nothing is computed."""

    brew: Brew
    recipe: Recipe
    compost: Compost
    vessel: Vessel
    assays: dict[str, Assay]  # by key: those that its readings name
    readings: tuple[Reading, ...]  # in order of time, corrected ones left out
    samples: tuple[Sample, ...]
    logs: tuple[SensorLog, ...]  # in order of channel and probe
    harvest: Harvest | None
    uses: tuple[Use, ...]
    events: tuple[BrewEvent, ...]  # what happened to it, as entered, also what was taken back
    advice: tuple[Kept, ...]  # earlier advice, oldest first
    last_change: int  # grows with every write to this brew

    def log(self, channel: str) -> SensorLog | None:
        """The log of a channel; of several probes, the one with most points."""
        found = [log for log in self.logs if log.channel == channel]
        return max(found, key=lambda log: len(log.values)) if found else None


def brew_history(notebook: Notebook, key: str) -> BrewHistory:
    """All that the notebook holds of one brew, as one consistent view.

    Raises
    ------
    NotFound
        If there is no such brew.
    """
    last = notebook.last_change(key)
    with notebook.store.reading() as connection:
        brew = get(connection, Brew, key)
        recipe = get(connection, Recipe, brew.recipe)
        found = all_readings(connection, key)
        harvests = _of(connection, Harvest, key)
        return BrewHistory(
            brew=brew,
            recipe=recipe,
            compost=get(connection, Compost, recipe.compost),
            vessel=get(connection, Vessel, brew.vessel),
            assays={name: get(connection, Assay, name) for name in sorted({reading.assay for reading in found})},
            readings=tuple(found),
            samples=tuple(_of(connection, Sample, key)),
            logs=_all_logs(connection, key),
            harvest=harvests[0] if harvests else None,
            uses=tuple(_of(connection, Use, key)),
            events=tuple(from_plain(BrewEvent, item.payload) for item in all_kept(connection, "event", key)),
            advice=tuple(all_kept(connection, "advice", key)),
            last_change=last,
        )


def _of(connection: sa.Connection, cls: type, key: str) -> list:
    table = BY_CLASS[cls].table
    wanted = sa.select(table.c.payload).where(table.c.parent == key).order_by(table.c.key)
    return [load(cls, text) for text in connection.execute(wanted).scalars()]


def _all_logs(connection: sa.Connection, key: str) -> tuple[SensorLog, ...]:
    columns = log_chunks.c.channel, log_chunks.c.probe
    which = sa.select(*columns).where(log_chunks.c.brew == key).distinct().order_by(*columns)
    found = []
    for channel, probe in connection.execute(which).all():
        times, values = (tuple(part.tolist()) for part in _logs.read(connection, key, channel, probe=probe))
        found.append(SensorLog(brew=key, channel=channel, probe=probe, elapsed_h=times, values=values))
    return tuple(found)
