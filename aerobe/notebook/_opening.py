"""Opening a notebook: a new one is begun, an older one brought up to date, a damaged one shown as far as it is whole."""

from __future__ import annotations

import secrets
from contextlib import suppress
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from aerobe.errors import NotebookFault
from aerobe.notebook._backup import bring_up_to_date
from aerobe.notebook._notebook import ORIGIN, Notebook
from aerobe.notebook._schema import settings
from aerobe.notebook._store import Store, file_mode_private
from aerobe.records import canonical_json


def open_notebook(where: str | Path, *, at: datetime, create: bool = True) -> Notebook:
    """Open a notebook: a file path, or the address of a PostgreSQL database.

    A notebook of an older release is brought up to date after a dated copy of it has been made beside it.

    Raises
    ------
    NotebookFault
        If it cannot be opened, is no notebook, is damaged, or was written by a newer release.
    """
    store = Store(str(where))
    is_new = store.path is not None and not store.path.exists()
    if is_new and not create:
        raise NotebookFault(f"There is no notebook at {where}.", "Check the path, or start one with `aerobe demo`.")
    try:
        if is_new:
            _begin_file(store)
        else:
            store.require_plain()
        copy = bring_up_to_date(store, at=at, create=create)
        if is_new:
            _mark(store)
        if store.path is not None:
            with suppress(OSError):
                file_mode_private(store.path)  # a notebook that an earlier release left open to all
    except BaseException:
        store.close()
        if is_new and store.path is not None:
            _remove(store.path)  # a notebook that could not be begun must not stand there empty
        raise
    return Notebook(store, migrated_from_copy=copy)


def open_whole_part(where: str | Path) -> Notebook:
    """Open a damaged notebook to read what is whole of it. One that is whole is opened as ever.

    Raises
    ------
    NotebookFault
        If there is none, or not one row can be read.
    """
    if not Path(where).is_file():
        raise NotebookFault(f"There is no notebook at {where}.", "Check the path.")
    opened = Notebook(Store(str(where)))
    try:
        opened.show_whole_part()
    except BaseException:
        opened.close()
        raise
    return opened


def _begin_file(store: Store) -> None:
    assert store.path is not None
    try:
        store.path.touch()
        file_mode_private(store.path)
    except OSError as fault:
        problem = f"The notebook {store.path} cannot be begun: {fault.strerror}."
        raise NotebookFault(problem, "Free some space, or choose another place: --notebook PATH.") from None


def _mark(store: Store) -> None:
    """A random mark of the notebook, by which its packages are known as of one place. It tells nobody whose it is."""
    with store.writing() as connection:
        if connection.execute(sa.select(settings.c.value).where(settings.c.name == ORIGIN)).first() is None:  # two may open it
            connection.execute(settings.insert().values(name=ORIGIN, value=canonical_json(secrets.token_hex(8))))


def _remove(path: Path) -> None:
    for name in (path.name, f"{path.name}-wal", f"{path.name}-shm", f"{path.name}-journal"):
        with suppress(OSError):
            path.with_name(name).unlink(missing_ok=True)
