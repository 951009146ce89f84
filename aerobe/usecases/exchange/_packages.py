"""The notebook, or one trial of it, out of the house and in again."""

from __future__ import annotations

from datetime import datetime
from importlib.metadata import PackageNotFoundError, version

from aerobe import __version__
from aerobe.notebook import Notebook, Unpacked, read_package, write_package
from aerobe.records import Brew, RunSheet
from aerobe.usecases.trials._blinding import note_key_shown, opened, refuse_hidden_sheets, refuse_while_hidden

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


def export_package(notebook: Notebook, *, now: datetime, trial: str = "", with_codes: bool = False, who: str = "") -> bytes:
    """An open data package (zip) with everything: data, recipes, protocol, kept results with their versions and seeds.

    Parameters
    ----------
    now
        When it is written.
    trial
        Key of the one trial to write; empty for the whole notebook.
    with_codes
        Write it while codes are closed, too: the package shows which code is which recipe, so this is noted as a look at the key.
    who
        Exports it; noted where codes go along.

    Raises
    ------
    NotAllowed
        If a code is still closed and is not to go along.
    """
    if not with_codes:
        refuse_while_hidden(notebook, notebook.find(Brew, of=trial) if trial else notebook.find(Brew))
        refuse_hidden_sheets(notebook, [sheet for sheet in notebook.find(RunSheet) if trial in ("", sheet.trial)])
    for sheet in notebook.find(RunSheet) if with_codes else ():
        if trial in ("", sheet.trial) and not opened(notebook, sheet.trial):
            note_key_shown(notebook, sheet.trial, now=now, who=who)
    return write_package(notebook, at=now, trial=trial, versions=versions())


def import_package(notebook: Notebook, content: bytes, *, now: datetime, who: str = "") -> Unpacked:
    """Take in a data package that `export_package` wrote, all or nothing; what is there already is not doubled."""
    return read_package(notebook, content, at=now, who=who)
