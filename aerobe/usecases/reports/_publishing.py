"""A copy of one brew or one trial that may leave the house: the records it rests on, without what points to a person."""

from __future__ import annotations

import csv
import io
import math
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from aerobe.assay import Study
from aerobe.notebook import ORIGIN, Notebook, open_notebook
from aerobe.records import (
    Arm,
    Assay,
    Brew,
    Compost,
    Harvest,
    Reading,
    Recipe,
    RunSheet,
    Sample,
    SensorLog,
    Trial,
    Vessel,
)
from aerobe.usecases.brews._started import TAKEN_IN
from aerobe.usecases.trials._afterwards import KIND as AFTERWARDS
from aerobe.usecases.trials._asked import KIND as ASKED
from aerobe.usecases.trials._blinding import OPENED, refuse_while_hidden
from aerobe.usecases.trials._history import HISTORY, STANDS_FOR_ANOTHER, carry_history

if TYPE_CHECKING:
    from collections.abc import Iterable

PROTOCOL = "protocol"  # which plan, shared by several sites, a trial follows
# What was asked goes along: a report has no first look of its own.
KEPT_KINDS = ("advice", "verdict", OPENED, TAKEN_IN, PROTOCOL, ASKED, AFTERWARDS)
STUDY_COLUMNS = ("role", "signal", "unit", "what", "colour", "added", "dilution", "sample", "day", "operator", "kit_lot", "mark")


@contextmanager
def copy_of(notebook: Notebook, *, brews: tuple[str, ...], trial: str, now: datetime, with_people: bool) -> Iterator[Notebook]:
    """A notebook of its own with these brews and what they need, gone when the block ends.

    Parameters
    ----------
    brews, trial
        Keys; of the trial its run sheet comes along, empty for none.
    with_people
        Keep names of people, places and free notes. Without it readers become "reader-1" and so on, probes and tables are
        numbered as well, and uses stay at home. Names of brews, recipes, vessels and tests go out as they are written.
    """
    notebook.require_whole()
    refuse_while_hidden(notebook, [notebook.get(Brew, key) for key in brews])
    with empty_notebook(now) as copy:
        with copy.writing() as pen:
            pen.set_setting(ORIGIN, notebook.origin, at=now)
            for record in _records(notebook, brews, trial, with_people):
                pen.add(record, at=now)
            logs = list(_logs(notebook, brews))
            probes = {name: f"probe-{place}" for place, name in enumerate(_once(log.probe for log in logs), start=1)}
            for log in logs:
                pen.append_log(log if with_people else replace(log, probe=probes.get(log.probe, "")), at=now)
            tables: dict[str, str] = {}
            for kind in KEPT_KINDS:
                for item in notebook.kept(kind):
                    if item.subject in (*brews, trial):
                        payload = item.payload if with_people or kind != TAKEN_IN else _numbered_file(item.payload, tables)
                        pen.keep(kind, item.subject, payload, at=item.at)
            for key in _once([trial, *(notebook.get(Brew, brew).trial for brew in brews)]):
                pen.keep(HISTORY, key, carry_history(notebook, key), at=now)
        yield copy


@contextmanager
def empty_notebook(now: datetime) -> Iterator[Notebook]:
    """A notebook that is gone when the block ends; what a package says of its own making counts in it as the sender's word."""
    with tempfile.TemporaryDirectory(prefix="aerobe-") as folder, open_notebook(Path(folder) / "copy.notebook", at=now) as copy:
        copy.set_setting(STANDS_FOR_ANOTHER, True, at=now)
        yield copy


