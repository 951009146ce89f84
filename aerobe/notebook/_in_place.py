"""A whole file takes the place of a damaged one."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from aerobe.errors import NotebookFault
from aerobe.notebook._store import file_mode_private

TAILS = ("", "-wal", "-shm", "-journal")  # a notebook's file and what its store lays beside it


def put_in_place(path: Path, whole: Path, *, at: datetime) -> Path:
    """A whole file takes the place of a damaged one, which is kept aside; gives its new path.

    Raises
    ------
    NotebookFault
        If the disk does not take it; the damaged file then stands where it stood.
    """
    aside = _free(path.with_name(f"{path.name}.damaged-{at.astimezone(UTC):%Y-%m-%dT%H%M%SZ}"))
    moved: list[str] = []
    try:
        for tail in TAILS:
            if path.with_name(path.name + tail).exists():
                path.with_name(path.name + tail).rename(aside.with_name(aside.name + tail))
                moved.append(tail)
        whole.replace(path)
        file_mode_private(path)
    except OSError as fault:
        for tail in moved:
            with suppress(OSError):
                aside.with_name(aside.name + tail).rename(path.with_name(path.name + tail))
        problem = f"The whole part cannot take the place of {path}: {fault.strerror}."
        raise NotebookFault(problem, "Free some space and close what uses the notebook, then try again.") from None
    return aside


def _free(path: Path) -> Path:
    number, found = 2, path
    while found.exists():
        found, number = path.with_name(f"{path.name}-{number}"), number + 1
    return found
