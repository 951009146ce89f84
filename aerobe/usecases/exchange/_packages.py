"""The notebook, or one trial of it, out of the house and in again."""

from __future__ import annotations

from datetime import datetime
from importlib.metadata import PackageNotFoundError, version

from aerobe import __version__
from aerobe.notebook import Notebook, Unpacked, read_package, write_package
from aerobe.records import Brew
from aerobe.usecases.trials._blinding import refuse_while_hidden

_MAKERS = ("numpy", "scipy", "numba")


def versions() -> dict[str, str]:
    """The programs that results of this installation come from, by name."""
    found = {"aerobe": __version__}
    for name in _MAKERS:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


def export_package(notebook: Notebook, *, now: datetime, trial: str = "") -> bytes:
    """An open data package (zip) with everything: data, recipes, protocol, kept results with their versions and seeds.

    Parameters
    ----------
    now
        When it is written.
    trial
        Key of the one trial to write; empty for the whole notebook.
    """
    if trial:
        refuse_while_hidden(notebook, notebook.find(Brew, of=trial))
    return write_package(notebook, at=now, trial=trial, versions=versions())


def import_package(notebook: Notebook, content: bytes, *, now: datetime, who: str = "") -> Unpacked:
    """Take in a data package that `export_package` wrote, all or nothing; what is there already is not doubled."""
    return read_package(notebook, content, at=now, who=who)
