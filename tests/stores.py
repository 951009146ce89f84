"""A real PostgreSQL for the tests: started from Debian's programs in a folder of its own, gone when the tests end."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PLACES = [Path("/usr/lib/postgresql"), Path("/usr/local/pgsql"), Path("/opt/homebrew/opt")]


def server_programs() -> Path | None:
    """The folder with `initdb` and `postgres`, newest first, or None."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    folders = [path for place in PLACES for path in place.glob("*/bin") if (path / "initdb").exists()]
    return max(folders, key=lambda path: path.parent.name, default=None)


@contextmanager
def postgres() -> Iterator[str]:
    """A running server; gives the address of its socket folder."""
    programs = server_programs()
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="aerobe-pg-"))
    as_user: list[str] = []
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        import pwd

        # PostgreSQL refuses to run as root.
        owner = pwd.getpwnam("postgres")
        os.chown(folder, owner.pw_uid, owner.pw_gid)
        as_user = ["runuser", "-u", "postgres", "--"]
    data = folder / "data"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": "/"}
    subprocess.run(
        [*as_user, programs / "initdb", "-D", data, "-U", "postgres", "-A", "trust", "--no-sync", "-E", "UTF8", "--locale=C"],
        check=True,
        **quiet,
    )
    options = f"-k {folder} -c listen_addresses= -c fsync=off -c max_connections=60"
    control = [*as_user, programs / "pg_ctl", "-D", data, "-w"]
    subprocess.run([*control, "-l", folder / "log", "-o", options, "start"], check=True, **quiet)
    try:
        yield str(folder)
    finally:
        subprocess.run([*control, "-m", "immediate", "stop"], check=False, **quiet)
        shutil.rmtree(folder, ignore_errors=True)


def address(folder: str, database: str) -> str:
    """The address of a database on a server reached by its socket folder."""
    return f"postgresql://postgres@/{database}?host={folder}"


@contextmanager
def fresh_database(folder: str, name: str, like: str = "template1") -> Iterator[str]:
    """An empty database, or a copy of another; gives its address and drops it afterwards."""
    import psycopg

    with psycopg.connect(f"host={folder} user=postgres dbname=postgres", autocommit=True) as connection:
        connection.execute(f'create database "{name}" template "{like}"')
        try:
            yield address(folder, name)
        finally:
            connection.execute(f'drop database "{name}" with (force)')
