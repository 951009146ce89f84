"""Where data came from that nobody entered here: which table, and whether it said when the air went on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from aerobe.notebook import Kept, Notebook, Pen
from aerobe.records import Brew
from aerobe.reports import FromTable
from aerobe.usecases.brews._started import ASSUMED, TAKEN_IN, assumed_start

READ_FROM_TABLE = "i-"  # how the key of a reading begins that a table brought
FIRST_CLOCK = "first clock time of the table"


@dataclass(frozen=True, slots=True, kw_only=True)
class TakingIn:
    """A table on its way into a notebook: which, with what pen, when and by whom."""

    notebook: Notebook
    pen: Pen
    file: str  # its bare name
    sha256: str  # of its bytes
    now: datetime
    who: str = ""

    def add(self, record: object) -> None:
        """Write a record in."""
        self.pen.add(record, at=self.now, who=self.who)


def note_origin(table: TakingIn, brew: str, *, started_at: datetime | None = None, start: str = "") -> None:
    """Keep with a brew which table its data came from, once for each version of the table.

    Parameters
    ----------
    table, brew
        The table that is being taken in, and the key of the brew.
    started_at, start
        For a brew that the table began: when the air is taken to have gone on, and `ASSUMED`, `FIRST_CLOCK` or "" (known).
    """
    if any(item.payload["sha256"] == table.sha256 for item in table.notebook.kept(TAKEN_IN, brew)):
        return
    began = {"at": started_at.isoformat(), "is": start} if started_at is not None and start else None
    payload = {"file": table.file, "sha256": table.sha256, "start": began}
    table.pen.keep(TAKEN_IN, brew, payload, at=table.now, who=table.who)


def tables_of(notebook: Notebook, brews: Sequence[Brew]) -> tuple[FromTable, ...]:
    """The tables that data of these brews came from, by name."""
    held: dict[str, list[Kept]] = {}
    unnamed = 0
    for brew in brews:
        found = notebook.kept(TAKEN_IN, brew.key)
        for item in found:
            held.setdefault(item.payload["file"], []).append(item)
        readings = () if found else notebook.readings(brew.key, with_corrected=True)
        unnamed += any(reading.key.startswith(READ_FROM_TABLE) for reading in readings)
    tables = []
    for file, items in sorted(held.items()):
        last = max(items, key=lambda item: item.at)
        tables.append(
            FromTable(
                file=file,
                sha256=last.payload["sha256"],
                taken_in=f"{last.at:%Y-%m-%d}",
                brews=len({item.subject for item in items}),
                times=len({item.payload["sha256"] for item in items}),
            )
        )
    if unnamed:
        tables.append(FromTable(file="", sha256="", taken_in="", brews=unnamed))
    return tuple(tables)


def start_in_words(notebook: Notebook, brew: Brew) -> str:
    """What to say in the place of a brew's start where nobody knows it; empty where it is known, or was mended since."""
    how = assumed_start(notebook, brew)
    return how if how in ("", ASSUMED) else f"{brew.started_at:%Y-%m-%d %H:%M %z}, {how}"
