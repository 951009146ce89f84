"""Opening a store: SQLite file or PostgreSQL server, its safety settings, its migrations."""

from __future__ import annotations

import hashlib
import os
import re
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa

from aerobe.errors import Damaged, NotebookFault, UnusableRecord

DAMAGED = (
    "This file is damaged or is no notebook.",
    "Restore a dated copy: `aerobe notebook restore`; or save what is whole: `aerobe notebook rescue DAMAGED NEW`.",
)
WHOLE_PART_ONLY = (
    "This notebook is damaged: what is whole of it can be read, nothing can be written.",
    "Stop what uses it, then go on with what is whole: `aerobe notebook rescue`; or with a copy: `aerobe notebook restore`.",
)
READ_ONLY = (
    "The notebook can only be read: its file or disk is write-protected.",
    "Make the disk writable, or copy the notebook to another one and open it there.",
)
PLAIN_WORDS = {  # what the store says, and what it means to a person
    "locked": ("Another program is writing to the notebook.", "Wait until it is done and try again."),
    "lock timeout": ("Another program is writing to the notebook.", "Wait until it is done and try again."),
    "full": ("The disk is full.", "Free some space; what was kept before is safe."),
    "disk I/O": ("The disk did not take what was written.", "Free some space and check the disk; what was kept before is safe."),
    "readonly": READ_ONLY,
    "unable to open": ("The notebook cannot be opened.", "Check that its folder is there, may be written to, and has space."),
    "No space left": ("The disk of the server is full.", "Free some space there; what was kept before is safe."),
    "read-only transaction": READ_ONLY,
}
# Migrations keep their state in the whole process: a second one at the same time would use the first one's connection.
_MIGRATING = threading.Lock()
_BY_THEMSELVES = """select case when type = 'table' then 'virtual table' else type end, name from sqlite_master
    where type in ('trigger', 'view') or sql like 'create virtual%'"""
WAIT_S = 30.0  # how long a writer waits for another before it gives up [s]


class Store:
    """A connection pool to one notebook, with the two ways to use it: reading and writing."""

    def __init__(self, where: str) -> None:
        self.path: Path | None = None if is_server(where) else Path(where)
        self.read_only = self.path is not None and _is_protected(self.path)
        self.writes = 0  # by this program
        self.damaged = False  # then what is read is a copy of what is whole, and nothing is written
        self.engine = _server_engine(where) if self.path is None else _file_engine(self.path)

    @property
    def identity(self) -> str:
        """A name for what belongs to this store alone, fit for a folder; tells no password."""
        if self.path is not None:
            return self.path.name
        url = self.engine.url
        place = f"{url.host or ''}:{url.port or ''}/{url.database or ''}"
        plain = re.sub(r"[^A-Za-z0-9_-]", "", url.database or "")[:40] or "database"
        return f"{plain}-{hashlib.sha256(place.encode()).hexdigest()[:8]}"

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """One consistent view; nothing is written."""
        with in_plain_words(), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """One transaction: everything inside is kept, or nothing is."""
        options: dict[str, object] = {"writes": True}
        if self.path is None:
            # A writer first waits for its turn and must then see what the one before it wrote.
            options["isolation_level"] = "READ COMMITTED"
        with in_plain_words(), self.engine.connect().execution_options(**options) as connection, connection.begin():
            yield connection
        self.writes += 1

    def schema(self) -> str | None:
        """The newest migration this store has had, or None for an empty one."""
        with self.reading() as connection:
            if not sa.inspect(connection).has_table("alembic_version"):
                return None
            found = connection.execute(sa.text("select version_num from alembic_version")).scalar()
            return None if found is None else str(found)

    def migrate(self, to: str = "head") -> None:
        """Bring the tables up to date, all or nothing: both stores run the steps inside one transaction."""
        from alembic import command
        from alembic.config import Config
        from alembic.util import CommandError

        config = Config()
        config.set_main_option("script_location", str(Path(__file__).parent / "_migrations"))
        with _MIGRATING, self.writing() as connection:
            config.attributes["connection"] = connection
            try:
                command.upgrade(config, to)
            except CommandError:
                problem = f"The notebook says that its tables are at {str(self.schema())[:20]!r}, which no release wrote."
                raise NotebookFault(problem, "Save its rows into a new notebook: `aerobe notebook rescue THIS NEW`.") from None

    def require_sound(self) -> None:
        """Raise `Damaged` if the file does not hang together. Rows are not read; the time grows with the file."""
        if self.path is None or self.damaged:
            return
        with self.reading() as connection:
            if connection.exec_driver_sql("pragma quick_check(1)").scalar() != "ok":
                raise Damaged(*DAMAGED)

    def require_plain(self) -> None:
        """Raise if a file holds what works by itself: whoever made it could have it throw away what is written later.

        Raises
        ------
        NotebookFault
            If there is a trigger, a view, or a table that is run by a program; none of these is ever made here.
        """
        if self.path is None:
            return
        with self.reading() as connection:
            found = connection.exec_driver_sql(_BY_THEMSELVES).first()
        if found is not None:
            raise NotebookFault(
                f"The notebook {self.path} holds a {found[0]} named {str(found[1])[:60]!r}, which no Aerobe makes: it could "
                "change or throw away what is written.",
                "Save its rows into a new notebook: `aerobe notebook rescue THIS NEW`.",
            )

    def show_instead(self, whole: Path) -> None:
        """From now on what is read comes from this file, and nothing is written."""
        before, self.damaged, self.read_only = self.engine, True, True
        self.engine = _read_only_engine(whole, WHOLE_PART_ONLY)
        before.dispose()

    def open_anew(self) -> None:
        """The file at the store's path was put right."""
        assert self.path is not None
        before, self.damaged, self.read_only = self.engine, False, False
        self.engine = _file_engine(self.path)
        before.dispose()

    def close(self) -> None:
        self.engine.dispose()


