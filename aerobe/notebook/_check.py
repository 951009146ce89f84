"""Is the notebook whole? Every row is read, hashed and built into its record again."""

from __future__ import annotations

import json
from collections.abc import Iterator

import numpy as np
import sqlalchemy as sa

from aerobe.errors import AerobeError
from aerobe.notebook._logs import chunk_hash
from aerobe.notebook._notebook import Notebook
from aerobe.notebook._reads import ORDER_OF_WRITING
from aerobe.notebook._schema import NOUNS, kept, log_chunks, metadata, readings
from aerobe.records import Reading, content_hash, from_plain


def check(notebook: Notebook) -> list[str]:
    """What is wrong with a notebook, in plain sentences; an empty list if nothing is."""
    if notebook.damaged:
        return [*notebook.lost] or ["The file is damaged; every row of it could still be read."]
    with notebook.store.reading() as connection:
        found = list(_file(connection)) if notebook.store.path is not None else []
        if not found:
            found += _records(connection)
            found += _readings(connection)
            found += _logs(connection)
            found += _kept(connection)
    return found


def fingerprint(notebook: Notebook) -> str:
    """One hash of all content: equal for two notebooks that hold the same records, readings, logs and results.

    When and by whom a row was written down is not content; neither is how a log is packed.
    """
    parts: list[object] = []
    with notebook.store.reading() as connection:
        for table in [*(noun.table for noun in NOUNS), readings]:
            hashes = connection.execute(sa.select(table.c.hash)).scalars()
            parts.append([table.name, sorted(hashes)])
        results = sa.select(kept.c.at, kept.c.hash).where(kept.c.kind != ORDER_OF_WRITING)
        parts.append(["kept", sorted(f"{at} {digest}" for at, digest in connection.execute(results))])
    for brew, channel, probe, _ in notebook.logged():
        times, values = notebook.log(brew, channel, probe=probe)
        order = np.lexsort((values, times))  # two points of one moment have no order of their own
        parts.append([brew, channel, probe, chunk_hash(times[order].tobytes(), values[order].tobytes())])
    return content_hash(parts)


def _file(connection: sa.Connection) -> Iterator[str]:
    for (line,) in connection.exec_driver_sql("pragma integrity_check"):
        if line != "ok":
            yield f"The file is damaged: {line}."
    for table, row, owner, _ in connection.exec_driver_sql("pragma foreign_key_check"):
        yield f"Row {row} of {table} belongs to a row of {owner} that is not there."


def _records(connection: sa.Connection) -> Iterator[str]:
    for noun in NOUNS:
        for row in connection.execute(sa.select(noun.table)).mappings():
            yield from _payload(noun.name, row["key"], row["payload"], row["hash"], noun.cls)


def _readings(connection: sa.Connection) -> Iterator[str]:
    for row in connection.execute(sa.select(readings)).mappings():
        said = list(_payload("readings", row["key"], row["payload"], row["hash"], Reading))
        yield from said
        plain = {} if said else json.loads(row["payload"])
        for column in ("key", "brew", "assay", "role", "elapsed_h", "replaces"):
            if plain and (row[column] or "") != (plain[column] or "") and row[column] != plain[column]:
                yield f"Reading '{row['key']}': its column {column} says {row[column]!r}, its content {plain[column]!r}."


def _logs(connection: sa.Connection) -> Iterator[str]:
    for row in connection.execute(sa.select(log_chunks)).mappings():
        if chunk_hash(row["times"], row["values"]) != row["hash"] or len(row["times"]) != 8 * row["points"]:
            yield f"The {row['channel']} log of '{row['brew']}' is damaged from {row['from_h']:g} to {row['to_h']:g} h."


def _kept(connection: sa.Connection) -> Iterator[str]:
    for row in connection.execute(sa.select(kept)).mappings():
        try:
            same = content_hash([row["kind"], row["subject"], json.loads(row["payload"])]) == row["hash"]
        except ValueError:
            same = False
        if not same:
            yield f"The kept {row['kind']} number {row['id']} about '{row['subject']}' is not what was kept."


def _payload(table: str, key: str, payload: str, digest: str, cls: type) -> Iterator[str]:
    try:
        record: object = from_plain(cls, json.loads(payload))
    except (AerobeError, ValueError, TypeError, KeyError) as fault:
        yield f"'{key}' of {table} cannot be read: {fault}"
        return
    if content_hash(record) != digest:
        yield f"'{key}' of {table} is not what was written."


def rows_of(notebook: Notebook) -> dict[str, int]:
    """How many rows each table holds."""
    with notebook.store.reading() as connection:
        return {
            name: int(connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one())
            for name, table in metadata.tables.items()
        }
