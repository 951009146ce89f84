"""Reads inside one transaction, and what they give back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any, TypeVar

import sqlalchemy as sa

from aerobe.errors import AerobeError, Damaged, NotFound, UnusableRecord
from aerobe.notebook._schema import BY_CLASS, audit, kept, readings, settings
from aerobe.records import Reading, from_plain

R = TypeVar("R")
MOST_LINES = 1_000_000_000
UNREADABLE = (
    "A row of the notebook is not as it was written.",
    "See what is wrong: `aerobe notebook check`; then restore a dated copy or save what is whole.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """What became of an entry: under which key it is kept, and whether it was new or had come before."""

    noun: str
    key: str
    was_new: bool
    points: int = 0  # for a log: how many points were new


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A result as it was kept: what it is about, when it was made, and its content with versions and seed."""

    id: int
    kind: str
    subject: str
    at: datetime
    payload: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One line of the audit trail."""

    id: int
    at: datetime
    who: str
    did: str
    noun: str
    key: str
    brew: str
    before: object
    why: str


def get(connection: sa.Connection, cls: type[R], key: str) -> R:
    """The record of this class with this key, or `NotFound`."""
    table = readings if cls is Reading else BY_CLASS[cls].table
    text = connection.execute(sa.select(table.c.payload).where(table.c.key == key)).scalar()
    if text is None:
        raise no_such(table.name, key)
    return load(cls, text)


def load(cls: type[R], text: str) -> R:
    """A record from its row's payload.

    Raises
    ------
    Damaged
        If the row is not what was written.
    """
    try:
        return from_plain(cls, json.loads(text))
    except (AerobeError, ValueError, TypeError, KeyError) as fault:
        raise Damaged(*UNREADABLE) from fault


@lru_cache(maxsize=4096)
def _reading(text: str) -> Reading:
    # A verdict reads each reading a hundred times over, and the same text is the same reading.
    return load(Reading, text)


@lru_cache
def _readings_wanted(of_brew: bool, of_none: bool, by_assay: bool, with_corrected: bool) -> sa.Select:
    # Putting the question together takes longer than its answer: it is done once for each kind of question.
    # By key and not by number: a notebook that was exported and taken in again must give its fits the same order.
    wanted = sa.select(readings.c.payload).order_by(readings.c.elapsed_h, readings.c.key)
    if of_brew:
        wanted = wanted.where(readings.c.brew.is_(None) if of_none else readings.c.brew == sa.bindparam("of"))
    if by_assay:
        wanted = wanted.where(readings.c.assay == sa.bindparam("by"))
    if not with_corrected:
        newer = readings.alias("newer")
        wanted = wanted.where(~sa.exists().where(newer.c.replaces == readings.c.key))
    return wanted


def all_readings(
    connection: sa.Connection, brew: str | None, *, assay: str | None = None, with_corrected: bool = False
) -> list[Reading]:
    """Readings in order of time, without those taken back unless `with_corrected`; see `Notebook.readings`."""
    wanted = _readings_wanted(brew is not None, brew == "", assay is not None, with_corrected)
    values = {name: value for name, value in (("of", brew), ("by", assay)) if value is not None}
    found = [_reading(text) for text in connection.execute(wanted, values).scalars()]
    if with_corrected:
        return found
    gone = taken_back(connection, brew)
    return [item for item in found if item.key not in gone]


TAKEN_BACK = "reading taken back"  # kept under the key of its brew
ORDER_OF_WRITING = "plan history"  # in packages: what the notebook that they came from shows of a trial's making


def taken_back(connection: sa.Connection, brew: str | None) -> set[str]:
    """Keys of readings that were entered by mistake and taken back, with those that they had corrected."""
    found: set[str] = set()
    for item in all_kept(connection, TAKEN_BACK, brew):
        key: str | None = str(item.payload["reading"])
        while key:
            found.add(key)
            key = connection.execute(sa.select(readings.c.replaces).where(readings.c.key == key)).scalar()
    return found


def all_kept(connection: sa.Connection, kind: str, subject: str | None) -> list[Kept]:
    """Kept results, oldest first."""
    wanted = sa.select(kept).where(kept.c.kind == kind).order_by(kept.c.id)
    if subject is not None:
        wanted = wanted.where(kept.c.subject == subject)
    return [_kept(row) for row in connection.execute(wanted).mappings()]


def _kept(row: sa.RowMapping) -> Kept:
    try:
        at, payload = datetime.fromisoformat(row["at"]), json.loads(row["payload"])
    except (ValueError, TypeError) as fault:
        raise Damaged(*UNREADABLE) from fault
    return Kept(id=row["id"], kind=row["kind"], subject=row["subject"], at=at, payload=payload)


def setting(connection: sa.Connection, name: str, default: object) -> object:
    """A setting of the notebook."""
    text = connection.execute(sa.select(settings.c.value).where(settings.c.name == name)).scalar()
    try:
        return default if text is None else json.loads(text)
    except ValueError as fault:
        raise Damaged(*UNREADABLE) from fault


def no_such(table: str, key: str) -> NotFound:
    """The fault of naming something that is not there."""
    word = singular(table)
    return NotFound(f"The notebook has no {word} '{key}'.", f"Check the key, or add the {word} first.")


def singular(table: str) -> str:
    """The word for one row of a table."""
    return table.removesuffix("s").replace("_", " ")


def changes(
    connection: sa.Connection, *, brew: str | None, key: str | None, noun: str | None = None, newest: int | None
) -> list[Change]:
    """Lines of the audit trail, oldest first."""
    wanted = sa.select(audit).order_by(audit.c.id.desc())
    if brew is not None:
        wanted = wanted.where(audit.c.brew == brew)
    if key is not None:
        wanted = wanted.where(audit.c.key == key)
    if noun is not None:
        wanted = wanted.where(audit.c.noun == noun)
    if newest is not None:
        if not 0 <= newest <= MOST_LINES:
            raise UnusableRecord("That is no number of entries.", f"Give a whole number from 0 to {MOST_LINES}.")
        wanted = wanted.limit(newest)
    try:
        return [
            Change(**{**row, "at": datetime.fromisoformat(row["at"]), "before": json.loads(row["before"] or "null")})
            for row in reversed(connection.execute(wanted).mappings().all())
        ]
    except ValueError as fault:
        raise Damaged(*UNREADABLE) from fault
