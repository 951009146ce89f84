"""A file from outside is tried in a process of its own first: what would cost too much ends that one, and never the server."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime
from pathlib import Path

from aerobe.isolation import READING, Limits, run_apart
from aerobe.notebook import open_notebook, read_package
from aerobe.tables import read_table

SMALL = 100_000  # a text this short is read in a moment: names and cells are looked at no further than anybody writes [B]
_LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)


def require_harmless(content: bytes, name: str, *, package: bool, limits: Limits = READING) -> None:
    """Refuse a file that cannot be read within limits of memory and time. A small text goes without.

    Parameters
    ----------
    content, name
        The file's bytes and its name.
    package
        Whether it is a data package; it is tried in an empty notebook.
    limits
        What reading it may cost.

    Raises
    ------
    ImportFault
        If it costs more, or ends the process that tries it.
    """
    if package:
        run_apart(f"{__name__}:try_package", content, what=name, limits=limits)
    elif len(content) > SMALL:
        run_apart(f"{__name__}:try_table", content, what=name, arguments={"name": name}, limits=limits)


def try_table(content: bytes, *, name: str) -> int:
    """Read a table; to be run apart."""
    rows = read_table(content, name).rows
    return len(rows.results) if rows else 0


def try_package(content: bytes) -> int:
    """Take a package into an empty notebook; to be run apart."""
    with (
        tempfile.TemporaryDirectory(prefix="aerobe-try-") as folder,
        open_notebook(Path(folder) / "tried.notebook", at=_LONG_AGO) as empty,
    ):
        return sum(read_package(empty, content, at=_LONG_AGO, who="").new.values())
