"""A data package back into a notebook. What comes from outside is checked before a single row is written."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import re
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any, TypeVar

from aerobe.errors import AerobeError, ImportFault
from aerobe.notebook._notebook import Notebook
from aerobe.notebook._package import FORMAT
from aerobe.notebook._pen import Pen
from aerobe.notebook._schema import NOUNS
from aerobe.records import Reading, SensorLog, from_plain

MAX_FILES = 20_000
MAX_BYTES = 2_000_000_000
MAX_RATIO = 300  # text of readings packs 5 to 30 fold
_SAFE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_./-]*")

R = TypeVar("R")


@dataclass(frozen=True, slots=True, kw_only=True)
class Unpacked:
    """What a package brought: how many of each were new, and how many were there already."""

    new: dict[str, int]
    known: dict[str, int]
    trial: str
    content: str  # the fingerprint that the writer gave, for a whole notebook
    origin: str = ""  # the mark of the notebook that it came from, where that is told


def read_package(
    notebook: Notebook,
    content: bytes,
    *,
    at: datetime,
    who: str = "",
    knows: Callable[[str, str, object], bool] = lambda kind, subject, payload: False,
) -> Unpacked:
    """Take in a package, all or nothing. Records that are there already are not doubled.

    Parameters
    ----------
    notebook, content
        Where to, and the bytes of the package.
    at, who
        When, and by whom.
    knows
        Whether a result, by kind, subject and payload, says nothing that the notebook does not say itself.

    Raises
    ------
    ImportFault
        If it is damaged, packed to do harm, or no package of ours; or if a record contradicts one that is there.
    """
    files = _open(content)
    about = _about(files)
    contents = {entry["name"]: (entry, _resource(files, entry)) for entry in _entries(about)}
    new: dict[str, int] = {}
    known: dict[str, int] = {}

    def count(noun: str, was_new: bool) -> None:
        tally = new if was_new else known
        tally[noun] = tally.get(noun, 0) + 1

    with notebook.writing() as pen:
        for noun in NOUNS:
            _, text = contents.get(noun.name.replace("_", "-"), ({}, "[]"))
            for plain in _list(text, noun.name):
                count(noun.name, _add(pen, _record(noun.cls, plain), at, who))
        for reading in _readings(contents.get("readings", ({}, ""))[1]):
            count("readings", _add(pen, reading, at, who))
        for entry, text in contents.values():
            about_log = entry.get("aerobe")
            if isinstance(about_log, dict) and "channel" in about_log:
                count("logs", _add_log(pen, about_log, text, at, who))
        for plain in _list(contents.get("results", ({}, "[]"))[1], "results"):
            count("results", _keep(notebook, pen, plain, who, knows))
        said = ", ".join(f"{number} {noun}" for noun, number in sorted(new.items())) or "nothing new"
        pen.note(at=at, who=who, did="import", noun="package", key=hashlib.sha256(content).hexdigest()[:16], why=said)
    ours = about["aerobe"]
    assert isinstance(ours, dict)
    told = {name: str(ours.get(name, ""))[:80] for name in ("trial", "content", "origin")}
    return Unpacked(new=new, known=known, **told)


def _open(content: bytes) -> dict[str, bytes]:
    """Every file of a zip, after its list of contents has been found harmless."""
    try:
        packed = zipfile.ZipFile(io.BytesIO(content))
    except (zipfile.BadZipFile, NotImplementedError, ValueError):
        raise ImportFault("This is no data package: it is no zip file, or a damaged one.", "Export it again.") from None
    with packed:
        items = [item for item in packed.infolist() if not item.filename.endswith("/")]
        size = sum(item.file_size for item in items)
        if len(items) > MAX_FILES or size > MAX_BYTES or size > MAX_RATIO * max(len(content), 1000):
            problem = f"The package would unpack to {len(items)} files and {size / 1e6:.0f} MB."
            raise ImportFault(problem, "Take in one trial at a time.")
        for item in items:
            if not _SAFE.fullmatch(item.filename) or ".." in item.filename.split("/"):
                raise ImportFault(f"The package names a file outside itself: '{item.filename}'.", "Do not use it.")
            if (item.external_attr >> 16) & 0o170000 == 0o120000:
                raise ImportFault(f"'{item.filename}' in the package is a link.", "Do not use it; ask who made it.")
        try:
            return {item.filename: _unpacked(packed, item) for item in items}
        except (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, ValueError, OSError, EOFError) as fault:
            raise ImportFault(f"The package is damaged: {fault}.", "Export it again.") from None


def _unpacked(packed: zipfile.ZipFile, item: zipfile.ZipInfo) -> bytes:
    with packed.open(item) as stream:
        content = stream.read(item.file_size + 1)  # a list of contents may lie about sizes
    if len(content) != item.file_size:
        raise ImportFault(f"'{item.filename}' is larger than the package says.", "Do not use it; ask who made it.")
    return content


def _about(files: dict[str, bytes]) -> dict[str, object]:
    if "datapackage.json" not in files:
        raise ImportFault("The package has no datapackage.json.", "Give a package that Aerobe exported.")
    try:
        about = json.loads(files["datapackage.json"])
    except (ValueError, RecursionError):
        raise ImportFault("The package's datapackage.json cannot be read.", "Export it again.") from None
    ours = about.get("aerobe") if isinstance(about, dict) else None
    if not isinstance(ours, dict) or ours.get("format") != FORMAT:
        raise ImportFault(
            "This data package was not written by this release of Aerobe.",
            "Take its tables in one by one: `aerobe import table.csv`; or update Aerobe.",
        )
    return about


def _entries(about: dict[str, object]) -> list[dict[str, object]]:
    entries = about.get("resources")
    if not isinstance(entries, list) or not all(_is_entry(item) for item in entries):
        raise ImportFault("The package does not list its tables.", "Export it again.")
    return entries


def _is_entry(item: object) -> bool:
    return isinstance(item, dict) and isinstance(item.get("name"), str) and isinstance(item.get("aerobe", {}), dict)


def _resource(files: dict[str, bytes], entry: dict[str, object]) -> str:
    path = entry.get("path")
    content = files.get(path) if isinstance(path, str) else None
    if content is None:
        raise ImportFault(f"The package lacks the file '{path}'.", "Export it again.")
    if entry.get("hash") != f"sha256:{hashlib.sha256(content).hexdigest()}":
        raise ImportFault(f"'{path}' is not what was exported: its hash differs.", "Export it again.")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        raise ImportFault(f"'{path}' is not text in UTF-8.", "Export it again.") from None


def _list(text: str, noun: str) -> list[object]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, list):
        raise ImportFault(f"The package's {noun} cannot be read.", "Export it again.")
    return found


def _record(cls: type[R], plain: object) -> R:
    try:
        return from_plain(cls, plain)
    except AerobeError as fault:
        raise ImportFault(f"A {cls.__name__} in the package cannot be used: {fault.problem}", fault.remedy) from None


def _add(pen: Pen, record: object, at: datetime, who: str) -> bool:
    try:
        return pen.add(record, at=at, who=who).was_new
    except AerobeError as fault:
        raise ImportFault(
            f"The package contradicts the notebook: {fault.problem}",
            f"Nothing was taken in. Use a new notebook for it. {fault.remedy}",
        ) from None


def _readings(text: str) -> list[Reading]:
    kinds = {item.name: str(item.type) for item in fields(Reading)}
    found = []
    for row in _csv_rows(text):
        plain = {name: _value(kinds[name], cell) for name, cell in row.items() if name in kinds and cell is not None}
        found.append(_record(Reading, plain))
    return found


def _csv_rows(text: str) -> list[dict[str, str]]:
    try:
        return list(csv.DictReader(io.StringIO(text)))
    except csv.Error as fault:
        raise ImportFault(f"A table in the package cannot be read: {fault}.", "Export it again.") from None


def _value(kind: str, cell: str) -> object:
    if kind.startswith("bool"):
        return cell == "true"
    if kind.startswith("datetime"):
        return cell or None
    if kind.startswith(("float", "int")):
        try:
            number = float(cell)
        except ValueError:
            raise ImportFault(f"'{cell}' in the package's readings is no number.", "Export it again.") from None
        return int(number) if kind.startswith("int") and math.isfinite(number) else number
    return cell[1:] if cell.startswith("'") else cell


def _add_log(pen: Pen, about: dict[str, object], text: str, at: datetime, who: str) -> bool:
    rows = _csv_rows(text)
    try:
        times, values = tuple(float(row["elapsed_h"]) for row in rows), tuple(float(row["value"]) for row in rows)
        said = {name: str(about[name]) for name in ("brew", "channel", "probe")}
        log = SensorLog(**said, elapsed_h=times, values=values)
        return pen.append_log(log, at=at, who=who).was_new
    except (ValueError, TypeError, KeyError):
        raise ImportFault("A log in the package cannot be read.", "Export it again.") from None


def _keep(notebook: Notebook, pen: Pen, plain: Any, who: str, knows: Callable[[str, str, object], bool]) -> bool:
    try:
        kind, subject, moment = str(plain["kind"]), str(plain["subject"]), datetime.fromisoformat(plain["at"])
        payload = plain["payload"]
    except (TypeError, KeyError, ValueError):
        raise ImportFault("A result in the package cannot be read.", "Export it again.") from None
    if any(item.at == moment and item.payload == payload for item in notebook.kept(kind, subject)) or knows(
        kind, subject, payload
    ):
        return False
    pen.keep(kind, subject, payload, at=moment, who=who)
    return True
