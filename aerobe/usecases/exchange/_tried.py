"""A file from outside is tried in a process of its own first: what would cost too much ends that one, and never the server."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from aerobe.errors import AerobeError, ImportFault
from aerobe.isolation import READING, WorkLimits, run_apart
from aerobe.notebook import Notebook, open_notebook, read_package
from aerobe.records import Brew, Trial
from aerobe.tables import read_table

SMALL = 100_000  # a text this short is read in a moment: names and cells are looked at no further than anybody writes [B]
_LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)


def require_harmless(content: bytes, name: str, *, package: bool, limits: WorkLimits = READING) -> None:
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
    """Take a package into an empty notebook, and look at all of it as pages do; to be run apart."""
    with (
        tempfile.TemporaryDirectory(prefix="aerobe-try-") as folder,
        open_notebook(Path(folder) / "tried.notebook", at=_LONG_AGO) as empty,
    ):
        taken = sum(read_package(empty, content, at=_LONG_AGO, who="").new.values())
        for what, look in _looks(empty):
            try:
                look()
            except AerobeError:
                continue  # said on the page that shows it
            except Exception as fault:
                # A result can be well written and yet not be what its kind is: pages would fail on it for good.
                problem = f"The package holds a result about {what} that cannot be read ({type(fault).__name__})."
                raise ImportFault(problem, "Nothing was taken in. Ask who made it to export it again.") from None
        return taken


def _looks(book: Notebook) -> Iterator[tuple[str, Callable[[], object]]]:
    """What pages and calls read of a notebook, with the name of what it is about."""
    from aerobe.usecases import brews, evidence, notebook, safety, trials

    every = book.find(Brew)
    last = max((brew.started_at for brew in every), default=_LONG_AGO) + timedelta(hours=24)
    yield "all brews", partial(brews.brews_overview, book, now=last)
    yield "what was put away", partial(brews.things_put_away, book)
    yield "evidence", partial(evidence.all_evidence, book)
    for brew in every:
        now = brew.started_at + timedelta(hours=24)
        yield brew.key, partial(brews.brew_view, book, brew.key, now=now)
        yield brew.key, partial(brews.standing_events_of, book, brew.key)
        yield brew.key, partial(safety.gates_of_brew, book, brew.key, now=now)
        yield brew.key, partial(safety.safety_section, book, brew.key)
    for trial in book.find(Trial):
        yield trial.key, partial(trials.trial_view, book, trial.key)
    for photo in book.kept("photo"):
        yield photo.subject, partial(notebook.photos_of, book, Path(), photo.subject)
