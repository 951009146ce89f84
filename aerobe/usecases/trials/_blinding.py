"""Which brews still keep their recipe behind a code, and what the notebook's own order of writing says of plan and codes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from aerobe.errors import NotAllowed
from aerobe.notebook import Change, Notebook
from aerobe.records import Brew, RunSheet, Trial, as_plain
from aerobe.usecases.brews._held import cached, held_by

HIDDEN = "hidden"  # stands where a recipe or an arm would; a valid key, so that records hold it
OPENED, KEY_SHOWN, HISTORY = "codes opened", "key shown", "plan history"
# A verdict shows the arms, so whoever has seen one is no longer blind.
OPENING = (OPENED, "verdict")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanHistory:
    """What the order of writing shows of a trial's making."""

    planned: bool  # written down before any of its brews began or was entered
    came_first: bool  # written down before any of its brews was entered, whenever these began
    blinded: bool  # every result was entered before a code was opened, by someone who had not seen the key
    changes: tuple[str, ...]  # each change of the plan, in words
    written_at: str = ""
    outcome: str = ""  # that the plan named before the first result
    margin_ratio: float = 0.0


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
    """A run sheet as it may be shown: without the arms behind its codes until these are opened."""
    if sheet is None or opened(notebook, sheet.trial):
        return sheet
    return replace(sheet, brews=tuple(replace(line, arm=HIDDEN) if line.blind_code else line for line in sheet.brews))


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


def plan_history(notebook: Notebook, trial: str) -> PlanHistory:
    """What the notebook's own order of writing shows; in a copy made for a report, what the notebook it came from showed."""
    carried = notebook.kept(HISTORY, trial)
    if carried:
        said = carried[-1].payload
        return PlanHistory(**{**said, "changes": tuple(said["changes"])})
    brews = notebook.find(Brew, of=trial)
    lines = notebook.audit(key=trial)
    written = next((line for line in lines if line.noun == "trials" and line.did == "add"), None)
    entered = [line for brew in brews for line in notebook.audit(key=brew.key) if line.noun == "brews" and line.did == "add"]
    came_first = written is not None and all(line.id > written.id for line in entered)
    readings = [line for brew in brews for line in notebook.audit(brew=brew.key) if line.noun == "readings"]
    first = min((line.id for line in readings), default=0)
    begun_as = _as_begun(notebook.get(Trial, trial), lines, first)
    return PlanHistory(
        planned=came_first and written is not None and all(brew.started_at >= written.at for brew in brews),
        came_first=came_first,
        blinded=_blinded(lines, readings, brews, notebook.find(RunSheet)),
        changes=_changes(notebook.get(Trial, trial), lines, first),
        written_at="" if written is None else written.at.isoformat(timespec="minutes"),
        outcome=str(begun_as["outcome"]),
        margin_ratio=float(begun_as["margin_ratio"]),
    )


def carry_history(notebook: Notebook, trial: str) -> dict[str, Any]:
    """The history as it goes into a copy."""
    plain: dict[str, Any] = as_plain(plan_history(notebook, trial))
    return plain


def _blinded(lines: Sequence[Change], readings: Sequence[Change], brews: Sequence[Brew], sheets: Sequence[RunSheet]) -> bool:
    coded = any(brew.blind_code for brew in brews) or any(
        line.blind_code for sheet in sheets if brews and sheet.trial == brews[0].trial for line in sheet.brews
    )
    opening = min((line.id for line in lines if line.noun in OPENING), default=None)
    saw_key = {line.who: line.id for line in lines if line.noun == KEY_SHOWN}
    if not coded or not readings:
        return False
    if opening is not None and any(line.id > opening for line in readings):
        return False
    # Whoever has seen the key cannot read blind; without names nobody can be told from the one who saw it.
    return all(
        not any(key_id < line.id and (not who or not line.who or who == line.who) for who, key_id in saw_key.items())
        for line in readings
    )


_NAMES = {
    "margin_ratio": "the difference worth having",
    "outcome": "what it is judged by",
    "question": "the question",
    "arms": "the arms",
    "planned_at": "the time of planning",
    "design": "the design",
}


def _as_begun(trial: Trial, lines: Sequence[Change], first_reading: int) -> dict[str, Any]:
    """The plan as it stood before the first result."""
    edits = [line for line in lines if line.noun == "trials" and line.did == "change" and line.id > first_reading > 0]
    plain: dict[str, Any] = as_plain(trial)
    return edits[0].before if edits and isinstance(edits[0].before, dict) else plain


def _changes(trial: Trial, lines: Sequence[Change], first_reading: int) -> tuple[str, ...]:
    edits = [line for line in lines if line.noun == "trials" and line.did == "change"]
    versions: list[dict[str, Any]] = [
        *(line.before for line in edits if isinstance(line.before, dict)),
        as_plain(trial),
    ]
    said = []
    for line, old, new in zip(edits, versions, versions[1:], strict=False):
        for field, name in _NAMES.items():
            old_value, new_value = old.get(field), new.get(field)
            if old_value != new_value:
                when = "after the first result" if first_reading and line.id > first_reading else "before the first result"
                said.append(
                    f"The plan was changed {when}, on {line.at:%Y-%m-%d %H:%M}: {name} was "
                    f"{_short(old_value)} and became {_short(new_value)}."
                )
    return tuple(said)


def _short(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(str(item.get("key", item)) if isinstance(item, dict) else str(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
