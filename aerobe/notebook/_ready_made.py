"""The tables of an empty notebook, worked out once: beginning a notebook then runs no migration.

Migrations keep their state in the whole process, so that two of them at the same time would collide; and every report and
every check of a package begins a notebook of its own.
"""

from __future__ import annotations

import sqlite3
import tempfile
import threading
from functools import cache
from pathlib import Path

import sqlalchemy as sa

from aerobe.notebook._store import Store

_FIRST = threading.Lock()


def make_tables(connection: sa.Connection) -> None:
    """Write the newest tables into an empty SQLite store, inside the transaction that is open."""
    with _FIRST:  # `cache` alone would let two callers do the work at once
        statements = _statements()
    for statement in statements:
        connection.exec_driver_sql(statement)


@cache
def _statements() -> tuple[str, ...]:
    with tempfile.TemporaryDirectory(prefix="aerobe-tables-") as folder:
        path = Path(folder) / "empty.notebook"
        store = Store(str(path))
        try:
            store.migrate()
        finally:
            store.close()
        made = sqlite3.connect(path)
        try:
            lines = tuple(made.iterdump())
        finally:
            made.close()
    # The dump brings its own transaction; ours is open already.
    return tuple(line for line in lines if line not in ("BEGIN TRANSACTION;", "COMMIT;") and "sqlite_sequence" not in line)
