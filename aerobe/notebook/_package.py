"""The notebook, or one trial of it, as a Frictionless Data Package: an open standard that any table program reads.

Readings and logs are CSV tables with a schema; the other records are JSON lists with the fields of the record. Text that a
spreadsheet would run as a formula is written with a leading apostrophe, which reading takes off again.
"""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import io
import json
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import sqlalchemy as sa

from aerobe.notebook._check import fingerprint
from aerobe.notebook._notebook import Notebook
from aerobe.notebook._reads import Kept
from aerobe.notebook._schema import NOUNS, SCHEMA, kept
from aerobe.records import Arm, Assay, Brew, Compost, Reading, Recipe, RunSheet, Trial, Vessel, as_plain
from aerobe.units import text_as_cell

FORMAT = "aerobe-notebook-1"
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the same content gives the same bytes on any day
UNITS = {"elapsed_h": "h", "dilution": "1"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Which records a package holds."""

    brews: frozenset[str] | None  # None: the whole notebook
    subjects: frozenset[str] | None


def write_package(
    notebook: Notebook,
    *,
    at: datetime,
    trial: str = "",
    versions: dict[str, str] | None = None,
    also: Sequence[Kept] = (),
) -> bytes:
    """A zip with `datapackage.json` and its tables.

    Parameters
    ----------
    notebook
        Where it comes from.
    at
        When it is written.
    trial
        Key of the one trial to write; empty for the whole notebook.
    versions
        Programs that made the results, by name.
    also
        Results that are not kept in the notebook and go along, such as what its own order of writing shows; in place of those of
        the same kind that are.
    """
    notebook.require_whole()
    records = _records(notebook, trial)
    scope = _scope(notebook, trial, records)
    files: dict[str, bytes] = {}
    resources: list[dict[str, object]] = []
    for noun in NOUNS:
        found = records[noun.name]
        if found:
            text = json.dumps([as_plain(item) for item in found], ensure_ascii=False, indent=1, allow_nan=False)
            _put(files, resources, f"data/{noun.name}.json", text, {"name": noun.name.replace("_", "-"), "format": "json"})
    readings = [item for item in notebook.readings(with_corrected=True) if scope.brews is None or item.brew in scope.brews]
    if readings:
        _put(files, resources, "data/readings.csv", _readings_csv(_in_order(readings)), _readings_schema())
    for brew, channel, probe, _ in notebook.logged():
        if scope.brews is None or brew in scope.brews:
            name = f"log-{hashlib.sha256(f'{brew}/{channel}/{probe}'.encode()).hexdigest()[:12]}"
            schema = _log_schema(name, brew, channel, probe)
            _put(files, resources, f"data/logs/{name}.csv", _log_csv(notebook, brew, channel, probe), schema)
    anew = {(item.kind, item.subject) for item in also}
    results = [*(item for item in _kept(notebook, scope) if (item.kind, item.subject) not in anew), *also]
    if results:
        _put(files, resources, "data/results.json", _results_json(results), {"name": "results", "format": "json"})
    about = {
        "profile": "data-package",
        "name": trial.lower() or "notebook",
        "title": _title(notebook, trial),
        "created": at.isoformat(),
        "aerobe": {
            "format": FORMAT,
            "schema": SCHEMA,
            "trial": trial,
            "origin": notebook.origin,
            "versions": versions or {},
            "content": "" if trial else fingerprint(notebook),
        },
        "resources": resources,
    }
    files["datapackage.json"] = json.dumps(about, ensure_ascii=False, indent=2).encode()
    return _zip(files)


Records = dict[str, list[Any]]  # by noun; each of its own class


def _records(notebook: Notebook, trial: str) -> Records:
    everything: Records = {noun.name: notebook.find(noun.cls) for noun in NOUNS}
    if not trial:
        return everything
    notebook.get(Trial, trial)
    brews = [item for item in everything["brews"] if item.trial == trial]
    keys = {item.key for item in brews}
    arms: list[Arm] = [arm for item in everything["trials"] if item.key == trial for arm in item.arms]
    recipe_keys = {item.recipe for item in brews} | {arm.recipe for arm in arms}
    recipes = [item for item in everything["recipes"] if item.key in recipe_keys]
    assay_keys = {item.assay for item in notebook.readings(with_corrected=True) if item.brew in keys}
    wanted: dict[type, set[str]] = {
        Trial: {trial},
        RunSheet: {trial},
        Recipe: recipe_keys,
        Compost: {item.compost for item in recipes},
        Vessel: {item.vessel for item in brews},
        Assay: assay_keys,
        Brew: keys,
    }
    chosen: Records = {}
    for noun in NOUNS:
        by = noun.key if noun.cls in wanted else noun.parent
        names = wanted.get(noun.cls, keys)
        chosen[noun.name] = [item for item in everything[noun.name] if getattr(item, by) in names]
    return chosen


def _scope(notebook: Notebook, trial: str, records: Records) -> Scope:
    if not trial:
        return Scope(brews=None, subjects=None)
    brews = frozenset(item.key for item in records["brews"])
    return Scope(brews=brews, subjects=brews | {trial} | {item.key for item in records["assays"]})


def _kept(notebook: Notebook, scope: Scope) -> list[Kept]:
    with notebook.store.reading() as connection:
        kinds = list(connection.execute(sa.select(kept.c.kind).distinct().order_by(kept.c.kind)).scalars())
    found = [item for kind in kinds for item in notebook.kept(kind)]
    return [item for item in found if scope.subjects is None or item.subject in scope.subjects]


def _in_order(readings: list[Reading]) -> list[Reading]:
    """A corrected reading before its correction, so that they can be added in turn."""
    depth: dict[str, int] = {}
    by_key = {item.key: item for item in readings}

    def steps(item: Reading) -> int:
        count, at = 0, item
        while at.replaces in by_key and count < len(by_key):
            count, at = count + 1, by_key[at.replaces]
        return count

    for item in readings:
        depth[item.key] = steps(item)
    return sorted(readings, key=lambda item: (depth[item.key], item.brew, item.elapsed_h, item.key))


def _readings_csv(readings: Iterable[Reading]) -> str:
    names = [item.name for item in dataclasses.fields(Reading)]
    return _csv(names, ([_cell(as_plain(getattr(item, name))) for name in names] for item in readings))


def _readings_schema() -> dict[str, object]:
    kinds = {float: "number", int: "integer", bool: "boolean"}
    fields: list[dict[str, object]] = []
    for item in dataclasses.fields(Reading):
        word = str(item.type)
        kind = next((name for python, name in kinds.items() if word.startswith(python.__name__)), "string")
        entry: dict[str, object] = {"name": item.name, "type": kind}
        if item.name in UNITS:
            entry["unit"] = UNITS[item.name]
        if kind == "boolean":
            entry |= {"trueValues": ["true"], "falseValues": ["false"]}
        fields.append(entry)
    return {
        "name": "readings",
        "format": "csv",
        "profile": "tabular-data-resource",
        "schema": {"fields": fields, "primaryKey": "key", "missingValues": [""]},
    }


def _log_csv(notebook: Notebook, brew: str, channel: str, probe: str) -> str:
    times, values = notebook.log(brew, channel, probe=probe)
    order = np.lexsort((values, times))
    pairs = zip(times[order].tolist(), values[order].tolist(), strict=True)
    return _csv(["elapsed_h", "value"], ([repr(time), repr(value)] for time, value in pairs))


def _log_schema(name: str, brew: str, channel: str, probe: str) -> dict[str, object]:
    unit = {"oxygen": "mg/L", "temperature": "degC", "pH": "pH", "conductivity": "uS/cm", "salinity": "g/kg"}[channel]
    fields = [{"name": "elapsed_h", "type": "number", "unit": "h"}, {"name": "value", "type": "number", "unit": unit}]
    return {
        "name": name,
        "format": "csv",
        "profile": "tabular-data-resource",
        "schema": {"fields": fields},
        "aerobe": {"brew": brew, "channel": channel, "probe": probe},
    }


def _results_json(results: list[Kept]) -> str:
    lines = [{"kind": item.kind, "subject": item.subject, "at": item.at.isoformat(), "payload": item.payload} for item in results]
    return json.dumps(lines, ensure_ascii=False, indent=1, allow_nan=False)


def _csv(names: list[str], rows: Iterable[list[str]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows(rows)
    return out.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    return text_as_cell(str(value))


def _title(notebook: Notebook, trial: str) -> str:
    return notebook.get(Trial, trial).name if trial else "A brewer's notebook"


def _put(files: dict[str, bytes], resources: list[dict[str, object]], path: str, text: str, entry: dict[str, object]) -> None:
    content = text.encode()
    files[path] = content
    resources.append(
        {
            "path": path,
            "mediatype": "text/csv" if path.endswith(".csv") else "application/json",
            "encoding": "utf-8",
            "bytes": len(content),
            "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
            **entry,
        }
    )


def _zip(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in sorted(files, key=lambda item: (item != "datapackage.json", item)):
            packed.writestr(zipfile.ZipInfo(name, date_time=_EPOCH), files[name], compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()
