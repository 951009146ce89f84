"""The notebook, or one trial of it, out of the house and in again."""

from __future__ import annotations

from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version

from aerobe import __version__
from aerobe.errors import NotFound
from aerobe.notebook import Kept, Notebook, Unpacked, read_package, write_package
from aerobe.records import Brew, RunSheet, Trial
from aerobe.usecases.trials._blinding import note_key_shown, opened, refuse_hidden_sheets, refuse_while_hidden
from aerobe.usecases.trials._history import HISTORY, STANDS_FOR_ANOTHER, carry_history

_UNKNOWN = datetime(2000, 1, 1, tzinfo=UTC)  # the same content gives the same bytes on any day
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
    return write_package(notebook, at=now, trial=trial, versions=versions(), also=_histories(notebook, trial))


def _histories(notebook: Notebook, trial: str) -> list[Kept]:
    """What the order of writing shows of each trial; a package has none of its own, so that changes would be lost on the way."""
    if notebook.setting(STANDS_FOR_ANOTHER):
        return []  # it holds those of the notebook that it stands for
    found = []
    for one in notebook.find(Trial):
        if trial in ("", one.key):
            payload = carry_history(notebook, one.key)
            at = datetime.fromisoformat(payload["written_at"]) if payload["written_at"] else _UNKNOWN
            found.append(Kept(id=0, kind=HISTORY, subject=one.key, at=at, payload=payload))
    return found


def import_package(notebook: Notebook, content: bytes, *, now: datetime, who: str = "") -> Unpacked:
    """Take in a data package that `export_package` wrote, all or nothing; what is there already is not doubled."""

    def knows(kind: str, subject: str, payload: object) -> bool:
        if kind != HISTORY:
            return False
        try:
            return carry_history(notebook, subject) == payload
        except NotFound:
            return False

    return read_package(notebook, content, at=now, who=who, knows=knows)
