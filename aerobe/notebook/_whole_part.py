"""A damaged notebook is shown with what is whole of it, from a copy that lives as long as the notebook is open; and put right."""

from __future__ import annotations

import shutil
import tempfile
from datetime import datetime
from pathlib import Path

from aerobe.errors import Damaged
from aerobe.notebook._in_place import TAILS, put_in_place
from aerobe.notebook._rescue import Rescued, rescue
from aerobe.notebook._store import Store


def show_whole_part(store: Store) -> tuple[Rescued, Path] | None:
    """Let a store show what is whole of its damaged file; gives what is lost, and the folder of the copy.

    None if the file is whole: then what was damaged is another one, and the store stays as it is.

    Raises
    ------
    NotebookFault
        If not one row can be read.
    """
    assert store.path is not None
    folder = Path(tempfile.mkdtemp(prefix="aerobe-whole-"))
    try:
        found = rescue(store.path, folder / "whole.notebook")
    except BaseException:
        forget(folder)
        raise
    if not found.lost and _sound(store):
        forget(folder)
        return None
    store.show_instead(folder / "whole.notebook")
    return found, folder


def _sound(store: Store) -> bool:
    try:
        store.require_sound()
    except Damaged:
        return False
    return True


def forget(folder: Path | None) -> None:
    """The copy is needed no more."""
    if folder is not None:
        shutil.rmtree(folder, ignore_errors=True)


def rescue_in_place(path: Path, *, at: datetime) -> tuple[Rescued, Path]:
    """What is whole of a damaged notebook takes its place; the damaged file is kept aside. Gives what is lost, and where it lies.

    Raises
    ------
    NotebookFault
        If not one row can be read, or the disk does not take it.
    """
    whole = path.with_name(path.name + ".whole")
    for tail in TAILS:
        whole.with_name(whole.name + tail).unlink(missing_ok=True)  # left by a try that was cut short
    found = rescue(path, whole)
    for tail in TAILS[1:]:
        whole.with_name(whole.name + tail).unlink(missing_ok=True)
    return found, put_in_place(path, whole, at=at)
