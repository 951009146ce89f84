"""Records into the notebook and out again: brews, readings, what a person typed on a phone."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from aerobe.errors import NotFound, UnusableReading, UnusableRecord
from aerobe.notebook import BrewHistory, Notebook, Receipt
from aerobe.notebook import brew_history as _history
from aerobe.notebook import open_notebook as _open
from aerobe.records import (
    ROLES,
    Assay,
    Brew,
    Compost,
    Harvest,
    Reading,
    Recipe,
    Sample,
    Trial,
    Use,
    Vessel,
)
from aerobe.units import dilution_factor, parse_number, signs
from aerobe.usecases.notebook._from_form import text_fields
from aerobe.usecases.notebook._moments import elapsed_from, require_possible
from aerobe.usecases.trials._blinding import HIDDEN, is_hidden, shown

NOUN_CLASSES: dict[type, str] = {
    Compost: "compost",
    Recipe: "recipe",
    Vessel: "vessel",
    Assay: "assay",
    Trial: "trial",
    Brew: "brew",
    Sample: "sample",
    Harvest: "harvest",
    Use: "use",
}


def open_notebook(where: str | Path, *, at: datetime, create: bool = True) -> Notebook:
    """Open a notebook: a file path, or `postgresql://user@host/name`. See `aerobe.notebook.open_notebook`.

    Parameters
    ----------
    where
        The file or server address.
    at
        Now; names the dated copy if the notebook must be brought up to date.
    create
        Whether a notebook that is not there is begun.
    """
    return _open(where, at=at, create=create)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingEntry:
    """A reading as a person types it: text fields and an entry token made when the form was opened.

    `signal` may be a number ("0,42"), a bound ("<0.1" or ">500"), and may carry the assay's unit ("0.42 ug C/mL").
    `when` is hours since the air was turned on ("8", "8.5 h", "90 min"), a clock time ("14:10") or a date and time; empty
    means now. `age_s` is how many seconds ago a phone took the entry in, where it waited there for a connection.
    """

    brew: str
    assay: str
    signal: str
    when: str = ""
    role: str = "sample"
    dilution: str = "1"
    replicate: str = "1"
    sample: str = ""
    replaces: str = ""
    operator: str = ""
    kit_lot: str = ""
    notes: str = ""
    token: str = ""
    age_s: str = ""

    @classmethod
    def from_form(cls, form: Mapping[str, object]) -> ReadingEntry:
        """From the fields of a form or a JSON object; unknown fields are left aside."""
        return cls(**{"brew": "", "assay": "", "signal": "", **text_fields(cls.__dataclass_fields__, form)})

    def to_reading(self, brew: Brew | None, assay: Assay, *, key: str, now: datetime) -> Reading:
        """The frozen reading. Nothing is corrected or converted; the text stays beside the number.

        Raises
        ------
        UnusableReading, NotAQuantity
            If a field cannot be read; the message says which and how to write it.
        """
        text = self.signal.strip()
        if not text:
            raise UnusableReading("The result is empty.", "Type the number that the test shows.")
        below, above = text[0] in "<≤", text[0] in ">≥"
        bare = text.lstrip("<>≤≥= ").strip()
        unit = next((item for item in (assay.unit, signs(assay.unit)) if item and bare.lower().endswith(item.lower())), "")
        bare = bare[: len(bare) - len(unit)]
        replicate = parse_number(self.replicate or "1")
        if replicate != int(replicate) or replicate < 1:
            raise UnusableReading(f"'{self.replicate}' is no number of a replicate.", "Count replicates 1, 2, 3.")
        return Reading(
            key=key,
            brew=self.brew,
            assay=assay.key,
            role=self.role or "sample",
            elapsed_h=elapsed_from(self.when, brew, now=now, age_s=self.age_s),
            signal=parse_number(bare),
            unit=assay.unit,
            typed_as=self.signal,
            dilution=dilution_factor(self.dilution or "1"),
            replicate=int(replicate),
            sample=self.sample,
            below_detection=below,
            above_range=above,
            replaces=self.replaces,
            operator=self.operator,
            kit_lot=self.kit_lot,
            entered_at=now,
            notes=self.notes,
        )


def new_key(notebook: Notebook, cls: type, name: str) -> str:
    """A free key made of a name: `Old barrel, 3rd` gives `old-barrel-3rd`, and a number if that is taken."""
    stem = re.sub(r"[^a-z0-9]+", "-", _ascii(name).lower()).strip("-")[:60] or NOUN_CLASSES.get(cls, "entry")
    records: list[Any] = notebook.find(cls)
    taken = {record.key for record in records}
    number, key = 2, stem
    while key in taken:
        key, number = f"{stem}-{number}", number + 1
    return key


def new_brew(notebook: Notebook, draft: Brew, *, now: datetime, who: str = "", token: str = "") -> Brew:
    """Write a new brew into the notebook, under a free key made of its name in the place of the draft's.

    Raises
    ------
    NotFound
        If the trial has no such arm.
    """
    if draft.arm and draft.trial and draft.arm not in {item.key for item in notebook.get(Trial, draft.trial).arms}:
        raise NotFound(f"The trial '{draft.trial}' has no arm '{draft.arm}'.", "Name one of its arms.")
    with notebook.writing() as pen:  # a key is chosen while nobody else writes
        receipt = pen.add(replace(draft, key=new_key(notebook, Brew, draft.name)), at=now, who=who, token=token)
    return notebook.get(Brew, receipt.key)


def add_reading(notebook: Notebook, entry: ReadingEntry, *, now: datetime, who: str = "", at_vessel: bool = False) -> Receipt:
    """Keep a reading as typed. The same entry token twice keeps it once.

    Typed `at_vessel`, while the brew stands there, a time after the present is a slip and refused.

    Raises
    ------
    UnusableReading, NotAQuantity
        If what was typed cannot be read.
    NotFound
        If brew or assay are not in the notebook.
    UnusableRecord
        If the entry token cannot be used.
    """
    brew = notebook.get(Brew, entry.brew) if entry.brew else None
    assay = notebook.get(Assay, entry.assay)
    if entry.role not in ROLES:
        raise UnusableReading(f"'{entry.role}' is no role of a reading.", f"Use one of: {', '.join(ROLES)}.")
    if entry.token and not re.fullmatch(r"[A-Za-z0-9_.-]{1,80}", entry.token):
        raise UnusableRecord("The entry token cannot be used.", "Use up to 80 letters, digits, '-', '_' and '.'.")
    key = f"r-{entry.token}"[:80] if entry.token else _reading_key(notebook, now)
    if at_vessel and brew is not None:
        require_possible(elapsed_from(entry.when, brew, now=now, age_s=entry.age_s), brew, now=now)
    reading = entry.to_reading(brew, assay, key=key, now=now)
    return notebook.add_reading(reading, at=now, who=who, token=entry.token)


def correct_reading(
    notebook: Notebook,
    key: str,
    entry: ReadingEntry,
    *,
    now: datetime,
    who: str = "",
    why: str = "",
    at_vessel: bool = False,
) -> Receipt:
    """Correct a reading: a new one that names the old; both stay in the notebook.

    Raises
    ------
    UnusableReading
        If the correction would move the reading to another brew.
    """
    old = notebook.reading(key)
    if entry.brew != old.brew:
        where = f"brew {old.brew}" if old.brew else "no brew"
        raise UnusableReading(
            f"This reading belongs to {where}, and a correction cannot move it.",
            "Correct it where it is; a reading entered for the wrong brew is entered again for the right one.",
        )
    brew = notebook.get(Brew, entry.brew) if entry.brew else None
    assay = notebook.get(Assay, entry.assay or old.assay)
    new_one = f"r-{entry.token}"[:80] if entry.token else _reading_key(notebook, now)
    if at_vessel and brew is not None and entry.when:
        require_possible(elapsed_from(entry.when, brew, now=now), brew, now=now)
    reading = entry.to_reading(brew, assay, key=new_one, now=now)
    corrected = replace(reading, replaces=key, elapsed_h=reading.elapsed_h if entry.when else old.elapsed_h)
    return notebook.add_reading(corrected, at=now, who=who, token=entry.token, why=why)


def brew_history(notebook: Notebook, key: str) -> BrewHistory:
    """All that the notebook holds of one brew, without its recipe while it is blind. See `aerobe.notebook.BrewHistory`."""
    history = _history(notebook, key)
    if not is_hidden(notebook, history.brew):
        return history
    return replace(
        history,
        brew=shown(notebook, history.brew),
        recipe=Recipe(key=HIDDEN, name=HIDDEN, compost=HIDDEN, compost_g_per_l=0.0),
        compost=Compost(key=HIDDEN, name=HIDDEN),
        advice=(),
    )


FROM_TABLE = "Imported;"  # how the notes of a brew begin that a table brought


def list_brews(notebook: Notebook, *, now: datetime) -> list[dict[str, object]]:
    """Every brew in a line: key, name, recipe, start, hours since, number of readings and whether it still brews."""
    ended = {harvest.brew: harvest.elapsed_h for harvest in notebook.find(Harvest)}
    counts: dict[str, int] = {}
    last: dict[str, float] = {}
    for reading in notebook.readings():
        counts[reading.brew] = counts.get(reading.brew, 0) + 1
        last[reading.brew] = max(last.get(reading.brew, 0.0), reading.elapsed_h)
    # A brew out of a table is followed to the end of the table; nobody knows that it still stands.
    tables = {brew.key for brew in notebook.find(Brew) if brew.notes.startswith(FROM_TABLE)}
    ended = {key: last.get(key, 0.0) for key in tables} | ended
    return [
        {
            "key": brew.key,
            "name": brew.name,
            "recipe": shown(notebook, brew).recipe,
            "vessel": brew.vessel,
            "trial": brew.trial,
            "arm": shown(notebook, brew).arm,
            "started_at": brew.started_at.isoformat(),
            "brewing": brew.key not in ended,
            "elapsed_h": ended.get(brew.key, brew.hours_at(now)),
            "readings": counts.get(brew.key, 0),
        }
        for brew in sorted(notebook.find(Brew), key=lambda item: item.started_at, reverse=True)
    ]


def notebook_summary(notebook: Notebook) -> dict[str, int]:
    """How many of each kind of record the notebook holds."""
    counts = {word: len(notebook.find(cls)) for cls, word in NOUN_CLASSES.items()}
    counts["reading"] = len(notebook.readings(with_corrected=True))
    counts["log point"] = sum(points for *_, points in notebook.logged())
    return counts


def _reading_key(notebook: Notebook, now: datetime) -> str:
    return f"r-{now.strftime('%Y%m%dT%H%M%S%f')}-{notebook.last_change()}"


def _ascii(text: str) -> str:
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
