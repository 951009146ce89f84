"""Care of the notebook: is it whole, a copy of it, a copy back in its place."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TypedDict

from aerobe.notebook import Notebook, back_up, check, copies_of, fingerprint, restore, rows_of


class Care(TypedDict):
    """What a check of the notebook found."""

    whole: bool
    faults: list[str]
    rows: dict[str, int]
    fingerprint: str  # of all content; empty where something is wrong


def check_notebook(notebook: Notebook) -> Care:
    """Read every row again: what is wrong (nothing, if all is well), rows a table, and the hash of all content."""
    faults = check(notebook)
    content = "" if faults else fingerprint(notebook)
    return {"whole": not faults, "faults": faults, "rows": rows_of(notebook), "fingerprint": content}


def back_up_notebook(notebook: Notebook, *, now: datetime, to: Path | None = None) -> Path:
    """Write a dated copy of the notebook, also while others write to it. A copy is always a notebook file of its own."""
    return back_up(notebook.store, at=now, to=to)


def copies_of_notebook(notebook: Notebook) -> list[Path]:
    """The dated copies beside the notebook, oldest first."""
    return copies_of(notebook.store)


def restore_notebook(notebook: Notebook, copy: Path, *, now: datetime) -> Path:
    """Put a copy in the notebook's place. What was there is copied first; the path of that copy comes back."""
    return restore(notebook.store, copy, at=now)
