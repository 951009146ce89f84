"""The notebook itself: add and read records. No formula, no rounding; every write is one transaction with its audit line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa

from aerobe.errors import NotAllowed, NotFound, UnusableRecord
from aerobe.notebook import _logs
from aerobe.notebook._schema import BY_CLASS, Noun, audit, entries, kept, log_chunks, metadata, readings, settings
from aerobe.notebook._store import Store, bring_up_to_date, file_mode_private
from aerobe.records import Reading, SensorLog, as_plain, canonical_json, content_hash, from_plain

R = TypeVar("R")


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """What became of an entry: under which key it is kept, and whether it was new or had come before."""

    noun: str
    key: str
    was_new: bool
    points: int = 0         # for a log: how many points were new


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
    before: Any
    why: str


class Notebook:
    """One open notebook. Made by `open_notebook`; use it in a `with` block or call `close`.

    Every method that writes takes `at`, the time of the entry, and may take `token`: the same token twice adds nothing
    and gives the first receipt back, so that a phone which sends again after a lost signal does no harm.
    """

    def __init__(self, store: Store, *, migrated_from_copy: Path | None = None) -> None:
        self.store = store
        self.migrated_from_copy = migrated_from_copy

    def __enter__(self) -> Notebook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file or server."""
        self.store.close()

    # -- records with a key -------------------------------------------------------------------------------------------

    def add(self, record: Any, *, at: datetime, who: str = "", token: str = "", why: str = "") -> Receipt:
        """Keep a new record. The very same record again is no fault; another one under the same key is.

        Raises
        ------
        UnusableRecord
            If the key is taken by a different record.
        NotFound
            If it names a record that the notebook does not hold.
        """
        with self.writing() as pen:
            return pen.add(record, at=at, who=who, token=token, why=why)

    def change(self, record: Any, *, at: datetime, who: str = "", why: str = "") -> Receipt:
        """Replace a record by one with the same key; the audit trail keeps what stood there. Readings cannot be changed."""
        with self.writing() as pen:
            return pen.change(record, at=at, who=who, why=why)

    def get(self, cls: type[R], key: str) -> R:
        """The record of this class with this key.

        Raises
        ------
        NotFound
            If there is none.
        """
        with self.store.reading() as connection:
            return _get(connection, cls, key)

    def find(self, cls: type[R], *, of: str | None = None) -> list[R]:
        """All records of this class in the order of their keys; with `of`, those that belong to this key."""
        table = BY_CLASS[cls].table
        wanted = sa.select(table.c.payload).order_by(table.c.key)
        if of is not None:
            wanted = wanted.where(table.c.parent == of)
        with self.store.reading() as connection:
            return [_load(cls, text) for text in connection.execute(wanted).scalars()]

    # -- readings -----------------------------------------------------------------------------------------------------

    def add_reading(self, reading: Reading, *, at: datetime, who: str = "", token: str = "", why: str = "") -> Receipt:
        """Keep a reading; one that names another in `replaces` corrects it, and both stay."""
        return self.add(reading, at=at, who=who, token=token, why=why)

    def readings(
        self, brew: str | None = None, *, assay: str | None = None, with_corrected: bool = False
    ) -> list[Reading]:
        """Readings in order of time, without those that a correction has replaced unless `with_corrected`.

        `brew=""` gives the readings outside any brew; `brew=None` those of all.
        """
        with self.store.reading() as connection:
            return _readings(connection, brew, assay=assay, with_corrected=with_corrected)

    def reading(self, key: str) -> Reading:
        """The reading with this key, replaced or not."""
        with self.store.reading() as connection:
            return _get(connection, Reading, key)

    # -- logs ---------------------------------------------------------------------------------------------------------

    def append_log(self, log: SensorLog, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """Add the points of a probe's log; points that are there already are not doubled."""
        with self.writing() as pen:
            return pen.append_log(log, at=at, who=who, token=token)

    def log(
        self, brew: str, channel: str, *, probe: str | None = None, from_h: float = float("-inf"), to_h: float = float("inf")
    ) -> tuple[_logs.Array, _logs.Array]:
        """Times [h] and values of one channel in order of time, shapes (points,)."""
        with self.store.reading() as connection:
            return _logs.read(connection, brew, channel, probe=probe, from_h=from_h, to_h=to_h)

    def log_envelope(
        self, brew: str, channel: str, *, buckets: int = 600, probe: str | None = None,
        from_h: float = float("-inf"), to_h: float = float("inf"),
    ) -> _logs.LogEnvelope:
        """A log made short for drawing: lowest, highest and mean value in each bucket of time."""
        times, values = self.log(brew, channel, probe=probe, from_h=from_h, to_h=to_h)
        return _logs.envelope(channel, times, values, buckets)

    def logged(self, brew: str | None = None) -> list[tuple[str, str, str, int]]:
        """Which logs there are: brew, channel, probe and number of points."""
        columns = log_chunks.c.brew, log_chunks.c.channel, log_chunks.c.probe
        wanted = sa.select(*columns, sa.func.sum(log_chunks.c.points)).group_by(*columns).order_by(*columns)
        if brew is not None:
            wanted = wanted.where(log_chunks.c.brew == brew)
        with self.store.reading() as connection:
            return [(row[0], row[1], row[2], int(row[3])) for row in connection.execute(wanted)]

    # -- kept results and settings ------------------------------------------------------------------------------------

    def keep(self, kind: str, subject: str, payload: Any, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """Keep a result: advice, a study, a certificate, a verdict. Earlier ones of the same kind and subject stay."""
        with self.writing() as pen:
            return pen.keep(kind, subject, payload, at=at, who=who, token=token)

    def kept(self, kind: str, subject: str | None = None) -> list[Kept]:
        """Kept results, oldest first."""
        with self.store.reading() as connection:
            return _kept(connection, kind, subject)

    def latest(self, kind: str, subject: str) -> Kept | None:
        """The newest kept result of this kind about this subject."""
        found = self.kept(kind, subject)
        return found[-1] if found else None

    def add_advice(self, brew: str, advice: Any, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """Keep advice on a brew, with the versions and the seed that made it."""
        return self.keep("advice", brew, advice, at=at, who=who, token=token)

    def setting(self, name: str, default: Any = None) -> Any:
        """A setting of this notebook."""
        with self.store.reading() as connection:
            text = connection.execute(sa.select(settings.c.value).where(settings.c.name == name)).scalar()
        return default if text is None else json.loads(text)

    def set_setting(self, name: str, value: Any, *, at: datetime, who: str = "") -> None:
        """Change a setting of this notebook; the old one stays in the audit trail."""
        with self.writing() as pen:
            pen.set_setting(name, value, at=at, who=who)

    # -- the whole ----------------------------------------------------------------------------------------------------

    def audit(self, *, brew: str | None = None, key: str | None = None, newest: int | None = None) -> list[Change]:
        """Who did what and when, oldest first; with `newest`, only so many of the last."""
        wanted = sa.select(audit).order_by(audit.c.id.desc())
        if brew is not None:
            wanted = wanted.where(audit.c.brew == brew)
        if key is not None:
            wanted = wanted.where(audit.c.key == key)
        if newest is not None:
            wanted = wanted.limit(newest)
        with self.store.reading() as connection:
            rows = connection.execute(wanted).mappings().all()
        return [
            Change(**{**row, "at": datetime.fromisoformat(row["at"]), "before": json.loads(row["before"] or "null")})
            for row in reversed(rows)
        ]

    def last_change(self, brew: str | None = None) -> int:
        """A number that grows with every write (to this brew): a page that remembers it knows when to look again."""
        wanted = sa.select(sa.func.coalesce(sa.func.max(audit.c.id), 0))
        if brew is not None:
            wanted = wanted.where(audit.c.brew == brew)
        with self.store.reading() as connection:
            return int(connection.execute(wanted).scalar_one())

    @contextmanager
    def writing(self) -> Iterator[Pen]:
        """Several writes as one: all are kept, or none."""
        with self.store.writing() as connection:
            yield Pen(connection)


class Pen:
    """The writes of one transaction; `Notebook.writing` hands it out."""

    def __init__(self, connection: sa.Connection) -> None:
        self.connection = connection

    def add(self, record: Any, *, at: datetime, who: str = "", token: str = "", why: str = "") -> Receipt:
        """As `Notebook.add`."""
        record = _settled(record)
        noun = "readings" if isinstance(record, Reading) else BY_CLASS[type(record)].name
        return self._once(token, at, noun, lambda: (
            self._add_reading(record, at, who, why) if isinstance(record, Reading) else self._add(record, at, who, why)
        ))

    def change(self, record: Any, *, at: datetime, who: str = "", why: str = "") -> Receipt:
        """As `Notebook.change`."""
        if isinstance(record, Reading):
            raise NotAllowed("A reading is never changed.", "Add a correction: a new reading that `replaces` the old one.")
        record = _settled(record)
        noun = BY_CLASS[type(record)]
        key = getattr(record, noun.key)
        before = self.connection.execute(sa.select(noun.table.c.payload).where(noun.table.c.key == key)).scalar()
        if before is None:
            raise _no_such(noun.name, key)
        row = self._row(noun, record, at)
        if row["payload"] == before:
            return Receipt(noun=noun.name, key=key, was_new=False)
        self.connection.execute(noun.table.update().where(noun.table.c.key == key).values(**row))
        self.note(at=at, who=who, did="change", noun=noun.name, key=key, brew=_brew_of(record), before=before, why=why)
        return Receipt(noun=noun.name, key=key, was_new=True)

    def append_log(self, log: SensorLog, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """As `Notebook.append_log`."""
        _require(self.connection, "brews", log.brew)

        def act() -> Receipt:
            points = _logs.append(self.connection, log)
            if points:
                self.note(at=at, who=who, did="add", noun="log", key=log.channel, brew=log.brew, why=f"{points} points")
            return Receipt(noun="log", key=log.channel, was_new=points > 0, points=points)

        return self._once(token, at, "log", act)

    def keep(self, kind: str, subject: str, payload: Any, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """As `Notebook.keep`."""
        def act() -> Receipt:
            text = canonical_json(payload)
            made = self.connection.execute(kept.insert().values(
                kind=kind, subject=subject, at=at.isoformat(), payload=text, hash=content_hash([kind, subject, as_plain(payload)])
            ))
            number = str(made.inserted_primary_key[0]) if made.inserted_primary_key else ""
            brew = subject if self._holds("brews", subject) else ""
            self.note(at=at, who=who, did="add", noun=kind, key=subject, brew=brew)
            return Receipt(noun=kind, key=number, was_new=True)

        return self._once(token, at, kind, act)

    def set_setting(self, name: str, value: Any, *, at: datetime, who: str = "") -> None:
        """As `Notebook.set_setting`."""
        before = self.connection.execute(sa.select(settings.c.value).where(settings.c.name == name)).scalar()
        text = canonical_json(value)
        if before is None:
            self.connection.execute(settings.insert().values(name=name, value=text))
        else:
            self.connection.execute(settings.update().where(settings.c.name == name).values(value=text))
        self.note(at=at, who=who, did="set", noun="setting", key=name, before=before)

    def note(
        self, *, at: datetime, who: str, did: str, noun: str, key: str, brew: str = "", before: str | None = None, why: str = ""
    ) -> None:
        """A line in the audit trail."""
        self.connection.execute(audit.insert().values(
            at=at.isoformat(), who=who, did=did, noun=noun, key=key, brew=brew, before=before, why=why
        ))

    def _once(self, token: str, at: datetime, noun: str, act: Any) -> Receipt:
        if not token:
            return act()
        earlier = self.connection.execute(sa.select(entries).where(entries.c.token == token)).mappings().first()
        if earlier is not None:
            return Receipt(noun=earlier["noun"], key=earlier["key"], was_new=False)
        receipt: Receipt = act()
        self.connection.execute(entries.insert().values(token=token, noun=noun, key=receipt.key, at=at.isoformat()))
        return receipt

    def _row(self, noun: Noun, record: Any, at: datetime) -> dict[str, Any]:
        for column, table in ((noun.parent, noun.owner), *noun.needs):
            if column and getattr(record, column):
                _require(self.connection, table, getattr(record, column))
        text = canonical_json(record)
        parent = getattr(record, noun.parent) if noun.parent else ""
        return {"key": getattr(record, noun.key), "parent": parent or None, "payload": text, "hash": content_hash(record),
                "changed_at": at.isoformat()}

    def _add(self, record: Any, at: datetime, who: str, why: str) -> Receipt:
        noun = BY_CLASS[type(record)]
        row = self._row(noun, record, at)
        there = self.connection.execute(sa.select(noun.table.c.hash).where(noun.table.c.key == row["key"])).scalar()
        if there == row["hash"]:
            return Receipt(noun=noun.name, key=row["key"], was_new=False)
        if there is not None:
            raise UnusableRecord(
                f"The notebook already has another {_singular(noun.name)} with the key '{row['key']}'.",
                "Choose another key, or change the one that is there.",
            )
        self.connection.execute(noun.table.insert().values(**row))
        self.note(at=at, who=who, did="add", noun=noun.name, key=row["key"], brew=_brew_of(record), why=why)
        return Receipt(noun=noun.name, key=row["key"], was_new=True)

    def _add_reading(self, reading: Reading, at: datetime, who: str, why: str) -> Receipt:
        digest = content_hash(reading)
        there = self.connection.execute(sa.select(readings.c.hash).where(readings.c.key == reading.key)).scalar()
        if there == digest:
            return Receipt(noun="readings", key=reading.key, was_new=False)
        if there is not None:
            raise UnusableRecord(f"Another reading has the key '{reading.key}'.", "Give the new reading a key of its own.")
        _require(self.connection, "assays", reading.assay)
        if reading.brew:
            _require(self.connection, "brews", reading.brew)
        if reading.replaces:
            self._may_correct(reading.replaces)
        self.connection.execute(readings.insert().values(
            key=reading.key, brew=reading.brew or None, assay=reading.assay, role=reading.role, elapsed_h=reading.elapsed_h,
            replaces=reading.replaces or None, payload=canonical_json(reading), hash=digest, added_at=at.isoformat(),
        ))
        did = "correct" if reading.replaces else "add"
        self.note(at=at, who=who or reading.operator, did=did, noun="readings", key=reading.key, brew=reading.brew, why=why)
        return Receipt(noun="readings", key=reading.key, was_new=True)

    def _may_correct(self, key: str) -> None:
        if not self._holds("readings", key):
            raise _no_such("readings", key)
        newer = self.connection.execute(sa.select(readings.c.key).where(readings.c.replaces == key)).scalar()
        if newer is not None:
            raise NotAllowed(f"The reading '{key}' has been corrected already, by '{newer}'.", f"Correct '{newer}' instead.")

    def _holds(self, table: str, key: str) -> bool:
        return _holds(self.connection, table, key)


def open_notebook(where: str | Path, *, at: datetime, create: bool = True) -> Notebook:
    """Open a notebook: a file path, or the address of a PostgreSQL database.

    A notebook of an older release is brought up to date after a dated copy of it has been made beside it.

    Raises
    ------
    NotebookFault
        If it cannot be opened, is no notebook, is damaged, or was written by a newer release.
    """
    from aerobe.errors import NotebookFault

    store = Store(str(where))
    if store.path is not None and not store.path.exists():
        if not create:
            raise NotebookFault(f"There is no notebook at {where}.", "Check the path, or start one with `aerobe demo`.")
        store.path.touch()
        file_mode_private(store.path)
    try:
        copy = bring_up_to_date(store, at=at, create=create)
    except BaseException:
        store.close()
        raise
    return Notebook(store, migrated_from_copy=copy)


def _settled(record: R) -> R:
    """The record as it will be read back: a 10 given where 10.0 is meant must not hash differently tomorrow."""
    return from_plain(type(record), as_plain(record))


def _get(connection: sa.Connection, cls: type[R], key: str) -> R:
    table = readings if cls is Reading else BY_CLASS[cls].table
    text = connection.execute(sa.select(table.c.payload).where(table.c.key == key)).scalar()
    if text is None:
        raise _no_such(table.name, key)
    return _load(cls, text)


def _load(cls: type[R], text: str) -> R:
    return from_plain(cls, json.loads(text))


def _readings(
    connection: sa.Connection, brew: str | None, *, assay: str | None = None, with_corrected: bool = False
) -> list[Reading]:
    # By key and not by number: a notebook that was exported and taken in again must give its fits the same order.
    wanted = sa.select(readings.c.payload).order_by(readings.c.elapsed_h, readings.c.key)
    if brew is not None:
        wanted = wanted.where(readings.c.brew == brew if brew else readings.c.brew.is_(None))
    if assay is not None:
        wanted = wanted.where(readings.c.assay == assay)
    if not with_corrected:
        newer = readings.alias("newer")
        wanted = wanted.where(~sa.exists().where(newer.c.replaces == readings.c.key))
    return [_load(Reading, text) for text in connection.execute(wanted).scalars()]


def _kept(connection: sa.Connection, kind: str, subject: str | None) -> list[Kept]:
    wanted = sa.select(kept).where(kept.c.kind == kind).order_by(kept.c.id)
    if subject is not None:
        wanted = wanted.where(kept.c.subject == subject)
    return [
        Kept(id=row["id"], kind=row["kind"], subject=row["subject"], at=datetime.fromisoformat(row["at"]),
             payload=json.loads(row["payload"]))
        for row in connection.execute(wanted).mappings()
    ]


def _holds(connection: sa.Connection, table: str, key: str) -> bool:
    column = metadata.tables[table].c.key
    return connection.execute(sa.select(column).where(column == key)).first() is not None


def _require(connection: sa.Connection, table: str, key: str) -> None:
    if not _holds(connection, table, key):
        raise _no_such(table, key)


def _no_such(table: str, key: str) -> NotFound:
    word = _singular(table)
    return NotFound(f"The notebook has no {word} '{key}'.", f"Check the key, or add the {word} first.")


def _singular(table: str) -> str:
    return table.removesuffix("s").replace("_", " ")


def _brew_of(record: Any) -> str:
    from aerobe.records import Brew

    return record.key if isinstance(record, Brew) else str(getattr(record, "brew", ""))
