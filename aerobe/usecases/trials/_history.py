"""What the notebook's own order of writing says of a trial: what was planned, what was changed since, and who read blind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from aerobe.errors import AerobeError, NotFound
from aerobe.notebook import ORDER_OF_WRITING, TAKEN_BACK, Change, Notebook
from aerobe.records import Brew, RunSheet, Trial, as_plain, from_plain
from aerobe.usecases.trials._blinding import KEY_SHOWN, OPENING
from aerobe.usecases.trials._changes import brew_changes, plan_changes, recipe_changes, sheet_changes, trials_over_time
from aerobe.usecases.trials._put_back import put_back_in_words

HISTORY = ORDER_OF_WRITING  # of kept results: what the notebook that a copy was made of shows
STANDS_FOR_ANOTHER = "stands for another notebook"  # setting of a notebook made to hold a copy for a while


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanHistory:
    """What the order of writing shows of a trial's making."""

    planned: bool = False  # written down before any of its brews began or was entered
    came_first: bool = False  # written down before any of its brews was entered, whenever these began
    blinded: bool = False  # every result was entered before a code was opened, by someone who had not seen the key
    changes: tuple[str, ...] = ()  # each change of the plan, in words
    written_at: str = ""
    late: str = ""  # why nothing here counts as planned, in words; empty where it may
    unblinded: str = ""  # how blinding was lost, in words; empty where it was kept, or no code was ever given
    begun: Trial | None = None  # the plan as the first result found it
    sheet: RunSheet | None = None  # its run sheet as the first result found it


def plan_history(notebook: Notebook, trial: str) -> PlanHistory:
    """What the notebook's own order of writing shows.

    In a copy that stands for another notebook, what that one showed counts. What a package says of its trial is a word of the
    sender's: in a person's own notebook it adds to what speaks against the plan, and never to what speaks for it.
    """
    carried = [_read(item.payload) for item in notebook.kept(HISTORY, trial)]
    if carried and notebook.setting(STANDS_FOR_ANOTHER):
        return carried[-1]
    own = _own_history(notebook, trial)
    for said in carried:
        own = replace(
            own,
            planned=own.planned and said.planned,
            blinded=own.blinded and said.blinded,
            changes=tuple(dict.fromkeys((*said.changes, *own.changes))),
            late=own.late or said.late,
            came_first=own.came_first and said.came_first,
            unblinded=own.unblinded or said.unblinded,
            begun=said.begun or own.begun,
            sheet=said.sheet or own.sheet,
        )
    return own


def carry_history(notebook: Notebook, trial: str) -> dict[str, Any]:
    """The history as it goes into a copy; free notes stay at home."""
    found = plan_history(notebook, trial)
    if found.begun is not None:
        found = replace(found, begun=replace(found.begun, notes=""))
    plain: dict[str, Any] = as_plain(found)
    return plain


def _read(payload: object) -> PlanHistory:
    """A history out of a copy; older releases told less, and a stranger's may be anything."""
    known = PlanHistory.__dataclass_fields__
    plain = {name: value for name, value in payload.items() if name in known} if isinstance(payload, dict) else {}
    try:
        return from_plain(PlanHistory, plain)
    except AerobeError:
        return PlanHistory(late="What the package says of how its plan came about cannot be read.")


def _own_history(notebook: Notebook, trial: str) -> PlanHistory:
    brews = notebook.find(Brew, of=trial)
    lines = notebook.audit(key=trial)
    by_brew = {brew.key: notebook.audit(brew=brew.key) for brew in brews}
    readings = [line for found in by_brew.values() for line in found if line.noun in ("readings", TAKEN_BACK)]
    first = min((line.id for line in readings), default=0)
    written = next((line for line in lines if line.noun == "trials" and line.did == "add"), None)
    stands = notebook.get(Trial, trial)
    put_back = put_back_in_words(notebook, trial)
    late = put_back or _late(trial, brews, by_brew, written)
    sheet = _sheet_of(notebook, trial)
    return PlanHistory(
        planned=not late and written is not None and all(brew.started_at >= written.at for brew in brews),
        came_first=not late,
        **_blinding(stands, lines, readings, brews, sheet),
        changes=(
            *plan_changes(stands, lines, first),
            *sheet_changes(sheet, lines, first),
            *recipe_changes(notebook, stands, first),
            *brew_changes(notebook, trial, by_brew),
        ),
        written_at="" if written is None else written.at.isoformat(timespec="minutes"),
        late=late,
        begun=_as_begun(Trial, stands, lines, "trials", first),
        sheet=None if sheet is None else _as_begun(RunSheet, sheet, lines, "run_sheets", first),
    )


