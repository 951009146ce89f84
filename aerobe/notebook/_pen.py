"""The writes of one transaction, each with its line in the audit trail."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TypeVar

import sqlalchemy as sa

from aerobe.errors import NotAllowed, UnusableRecord
from aerobe.notebook import _logs
from aerobe.notebook._reads import TAKEN_BACK, Receipt, get, no_such, singular, taken_back
from aerobe.notebook._schema import BY_CLASS, Noun, entries, kept, metadata, readings, settings
from aerobe.notebook._schema import audit as audit_table
from aerobe.records import Brew, Reading, Recipe, SensorLog, as_plain, canonical_json, content_hash, from_plain

R = TypeVar("R")


class Pen:
    """The writes of one transaction; `Notebook.writing` hands it out."""

    def __init__(self, connection: sa.Connection) -> None:
        self.connection = connection

    def add(self, record: object, *, at: datetime, who: str = "", token: str = "", why: str = "") -> Receipt:
        """As `Notebook.add`."""
        record = _settled(record)
        noun = "readings" if isinstance(record, Reading) else BY_CLASS[type(record)].name
        return self._once(
            token,
            at,
            noun,
            lambda: self._add_reading(record, at, who, why) if isinstance(record, Reading) else self._add(record, at, who, why),
        )

    def change(self, record: object, *, at: datetime, who: str = "", why: str = "") -> Receipt:
        """As `Notebook.change`."""
        if isinstance(record, Reading):
            raise NotAllowed("A reading is never changed.", "Add a correction: a new reading that `replaces` the old one.")
        record = _settled(record)
        noun = BY_CLASS[type(record)]
        key = getattr(record, noun.key)
        before = self.connection.execute(sa.select(noun.table.c.payload).where(noun.table.c.key == key)).scalar()
        if before is None:
            raise no_such(noun.name, key)
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

    def keep(self, kind: str, subject: str, payload: object, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """As `Notebook.keep`."""

        def act() -> Receipt:
            text = canonical_json(payload)
            made = self.connection.execute(
                kept.insert().values(
                    kind=kind,
                    subject=subject,
                    at=at.isoformat(),
                    payload=text,
                    hash=content_hash([kind, subject, as_plain(payload)]),
                )
            )
            number = str(made.inserted_primary_key[0]) if made.inserted_primary_key else ""
            brew = subject if self._holds("brews", subject) else ""
            self.note(at=at, who=who, did="add", noun=kind, key=subject, brew=brew)
            return Receipt(noun=kind, key=number, was_new=True)

        return self._once(token, at, kind, act)

    def set_setting(self, name: str, value: object, *, at: datetime, who: str = "") -> None:
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
        self.connection.execute(
            audit_table.insert().values(
                at=at.isoformat(), who=who, did=did, noun=noun, key=key, brew=brew, before=before, why=why
            )
        )

    def _once(self, token: str, at: datetime, noun: str, act: Callable[[], Receipt]) -> Receipt:
        if not token:
            return act()
        earlier = self.connection.execute(sa.select(entries).where(entries.c.token == token)).mappings().first()
        if earlier is not None:
            if earlier["noun"] != noun:  # no entry sent again: what it says would be lost without a word
                raise UnusableRecord(
                    "This form was taken already, with an entry of another kind.", "Open the form anew and enter it again."
                )
            return Receipt(noun=earlier["noun"], key=earlier["key"], was_new=False)
        receipt = act()
        self.connection.execute(entries.insert().values(token=token, noun=noun, key=receipt.key, at=at.isoformat()))
        return receipt

    def _row(self, noun: Noun, record: object, at: datetime) -> dict[str, str | None]:
        for column, table in ((noun.parent, noun.owner), *noun.needs):
            if column and getattr(record, column):
                _require(self.connection, table, getattr(record, column))
        text = canonical_json(record)
        parent = getattr(record, noun.parent) if noun.parent else ""
        return {
            "key": getattr(record, noun.key),
            "parent": parent or None,
            "payload": text,
            "hash": content_hash(record),
            "changed_at": at.isoformat(),
        }

    def _add(self, record: object, at: datetime, who: str, why: str) -> Receipt:
        noun = BY_CLASS[type(record)]
        row, key = self._row(noun, record, at), str(getattr(record, noun.key))
        there = self.connection.execute(sa.select(noun.table.c.hash).where(noun.table.c.key == key)).scalar()
        if there == row["hash"]:
            return Receipt(noun=noun.name, key=key, was_new=False)
        if there is not None:
            raise UnusableRecord(
                f"The notebook already has another {singular(noun.name)} with the key '{key}'.",
                "Choose another key, or change the one that is there.",
            )
        self.connection.execute(noun.table.insert().values(**row))
        self.note(at=at, who=who, did="add", noun=noun.name, key=key, brew=_brew_of(record), why=why)
        return Receipt(noun=noun.name, key=key, was_new=True)

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
        self.connection.execute(
            readings.insert().values(
                key=reading.key,
                brew=reading.brew or None,
                assay=reading.assay,
                role=reading.role,
                elapsed_h=reading.elapsed_h,
                replaces=reading.replaces or None,
                payload=canonical_json(reading),
                hash=digest,
                added_at=at.isoformat(),
            )
        )
        did = "correct" if reading.replaces else "add"
        self.note(at=at, who=who or reading.operator, did=did, noun="readings", key=reading.key, brew=reading.brew, why=why)
        return Receipt(noun="readings", key=reading.key, was_new=True)

    def take_back_reading(self, key: str, *, at: datetime, who: str = "", why: str = "") -> Receipt:
        """As `Notebook.take_back_reading`."""
        reading = get(self.connection, Reading, key)
        if not reading.brew:
            raise NotAllowed("A reading of no brew is part of a study.", "Correct it instead, or leave it out of the study.")
        newer = self.connection.execute(sa.select(readings.c.key).where(readings.c.replaces == key)).scalar()
        if newer is not None:
            raise NotAllowed(f"The reading '{key}' has been corrected by '{newer}'.", f"Take back '{newer}' instead.")
        if key in taken_back(self.connection, reading.brew):
            return Receipt(noun="readings", key=key, was_new=False)
        return self.keep(TAKEN_BACK, reading.brew, {"reading": key, "why": why}, at=at, who=who)

    def _may_correct(self, key: str) -> None:
        if not self._holds("readings", key):
            raise no_such("readings", key)
        newer = self.connection.execute(sa.select(readings.c.key).where(readings.c.replaces == key)).scalar()
        if newer is not None:
            raise NotAllowed(f"The reading '{key}' has been corrected already, by '{newer}'.", f"Correct '{newer}' instead.")

    def _holds(self, table: str, key: str) -> bool:
        return _holds(self.connection, table, key)


def _settled(record: R) -> R:
    """The record as it will be read back: a 10 given where 10.0 is meant must not hash differently tomorrow."""
    if isinstance(record, Recipe) and not record.compost:
        # Older notebooks may hold such a recipe, so the record itself allows it.
        raise UnusableRecord(
            "The recipe names no compost.", "Give the key of its compost; write the compost in first if it is new."
        )
    return from_plain(type(record), as_plain(record))


def _holds(connection: sa.Connection, table: str, key: str) -> bool:
    column = metadata.tables[table].c.key
    return connection.execute(sa.select(column).where(column == key)).first() is not None


def _require(connection: sa.Connection, table: str, key: str) -> None:
    if not _holds(connection, table, key):
        raise no_such(table, key)


def _brew_of(record: object) -> str:
    return record.key if isinstance(record, Brew) else str(getattr(record, "brew", ""))