def is_server(where: str) -> bool:
    """Whether a notebook's address is a server's and not a file's."""
    return "://" in where


def _is_protected(path: Path) -> bool:
    return path.exists() and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK))


def _file_engine(path: Path) -> sa.Engine:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise NotebookFault(f"The folder of {path} cannot be made: {fault.strerror}.", "Choose another place.") from None
    if path.is_dir():
        raise NotebookFault(f"{path} is a folder.", "Name a file, for example tea.notebook in it.")
    if _is_protected(path):
        return _read_only_engine(path)
    address = sa.URL.create("sqlite", database=str(path))  # a path may hold signs that mean something in an address
    engine = sa.create_engine(address, connect_args={"timeout": WAIT_S, "check_same_thread": False})

    @sa.event.listens_for(engine, "connect")
    def _settle(connection: Any, _record: object) -> None:
        # The driver's own transactions would end before a table is made; ours begin below.
        connection.isolation_level = None
        connection.execute("pragma journal_mode=wal")
        # FULL: what was acknowledged survives a pulled plug, not only a crashed program.
        connection.execute("pragma synchronous=full")
        connection.execute("pragma foreign_keys=on")
        connection.execute("pragma trusted_schema=off")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        # A writer takes its lock at once: two phones then wait for each other instead of failing half way.
        connection.exec_driver_sql("begin immediate" if connection.get_execution_options().get("writes") else "begin")

    return engine


def read_only_connection(path: Path) -> sqlite3.Connection:
    """A way into a file that nobody can change: no lock files are made beside it."""
    address = f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1"
    return sqlite3.connect(address, uri=True, check_same_thread=False)


def _read_only_engine(path: Path, refusal: tuple[str, str] = READ_ONLY) -> sa.Engine:
    """A notebook on a write-protected disk: nobody can change it, so no lock files are needed, nor could they be made."""
    beside = path.with_name(path.name + "-wal")
    if beside.exists() and beside.stat().st_size:
        raise NotebookFault(
            f"{path} was not closed, and on a write-protected disk what was written last cannot be read.",
            f"Copy {path.name} and {beside.name} together to a disk that can be written to, and open it there.",
        )
    engine = sa.create_engine("sqlite://", creator=lambda: read_only_connection(path), poolclass=sa.pool.QueuePool)

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        if connection.get_execution_options().get("writes"):
            raise NotebookFault(*refusal)

    return engine


def _server_engine(where: str) -> sa.Engine:
    if where.startswith(("postgresql://", "postgres://")):
        where = "postgresql+psycopg://" + where.split("://", 1)[1]
    if not where.startswith("postgresql+psycopg://"):
        raise NotebookFault(
            f"'{where.split('://')[0]}' is no kind of notebook.", "Give a file path, or postgresql://user@host/name."
        )
    try:
        import psycopg  # noqa: F401
    except ImportError:
        raise NotebookFault("The PostgreSQL driver is not installed.", "Install it: pip install 'aerobe[postgres]'.") from None
    try:
        engine = sa.create_engine(where, pool_pre_ping=True, isolation_level="REPEATABLE READ")
    except (sa.exc.ArgumentError, ValueError):
        raise NotebookFault(
            "The address of the database cannot be read.", "Write it as postgresql://user@host:5432/name; the port is a number."
        ) from None

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        if connection.get_execution_options().get("writes"):
            # One writer at a time, as with a file: readers are not held up, and two phones never half-collide.
            # Whoever waits as long as with a file is told, also if the other one hangs.
            connection.execute(sa.text(f"set local lock_timeout = '{int(WAIT_S * 1000)}ms'"))
            connection.execute(sa.text("select pg_advisory_xact_lock(4163727562)"))

    return engine


@contextmanager
def in_plain_words() -> Iterator[None]:
    """What the store cannot do, said so that a person can act on it."""
    try:
        yield
    except UnicodeDecodeError as fault:
        raise Damaged(*DAMAGED) from fault
    except UnicodeEncodeError as fault:
        raise UnusableRecord("A text holds half a character.", "Type it again, without signs that show as boxes.") from fault
    except (sa.exc.OperationalError, sqlite3.OperationalError) as fault:
        text = str(getattr(fault, "orig", fault))
        told = next((said for mark, said in PLAIN_WORDS.items() if mark in text), None)
        if told is not None:
            raise NotebookFault(*told) from fault
        raise NotebookFault(f"The notebook cannot be used: {text.strip()}.", "Check that the file or server is there.") from fault
    except sa.exc.DatabaseError as fault:
        if "not a database" in str(fault.orig) or "malformed" in str(fault.orig):
            raise Damaged(*DAMAGED) from fault
        raise


def file_mode_private(path: Path) -> None:
    """A notebook is the person's own: other accounts of the machine need not read it."""
    if os.name == "posix" and path.exists():
        path.chmod(0o600)
