"""Dated copies, always SQLite notebooks that any Aerobe can open as they are; and bringing a notebook up to date after one."""

from __future__ import annotations

import contextlib
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

from aerobe.errors import NotebookFault
from aerobe.notebook._in_place import put_in_place
from aerobe.notebook._pen import Pen
from aerobe.notebook._ready_made import make_tables
from aerobe.notebook._schema import SCHEMA
from aerobe.notebook._store import WAIT_S, WHOLE_PART_ONLY, Store, file_mode_private, in_plain_words, read_only_connection


def back_up(store: Store, *, at: datetime, to: Path | None = None, why: str = "") -> Path:
    """Write a dated copy of the whole store, complete and consistent even while others write. Gives its path.

    Raises
    ------
    NotebookFault
        If there is a file already, or the copy cannot be written whole.
    """
    if store.damaged:
        raise NotebookFault(*WHOLE_PART_ONLY)  # a copy of it must not look like a whole one
    target = to if to is not None else _dated(store, at, why)
    if target.exists():
        raise NotebookFault(f"There is a file at {target} already.", "Name another file; a copy is never overwritten.")
    half = target.with_name(target.name + ".half")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        half.unlink(missing_ok=True)
        if store.path is not None:
            _copy_file(store.path, half, protected=store.read_only)
        else:
            _copy_tables(store, half)
        file_mode_private(half)
        half.replace(target)  # the name appears only when the copy is whole
    except BaseException as fault:
        for left in (half, half.with_name(half.name + "-journal")):
            with contextlib.suppress(OSError):
                left.unlink(missing_ok=True)
        if isinstance(fault, OSError):
            problem = f"The copy {target} cannot be written: {fault.strerror}."
            raise NotebookFault(problem, "Free some space, or name another place for it.") from None
        raise
    return target


def copies_of(store: Store) -> list[Path]:
    """The dated copies that lie beside a notebook, oldest first."""
    return sorted(_folder(store).glob("*.notebook"))


def restore(store: Store, copy: Path, *, at: datetime) -> Path:
    """Put a copy in the place of what the store holds, all or nothing; what was there is copied first. Gives that copy's path.

    Raises
    ------
    NotebookFault
        If there is no copy, or it is no notebook.
    """
    if not copy.is_file():
        raise NotebookFault(f"There is no copy at {copy}.", "List the copies: `aerobe notebook copies`.")
    source = Store(str(copy))
    try:
        _require_whole(copy)
        have = source.schema()
        if have is None:
            raise NotebookFault(f"{copy} is no notebook.", "Name a copy that Aerobe made.")
        source.require_plain()
        # Safety copy and replacement under one write lock: what another writer was told is kept must be in one of the two.
        if store.damaged:
            before = _replace_damaged(store, copy, at)
        else:
            before = _replace_file(store, copy, at) if store.path is not None else _replace_server(source, store, have, at)
    finally:
        source.close()
    bring_up_to_date(store, at=at, create=False)
    with store.writing() as connection:
        why = f"what was there: {before.name}"
        Pen(connection).note(at=at, who="", did="restore", noun="notebook", key=copy.name[:80], why=why)
    return before


def bring_up_to_date(store: Store, *, at: datetime, create: bool) -> Path | None:
    """Migrate a store that needs it, after a dated copy. Gives the copy's path, if one was made."""
    have = store.schema()
    if have == SCHEMA:
        return None
    if have is None:
        if not create:
            raise NotebookFault("This notebook is empty or no notebook.", "Check the path, or start one with `aerobe brew new`.")
        begin(store)
        if store.schema() is None:
            raise NotebookFault(
                "This file says nothing of the release that wrote it.",
                "If it is a notebook, save its rows into a new one: `aerobe notebook rescue THIS NEW`.",
            )
        return None
    if have > SCHEMA:
        raise NotebookFault(
            f"This notebook was written by a newer Aerobe (its tables are at {have}, this program knows {SCHEMA}).",
            "Update Aerobe; the notebook has not been touched.",
        )
    copy = back_up(store, at=at, why=f"before-{SCHEMA}")
    store.migrate()
    return copy


def begin(store: Store) -> None:
    """The newest tables in an empty store; refused where it holds other data."""
    with store.writing() as connection:
        # Another program may have begun the same store while this one waited for its turn.
        found = sa.inspect(connection).get_table_names()
        if "alembic_version" in found:
            return
        if found:
            raise NotebookFault("This file or database holds other data.", "Give the notebook a file or a database of its own.")
        if store.path is not None:
            make_tables(connection)
    if store.path is None:
        store.migrate()


def _dated(store: Store, at: datetime, why: str) -> Path:
    stamp = at.astimezone(UTC).strftime("%Y-%m-%dT%H%M%SZ")
    tail = f"-{why}" if why else ""
    name = _folder(store) / f"{stamp}{tail}.notebook"
    number = 2
    while name.exists():
        name = name.with_name(f"{stamp}{tail}-{number}.notebook")
        number += 1
    return name


