"""Which brews still keep their recipe behind a code, and when codes or key were seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from aerobe.errors import NotAllowed
from aerobe.notebook import Notebook
from aerobe.records import Brew, RunSheet, Trial
from aerobe.usecases.brews._held import cached, held_by

HIDDEN = "hidden"  # stands where a recipe or an arm would; a valid key, so that records hold it
OPENED, KEY_SHOWN = "codes opened", "key shown"
# A verdict shows the arms, so whoever has seen one is no longer blind.
OPENING = (OPENED, "verdict")


def opened(notebook: Notebook, trial: str) -> bool:
    """Whether the codes of a trial have been opened."""
    version = held_by(notebook).version_of(*OPENING)
    return cached(notebook, ("opened", trial), version, lambda: any(notebook.kept(kind, trial) for kind in OPENING))


def is_hidden(notebook: Notebook, brew: Brew) -> bool:
    """Whether a brew's recipe is to stay behind its code."""
    return bool(brew.blind_code and brew.trial) and not opened(notebook, brew.trial)


def shown(notebook: Notebook, record: Any) -> Any:
    """A record as it may be shown: brews and run sheets whose codes are closed without recipes and arms."""
    if isinstance(record, Brew) and is_hidden(notebook, record):
        return replace(record, recipe=HIDDEN, arm=HIDDEN)
    return shown_sheet(notebook, record) if isinstance(record, RunSheet) else record


def shown_sheet(notebook: Notebook, sheet: RunSheet | None) -> RunSheet | None:
    """A run sheet as it may be shown: until its codes are opened without the arms, and without the seed that draws them again."""
    if sheet is None or opened(notebook, sheet.trial) or not any(line.blind_code for line in sheet.brews):
        return sheet
    brews = tuple(replace(line, arm=HIDDEN) if line.blind_code else line for line in sheet.brews)
    return replace(sheet, seed=None, brews=brews)


def open_codes(notebook: Notebook, trial: str, *, now: datetime, who: str = "", why: str = "asked for") -> None:
    """Open the codes of a trial for good; what is entered from here on is no longer blind."""
    notebook.get(Trial, trial)
    if not opened(notebook, trial):
        with notebook.writing() as pen:
            pen.keep(OPENED, trial, {"why": why}, at=now, who=who)


def note_key_shown(notebook: Notebook, trial: str, *, now: datetime, who: str = "") -> None:
    """Note that the key of codes was printed or sealed here."""
    with notebook.writing() as pen:
        pen.keep(KEY_SHOWN, trial, {}, at=now, who=who)


def refuse_while_hidden(notebook: Notebook, brews: Sequence[Brew]) -> None:
    """Refuse to publish brews whose codes are not opened: a page of them would show recipe and code side by side.

    Raises
    ------
    NotAllowed
        If a code is still closed.
    """
    closed = next((brew for brew in brews if is_hidden(notebook, brew)), None)
    if closed is not None:
        raise NotAllowed(
            f"Brew {closed.key} is still blind: what leaves the notebook would show its recipe beside its code.",
            f"Judge the trial first, or open its codes: aerobe trial open-codes {closed.trial}. A package can also be "
            "written with the codes, which is noted like a look at the key; a backup copy needs neither.",
        )


def refuse_hidden_sheets(notebook: Notebook, sheets: Sequence[RunSheet]) -> None:
    """Refuse to give out the run sheet of a blind trial that has not begun: the arms behind its codes would be there to read.

    A trial whose brews were begun without codes is run in the open, whatever its sheet has.

    Raises
    ------
    NotAllowed
        If a code is still closed.
    """
    for sheet in sheets:
        coded = any(line.blind_code for line in sheet.brews)
        if coded and not opened(notebook, sheet.trial) and not notebook.find(Brew, of=sheet.trial):
            raise NotAllowed(
                f"The run sheet of trial {sheet.trial} is still blind: a package would show the arm behind each code.",
                f"Give out its plan instead (aerobe trial protocol {sheet.trial}), or write the package with the codes, which is "
                "noted like a look at the key; a backup copy needs neither.",
            )
