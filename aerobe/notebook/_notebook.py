"""The notebook itself: add and read records. No formula, no rounding; every write is one transaction with its audit line."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TypeVar

import sqlalchemy as sa

from aerobe.errors import NotebookFault
from aerobe.notebook import _logs
from aerobe.notebook._pen import Pen
from aerobe.notebook._reads import Change, Kept, Receipt, all_kept, all_readings, changes, get, load, setting, taken_back
from aerobe.notebook._schema import BY_CLASS, audit, log_chunks
from aerobe.notebook._store import Store
from aerobe.notebook._whole_part import forget, show_whole_part
from aerobe.records import Reading, SensorLog

R = TypeVar("R")
ORIGIN = "origin"  # setting: the random mark of a notebook
_LAST_CHANGE = sa.select(sa.func.coalesce(sa.func.max(audit.c.id), 0))  # asked by every page: made once


class Notebook:
    """One open notebook. Made by `open_notebook`; use it in a `with` block or call `close`.

    Every method that writes takes `at`, the time of the entry, and may take `token`: the same token twice adds nothing
    and gives the first receipt back, so that a phone which sends again after a lost signal does no harm.
    """

    def __init__(self, store: Store, *, migrated_from_copy: Path | None = None) -> None:
        self.store = store
        self.migrated_from_copy = migrated_from_copy
        self.lost: tuple[str, ...] = ()  # of a damaged notebook: what is not shown
        self._whole: Path | None = None
        self._falling = threading.Lock()

    def __enter__(self) -> Notebook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file or server."""
        self.store.close()
        forget(self._whole)

    @property
    def damaged(self) -> bool:
        """Whether only what is whole is shown, and nothing can be written."""
        return self.store.damaged

    @property
    def read_only(self) -> bool:
        """Whether nothing can be written: what is worked out is then shown and not kept."""
        return self.store.read_only

    def require_whole(self) -> None:
        """Raise `NotebookFault` where part is lost: what leaves the house must not rest on a part that is not told."""
        if self.damaged:
            raise NotebookFault(
                "This notebook is damaged: a report, a package or a pool would rest on what is left of it.",
                "Put it right first: `aerobe notebook restore`, or `aerobe notebook rescue` to go on with what is whole.",
            )

    def show_whole_part(self) -> None:
        """From now on only what is whole of the damaged file is shown, and nothing is written; `lost` says what is missing.

        Raises
        ------
        NotebookFault
            If not one row can be read.
        """
        with self._falling:  # several pages may meet the damage at once
            shown = show_whole_part(self.store) if not self.damaged and self.store.path is not None else None
            if shown is not None:
                self.lost, self._whole = shown[0].lost, shown[1]

    # -- records with a key -------------------------------------------------------------------------------------------

    def add(self, record: object, *, at: datetime, who: str = "", token: str = "", why: str = "") -> Receipt:
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

    def change(self, record: object, *, at: datetime, who: str = "", why: str = "") -> Receipt:
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
            return get(connection, cls, key)

    def find(self, cls: type[R], *, of: str | None = None) -> list[R]:
        """All records of this class in the order of their keys; with `of`, those that belong to this key."""
        table = BY_CLASS[cls].table
        wanted = sa.select(table.c.payload).order_by(table.c.key)
        if of is not None:
            wanted = wanted.where(table.c.parent == of)
        with self.store.reading() as connection:
            return [load(cls, text) for text in connection.execute(wanted).scalars()]

    # -- readings -----------------------------------------------------------------------------------------------------

    def add_reading(self, reading: Reading, *, at: datetime, who: str = "", token: str = "", why: str = "") -> Receipt:
        """Keep a reading; one that names another in `replaces` corrects it, and both stay."""
        return self.add(reading, at=at, who=who, token=token, why=why)

    def readings(self, brew: str | None = None, *, assay: str | None = None, with_corrected: bool = False) -> list[Reading]:
        """Readings in order of time, without those that a correction has replaced unless `with_corrected`.

        `brew=""` gives the readings outside any brew; `brew=None` those of all.
        """
        with self.store.reading() as connection:
            return all_readings(connection, brew, assay=assay, with_corrected=with_corrected)

    def take_back_reading(self, key: str, *, at: datetime, who: str = "", why: str = "") -> Receipt:
        """A reading that was entered by mistake counts no longer; it stays in the notebook, and so does who took it back.

        Raises
        ------
        NotFound
            If there is no such reading.
        NotAllowed
            If it belongs to no brew, or a correction stands for it.
        """
        with self.writing() as pen:
            return pen.take_back_reading(key, at=at, who=who, why=why)

    def taken_back(self, brew: str | None = None) -> set[str]:
        """Keys of the readings (of a brew) that were taken back, with those that they had corrected."""
        with self.store.reading() as connection:
            return taken_back(connection, brew)

    def reading(self, key: str) -> Reading:
        """The reading with this key, replaced or not."""
        with self.store.reading() as connection:
            return get(connection, Reading, key)

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
        self,
        brew: str,
        channel: str,
        *,
        buckets: int = 600,
        probe: str | None = None,
        from_h: float = float("-inf"),
        to_h: float = float("inf"),
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

    def keep(self, kind: str, subject: str, payload: object, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """Keep a result: advice, a study, a certificate, a verdict. Earlier ones of the same kind and subject stay."""
        with self.writing() as pen:
            return pen.keep(kind, subject, payload, at=at, who=who, token=token)

    def kept(self, kind: str, subject: str | None = None) -> list[Kept]:
        """Kept results, oldest first."""
        with self.store.reading() as connection:
            return all_kept(connection, kind, subject)

    def latest(self, kind: str, subject: str) -> Kept | None:
        """The newest kept result of this kind about this subject."""
        found = self.kept(kind, subject)
        return found[-1] if found else None

    def add_advice(self, brew: str, advice: object, *, at: datetime, who: str = "", token: str = "") -> Receipt:
        """Keep advice on a brew, with the versions and the seed that made it."""
        return self.keep("advice", brew, advice, at=at, who=who, token=token)

    def setting(self, name: str, default: object = None) -> object:
        """A setting of this notebook."""
        with self.store.reading() as connection:
            return setting(connection, name, default)

    def set_setting(self, name: str, value: object, *, at: datetime, who: str = "") -> None:
        """Change a setting of this notebook; the old one stays in the audit trail."""
        with self.writing() as pen:
            pen.set_setting(name, value, at=at, who=who)

    @property
    def origin(self) -> str:
        """What tells this notebook from any other, in its packages, too; of one begun by an older release, its first line."""
        marked = self.setting(ORIGIN)
        if isinstance(marked, str):
            return marked
        with self.store.reading() as connection:
            first = connection.execute(sa.select(audit.c.at, audit.c.key).order_by(audit.c.id).limit(1)).first()
        return "" if first is None else hashlib.sha256(repr(tuple(first)).encode()).hexdigest()[:16]

    # -- the whole ----------------------------------------------------------------------------------------------------

    def audit(
        self, *, brew: str | None = None, key: str | None = None, noun: str | None = None, newest: int | None = None
    ) -> list[Change]:
        """Who did what and when, oldest first; with `newest`, only so many of the last."""
        with self.store.reading() as connection:
            return changes(connection, brew=brew, key=key, noun=noun, newest=newest)

    def last_change(self, brew: str | None = None) -> int:
        """A number that grows with every write (to this brew): a page that remembers it knows when to look again."""
        wanted = _LAST_CHANGE
        if brew is not None:
            wanted = wanted.where(audit.c.brew == brew)
        with self.store.reading() as connection:
            return int(connection.execute(wanted).scalar_one())

    @contextmanager
    def writing(self) -> Iterator[Pen]:
        """Several writes as one: all are kept, or none."""
        with self.store.writing() as connection:
            yield Pen(connection)