def _folder(store: Store) -> Path:
    if store.path is not None:
        return store.path.with_name(f"{store.path.name}-copies")
    return Path.home() / ".aerobe" / f"{store.engine.url.database}-copies"


def _copy_file(source: Path, target: Path, *, protected: bool = False) -> None:
    read, write = read_only_connection(source) if protected else sqlite3.connect(source), sqlite3.connect(target)
    try:
        with in_plain_words():
            read.backup(write)
            write.execute("pragma synchronous=full")
    finally:
        read.close()
        write.close()


def _require_whole(copy: Path) -> None:
    connection = sqlite3.connect(copy)
    try:
        found = connection.execute("pragma integrity_check").fetchone()[0]
    except sqlite3.DatabaseError as fault:
        found = str(fault)
    finally:
        connection.close()
    if found != "ok":
        raise NotebookFault(f"The copy {copy} is damaged: {found}.", "Choose another copy: `aerobe notebook copies`.")


def _copy_tables(store: Store, target: Path) -> None:
    """All rows of a server into a new file with the same schema."""
    file = Store(str(target))
    try:
        file.migrate(store.schema() or "head")
        with store.reading() as source, file.writing() as copy:
            _pour(source, copy, _tables_in(source))
    finally:
        file.close()


def _replace_file(store: Store, copy: Path, at: datetime) -> Path:
    """Everything in the store's file becomes what the copy holds, in one transaction; gives the safety copy."""
    assert store.path is not None
    connection = sqlite3.connect(store.path, timeout=WAIT_S, isolation_level=None)
    try:
        with in_plain_words():
            connection.execute("pragma foreign_keys=off")
            connection.execute("attach database ? as copied", (str(copy),))
            connection.execute("begin immediate")
            before = back_up(store, at=at, why="before-restore")
            _pour_schema(connection)
            connection.execute("commit")
    finally:
        connection.close()  # without the commit this undoes everything
    store.engine.dispose()
    return before


def _replace_damaged(store: Store, copy: Path, at: datetime) -> Path:
    """A damaged file cannot be written to: it is kept aside, and the copy stands in its place. Gives where it lies."""
    assert store.path is not None
    half = store.path.with_name(store.path.name + ".half")
    try:
        half.unlink(missing_ok=True)
        _copy_file(copy, half)
        before = put_in_place(store.path, half, at=at)
    finally:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
    store.open_anew()
    return before


def _pour_schema(connection: sqlite3.Connection) -> None:
    ours = "name not like 'sqlite_%'"
    for kind, name in connection.execute(
        f"select type, name from main.sqlite_master where {ours} and type != 'index'"
    ).fetchall():
        connection.execute(f'drop {kind} main."{name}"')
    wanted = f"select type, name, sql from copied.sqlite_master where {ours} and sql is not null"
    order = {"table": 0, "index": 2, "view": 3, "trigger": 4}
    for kind, name, sql in sorted(connection.execute(wanted).fetchall(), key=lambda row: order[row[0]]):
        connection.execute(sql)  # a statement without a schema's name makes its object in `main`
        if kind == "table":
            connection.execute(f'insert into main."{name}" select * from copied."{name}"')


def _replace_server(source: Store, store: Store, have: str, at: datetime) -> Path:
    """Everything on the server becomes what the copy holds; gives the safety copy."""
    if have != SCHEMA:
        raise NotebookFault(
            f"The copy is of schema {have}, this server of {SCHEMA}.", "Open the copy as a file once: that brings it up to date."
        )
    with source.reading() as copy, store.writing() as target:
        before = back_up(store, at=at, why="before-restore")
        tables = _tables_in(target)
        for table in reversed(tables.sorted_tables):
            target.execute(table.delete())
        _pour(copy, target, tables)
        for table in tables.sorted_tables:
            if "id" in table.c:
                highest = f"coalesce((select max(id) from {table.name}), 1)"
                target.execute(sa.text(f"select setval(pg_get_serial_sequence('{table.name}', 'id'), {highest})"))
    return before


def _tables_in(connection: sa.Connection) -> sa.MetaData:
    """The notebook's tables as this store has them, whatever its schema."""
    tables = sa.MetaData()
    tables.reflect(bind=connection, only=lambda name, _: name != "alembic_version")
    return tables


def _pour(source: sa.Connection, target: sa.Connection, tables: sa.MetaData) -> None:
    for table in tables.sorted_tables:
        order = [table.c.id] if "id" in table.c else []
        rows: list[dict[str, object]] = [dict(row) for row in source.execute(sa.select(table).order_by(*order)).mappings()]
        for start in range(0, len(rows), 500):
            target.execute(table.insert(), rows[start : start + 500])
