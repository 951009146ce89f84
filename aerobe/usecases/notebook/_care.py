"""Care of the notebook: is it whole, a copy of it, a copy back in its place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypedDict

from aerobe.errors import NotebookFault
from aerobe.notebook import (
    Notebook,
    Rescued,
    back_up,
    check,
    copies_of,
    fingerprint,
    open_notebook,
    open_whole_part,
    rescue,
    rescue_in_place,
    restore,
    rows_of,
)
from aerobe.usecases.trials._put_back import known_of_trials, note_what_was_set_aside


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


SECOND_FOLDER = "second folder for copies"


def copy_also_to(notebook: Notebook, folder: Path, *, now: datetime) -> Path:
    """From now on the copy of each day goes to this folder as well, best on another disk. Gives its whole path.

    Raises
    ------
    NotebookFault
        If there is no such folder.
    """
    if not folder.is_dir():
        raise NotebookFault(f"There is no folder {folder}.", "Make it, or plug its disk in, and name it again.")
    notebook.set_setting(SECOND_FOLDER, str(folder.resolve()), at=now)
    return folder.resolve()


def second_folder(notebook: Notebook) -> Path | None:
    """The second folder for copies; None where none is set."""
    kept = notebook.setting(SECOND_FOLDER, "")
    return Path(kept) if isinstance(kept, str) and kept else None


def restore_notebook(notebook: Notebook, copy: Path, *, now: datetime) -> Path:
    """Put a copy in the notebook's place. What was there is copied first; the path of that copy comes back.

    What trials had of results and questions that the copy lacks is counted and noted: an older copy is no way to un-see a result.
    """
    known = {} if notebook.damaged else known_of_trials(notebook)
    before = restore(notebook.store, copy, at=now)
    note_what_was_set_aside(notebook, known, now=now)
    return before


def rescue_notebook(damaged: Path, target: Path) -> Rescued:
    """Begin a new notebook with every row of a damaged one that is as it was written; the damaged file is left as it is.

    Raises
    ------
    NotebookFault
        If not one row can be read, or the target is there already.
    """
    return rescue(damaged, target)


def go_on_with_whole_part(damaged: Path, *, now: datetime) -> tuple[Rescued, Path]:
    """What is whole of a damaged notebook takes its place; gives what is lost, and where the damaged file now lies.

    Raises
    ------
    NotebookFault
        If not one row can be read, or the disk does not take it.
    """
    return rescue_in_place(damaged, at=now)


def read_whole_part(where: str | Path) -> Notebook:
    """A damaged notebook, opened to be read as far as it is whole; its `lost` says what is missing. Nothing can be written.

    Raises
    ------
    NotebookFault
        If not one row can be read.
    """
    return open_whole_part(where)


DAILY = "daily"
EVERY = timedelta(hours=24)
KEEP_DAYS, KEEP_WEEKS = 14, 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Cared:
    """What the care of a day did.

    Parameters
    ----------
    copy
        The copy that was made and opened again; None if one was there already or the notebook is damaged.
    faults
        What is wrong with the notebook or the copy; nothing was copied over an older, whole copy then.
    removed
        Older daily copies that were let go.
    """

    copy: Path | None
    faults: tuple[str, ...]
    removed: tuple[Path, ...]


def care_for_the_day(notebook: Notebook, *, now: datetime, second: Path | None = None, look: bool = False) -> Cared:
    """A checked copy once a day, kept for two weeks and then one a week for two months. Copies made by hand are left alone.

    Parameters
    ----------
    notebook
        Checked row by row first: a damaged one is said and not copied.
    now
        The time of the look.
    second
        A second folder, such as one on another disk, that gets the copy as well.
    look
        Check the rows also where today's copy is there already, as at a start.

    Raises
    ------
    NotebookFault
        If a copy cannot be written.
    """
    daily = [item for item in copies_of(notebook.store) if item.stem.endswith(f"-{DAILY}")]
    if daily and now.astimezone(UTC) - _moment(daily[-1], now) < EVERY:
        return Cared(copy=None, faults=tuple(check(notebook)) if look else (), removed=())
    faults = tuple(check(notebook))
    if faults:
        return Cared(copy=None, faults=faults, removed=())
    copy = back_up(notebook.store, at=now, why=DAILY)
    wrong = _faults_of(copy, now)
    if wrong:
        return Cared(copy=None, faults=tuple(f"The copy {copy.name} is not whole: {item}" for item in wrong), removed=())
    if second is not None:
        twin = second / copy.name
        if not twin.exists():
            back_up(notebook.store, at=now, to=twin)
    removed = tuple(_to_let_go([*daily, copy], now))
    for item in removed:
        item.unlink(missing_ok=True)
    return Cared(copy=copy, faults=(), removed=removed)


def _faults_of(copy: Path, now: datetime) -> list[str]:
    with open_notebook(copy, at=now, create=False) as opened:
        return check(opened)


def _to_let_go(daily: list[Path], now: datetime) -> list[Path]:
    kept_weeks: set[tuple[int, int]] = set()
    gone = []
    for item in sorted(daily, reverse=True):
        moment = _moment(item, now)
        age = now.astimezone(UTC) - moment
        if age <= timedelta(days=KEEP_DAYS):
            continue
        week = moment.isocalendar()[:2]
        if age > timedelta(weeks=KEEP_WEEKS) or week in kept_weeks:
            gone.append(item)
        kept_weeks.add(week)
    return gone


def _moment(copy: Path, now: datetime) -> datetime:
    """When a copy was made, as its name says; one with an odd name counts as made now."""
    try:
        return datetime.strptime(copy.name[:18], "%Y-%m-%dT%H%M%SZ").replace(tzinfo=UTC)
    except ValueError:
        return now.astimezone(UTC)