def _records(notebook: Notebook, brews: tuple[str, ...], trial: str, with_people: bool) -> Iterator[object]:
    chosen = [notebook.get(Brew, key) for key in brews]
    plans = [notebook.get(Trial, key) for key in _once([trial, *(brew.trial for brew in chosen)])]
    arms: list[Arm] = [arm for plan in plans for arm in plan.arms]
    named = _once([*(brew.recipe for brew in chosen), *(arm.recipe for arm in arms)])
    recipes = [notebook.get(Recipe, key) for key in named]
    gone = notebook.taken_back()
    told = [item for key in brews for item in notebook.readings(key, with_corrected=True) if item.key not in gone]
    readings = _in_order(told)
    sheets = [sheet for sheet in notebook.find(RunSheet) if trial and sheet.trial == trial]
    everything: list[object] = [
        *(notebook.get(Compost, key) for key in _once(item.compost for item in recipes)),
        *recipes,
        *(notebook.get(Vessel, key) for key in _once(brew.vessel for brew in chosen)),
        *(notebook.get(Assay, key) for key in _once(item.assay for item in readings)),
        *plans,
        *sheets,
        *chosen,
        *(item for key in brews for item in notebook.find(Sample, of=key)),
        *readings,
        *(item for key in brews for item in notebook.find(Harvest, of=key)),
    ]
    readers = {name: f"reader-{place}" for place, name in enumerate(_once(item.operator for item in readings), start=1)}
    for record in everything:
        yield record if with_people else _without_people(record, readers)


def _without_people(record: object, readers: dict[str, str]) -> object:
    """Free text can name anybody, so all of it stays at home; what was typed as a number stays, it is the raw datum."""
    match record:
        case Reading():
            return replace(record, operator=readers.get(record.operator, ""), notes="")
        case Sample():
            return replace(record, taken_by="", notes="")
        case Compost():
            return replace(record, origin="")
        case Brew() | Harvest() | Recipe() | Trial():
            return replace(record, notes="")
        case _:
            return record


def _numbered_file(payload: dict[str, object], tables: dict[str, str]) -> dict[str, object]:
    """A table's own name can be a person's; its hash, which stays, tells it from any other."""
    name = str(payload.get("file", ""))
    number = tables.setdefault(str(payload.get("sha256", name)), f"table-{len(tables) + 1}")
    return {**payload, "file": f"{number}{Path(name).suffix[:8]}"}


def _logs(notebook: Notebook, brews: tuple[str, ...]) -> Iterator[SensorLog]:
    for brew, channel, probe, _ in notebook.logged():
        if brew in brews:
            times, values = notebook.log(brew, channel, probe=probe)
            yield SensorLog(
                brew=brew, channel=channel, probe=probe, elapsed_h=tuple(times.tolist()), values=tuple(values.tolist())
            )


def _once(keys: Iterable[str]) -> list[str]:
    return [key for key in dict.fromkeys(keys) if key]


def _in_order(readings: list[Reading]) -> list[Reading]:
    """A corrected reading before the one that corrects it."""
    placed: list[Reading] = []
    left = list(readings)
    known: set[str] = set()
    here = {item.key for item in readings}
    while left:
        ready = [item for item in left if not item.replaces or item.replaces in known or item.replaces not in here]
        if not ready:
            return [*placed, *left]
        placed += ready
        known |= {item.key for item in ready}
        left = [item for item in left if item.key not in known]
    return placed


def table_of_study(study: Study, *, with_people: bool) -> str:
    """A study as the table it can be read from again; readers are numbered unless their names may go out."""
    names = _once(item.operator for item in study.readings)
    readers = {name: name if with_people else f"reader-{place}" for place, name in enumerate(names, start=1)}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(STUDY_COLUMNS)
    for item in study.readings:
        mark = "below" if item.below_detection else "above" if item.above_range else ""
        writer.writerow(
            [
                item.role,
                repr(item.signal),
                item.unit,
                item.what,
                "" if math.isnan(item.colour) else repr(item.colour),
                repr(item.added),
                repr(item.dilution),
                item.sample,
                item.day,
                readers.get(item.operator, ""),
                item.kit_lot,
                mark,
            ]
        )
    return out.getvalue()