def _late(trial: str, brews: Sequence[Brew], by_brew: dict[str, list[Change]], written: Change | None) -> str:
    """Why nothing counts as planned: the plan stands behind its brews, or brews were chosen for it by their results."""
    entered = [line for found in by_brew.values() for line in found if line.noun == "brews" and line.did == "add"]
    if written is None or any(line.id < written.id for line in entered):
        when = "" if written is None else f" at {written.at.isoformat(timespec='minutes')}"
        return f"The plan was written into the notebook{when}, after brews of the trial."
    chosen = [brew.key for brew in brews if _joined_after_result(trial, brew, by_brew[brew.key])]
    if chosen:
        return f"Brew {', '.join(chosen)} was put into the trial after its first result."
    return ""


def _joined_after_result(trial: str, brew: Brew, lines: Sequence[Change]) -> bool:
    first = min((line.id for line in lines if line.noun == "readings"), default=0)
    return any(
        first and line.id > first and was.trial != trial and becomes.trial == trial
        for line, was, becomes in trials_over_time(brew, lines)
    )


def _as_begun(cls: type[Any], stands: Any, lines: Sequence[Change], noun: str, first: int) -> Any:
    """The record as it stood before the first result; None where it came after it."""
    written = min((line.id for line in lines if line.noun == noun and line.did == "add"), default=0)
    if cls is RunSheet and first and written > first:
        return None
    edits = (line for line in lines if line.noun == noun and line.did == "change" and line.id > first > 0)
    before = next((line.before for line in edits if isinstance(line.before, dict)), None)
    return stands if before is None else from_plain(cls, before)


def _sheet_of(notebook: Notebook, trial: str) -> RunSheet | None:
    try:
        return notebook.get(RunSheet, trial)
    except NotFound:
        return None


def _blinding(
    trial: Trial, lines: Sequence[Change], readings: Sequence[Change], brews: Sequence[Brew], sheet: RunSheet | None
) -> dict[str, Any]:
    """Whether every result was read blind, and what speaks against it where codes were given."""
    coded = any(brew.blind_code for brew in brews) or any(line.blind_code for line in (sheet.brews if sheet else ()))
    if not coded or not readings:
        return {"blinded": False, "unblinded": ""}
    seen = ["Its arms are vessels, which stand on the sheet beside the codes."] if trial.question == "vessels" else []
    lost = " ".join([*seen, *_losses(lines, readings)])
    return {"blinded": not lost, "unblinded": lost}


def _losses(lines: Sequence[Change], readings: Sequence[Change]) -> Iterator[str]:
    opening = next((line for line in lines if line.noun in OPENING), None)
    after = [line for line in readings if opening is not None and line.id > opening.id]
    if opening is not None and after:
        yield f"The codes were opened on {opening.at:%Y-%m-%d %H:%M %Z}; {_counted(after)} since."
    shown: dict[str, Change] = {}
    for line in lines:
        if line.noun == KEY_SHOWN:
            shown.setdefault(line.who, line)  # whoever has seen it once knows it
    # Whoever has seen the key cannot read blind; without names nobody can be told from the one who saw it.
    seen = [
        line
        for line in readings
        if any(key.id < line.id and (not who or not line.who or who == line.who) for who, key in shown.items())
    ]
    if seen:
        first = min(shown.values(), key=lambda line: line.id)
        yield (
            f"The key of codes was shown on {first.at:%Y-%m-%d %H:%M %Z}; {_counted(seen)} since by whoever saw it, "
            "or by nobody named."
        )


def _counted(lines: Sequence[Change]) -> str:
    kinds = (("add", "readings", "entered"), ("correct", "readings", "corrected"), ("add", TAKEN_BACK, "taken back"))
    numbers = [(sum(line.did == did and line.noun == noun for line in lines), word) for did, noun, word in kinds]
    parts = [f"{number} {word}" for number, word in numbers if number]
    return f"{'reading' if len(lines) == 1 else 'readings'}: {', '.join(parts)}"
