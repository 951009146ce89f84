"""What is whole in a damaged file, poured into a new notebook; what is not, said and kept beside as it stood."""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import sqlalchemy as sa

from aerobe.errors import NotebookFault
from aerobe.notebook._backup import begin
from aerobe.notebook._logs import chunk_hash
from aerobe.notebook._schema import NOUNS, audit, entries, kept, log_chunks, readings, settings
from aerobe.notebook._store import Store, file_mode_private
from aerobe.records import Reading, content_hash, from_plain

Row = dict[str, object]
MOST_GAPS = 1_000_000  # numbers of rows that are asked for one by one between two whole ends of a table
MOST_BYTES = 50_000_000_000  # a head that says more than this is damaged itself [B]
_TABLES: tuple[sa.Table, ...] = (*(noun.table for noun in NOUNS), readings, log_chunks, kept, entries, audit, settings)
_CLASSES: dict[str, type] = {noun.name: noun.cls for noun in NOUNS} | {readings.name: Reading}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescued:
    """What became of a damaged notebook: whole rows by table, and sentences on what is not among them."""

    saved: dict[str, int]
    lost: tuple[str, ...]
    left_over: Path | None  # rows that do not fit or are not as they were written, as they stood


def rescue(damaged: Path, target: Path) -> Rescued:
    """Read a damaged notebook without touching it, and begin a new one with every row that is as it was written.

    Raises
    ------
    NotebookFault
        If there is no such file, the target is there already, or not one row can be read.
    """
    if not damaged.is_file():
        raise NotebookFault(f"There is no file {damaged}.", "Name the damaged notebook.")
    if target.exists():
        raise NotebookFault(f"There is a file at {target} already.", "Name a new file for what can be saved.")
    lost: list[str] = []
    spoilt: list[Row] = []
    saved: dict[str, int] = {}
    store = Store(str(target))
    try:
        begin(store)
        file_mode_private(target)
        with tempfile.TemporaryDirectory(prefix="aerobe-rescue-") as folder, closing(_opened(damaged, Path(folder))) as source:
            for table in _TABLES:
                saved[table.name] = _pour(source, store, table, lost, spoilt)
        if not any(saved.values()):
            raise NotebookFault(f"Not one row of {damaged} can be read.", "Restore a dated copy: `aerobe notebook restore`.")
    except BaseException:
        store.close()
        for name in (target, *(target.with_name(target.name + tail) for tail in ("-wal", "-shm"))):
            name.unlink(missing_ok=True)
        raise
    store.close()
    return Rescued(
        saved={name: count for name, count in saved.items() if count},
        lost=tuple(lost),
        left_over=_left_over(target, spoilt) if spoilt else None,
    )


def _opened(damaged: Path, folder: Path) -> sqlite3.Connection:
    """A copy, with what was not yet written back: the damaged file itself is left as it is."""
    copy = folder / "damaged"
    for tail in ("", "-wal"):
        if damaged.with_name(damaged.name + tail).exists():
            shutil.copyfile(damaged.with_name(damaged.name + tail), copy.with_name(copy.name + tail))
    _lengthen(copy)
    connection = sqlite3.connect(copy)
    connection.text_factory = bytes  # a flipped bit in a text must not stop the rows behind it
    connection.execute("pragma cell_size_check=on")
    return connection


def _lengthen(copy: Path) -> None:
    """A file that was cut off is not opened at all: empty pages stand for those that are gone, and cost their own rows only."""
    with copy.open("r+b") as stream:
        head = stream.read(32)
        page = int.from_bytes(head[16:18], "big")
        whole = (65536 if page == 1 else page) * int.from_bytes(head[28:32], "big")
        there = stream.seek(0, 2)
        if head.startswith(b"SQLite format 3") and there < whole <= MOST_BYTES:
            stream.truncate(whole)


def _pour(source: sqlite3.Connection, store: Store, table: sa.Table, lost: list[str], spoilt: list[Row]) -> int:
    rows, whole = _rows(source, table)
    if not whole:
        lost.append(f"Part of {table.name} cannot be read; {len(rows)} rows of it can.")
    count = 0
    with store.writing() as connection:
        for row in rows:
            fault = _fault(table.name, row)
            if not fault:
                try:
                    with connection.begin_nested():
                        connection.execute(table.insert().values(**row))
                    count += 1
                    continue
                except sa.exc.IntegrityError:
                    fault = "what it belongs to is lost"
            if table is not audit and table is not entries:
                lost.append(f"{table.name} '{row.get('key') or row.get('id') or row.get('name')}': {fault}.")
            spoilt.append({"table": table.name, "fault": fault} | row)
    return count


def _rows(source: sqlite3.Connection, table: sa.Table) -> tuple[list[Row], bool]:
    """Every row that can be read, in order; and whether all of the table could be."""
    names = [column.name for column in table.columns]
    columns = ", ".join(f'"{name}"' for name in names)
    found: dict[int, Row] = {}

    def take(query: str, *values: int) -> bool:
        try:
            for number, *cells in source.execute(query, values):
                found[number] = dict(zip(names, map(_text, table.columns, cells), strict=True))
        except (sqlite3.DatabaseError, OverflowError):
            return False
        return True

    base = f'select rowid, {columns} from "{table.name}" not indexed'
    whole = take(f"{base} order by rowid")
    if not whole:
        last = max(found, default=0)
        take(f"{base} order by rowid desc")
        first = min((number for number in found if number > last), default=last + 1 + (0 if found else 1000))
        for number in range(last + 1, min(first, last + MOST_GAPS)):
            take(f"{base} where rowid = ?", number)
    return [found[number] for number in sorted(found)], whole


def _text(column: sa.Column[object], cell: object) -> object:
    if isinstance(cell, bytes) and not isinstance(column.type, sa.LargeBinary):
        return cell.decode("utf-8", "replace")
    return cell


def _fault(table: str, row: Row) -> str:
    """What is wrong with a row; empty where it is as it was written."""
    try:
        return _CHECKS[table](row) if table in _CHECKS else ""
    except Exception as fault:  # whatever a spoilt row brings about is a fault of the row
        return f"it is not as it was written ({type(fault).__name__})"


def _record(row: Row, *, table: str) -> str:
    plain = json.loads(str(row["payload"]))
    record: object = from_plain(_CLASSES[table], plain)
    return "" if content_hash(record) == row["hash"] else "it is not as it was written"


def _log(row: Row) -> str:
    times, values = row["times"], row["values"]
    good = isinstance(times, bytes) and isinstance(values, bytes) and chunk_hash(times, values) == row["hash"]
    return "" if good else "it is not as it was written"


def _kept(row: Row) -> str:
    held = content_hash([row["kind"], row["subject"], json.loads(str(row["payload"]))])
    return "" if held == row["hash"] else "it is not as it was written"


def _checks() -> Iterator[tuple[str, Callable[[Row], str]]]:
    for name in _CLASSES:
        yield name, partial(_record, table=name)
    yield log_chunks.name, _log
    yield kept.name, _kept


_CHECKS: dict[str, Callable[[Row], str]] = dict(_checks())


def _left_over(target: Path, spoilt: list[Row]) -> Path:
    path = target.with_name(target.name + ".left-over.jsonl")
    lines = (json.dumps({name: cell.hex() if isinstance(cell, bytes) else cell for name, cell in row.items()}) for row in spoilt)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    path.chmod(0o600)
    return path
