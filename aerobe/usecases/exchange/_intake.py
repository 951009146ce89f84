"""Taking in a table that someone else made: preview first, then keep all that is good in one transaction."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime

from aerobe.errors import ImportFault
from aerobe.notebook import Notebook
from aerobe.records import Brew
from aerobe.tables import ProbeColumn, Question, RowFault, RowRead, RowsRead, TableReading, read_table
from aerobe.usecases.exchange._intake_assays import label_of
from aerobe.usecases.exchange._intake_trial import (
    AERATED_SAID,
    OPEN_SAID,
    SEALED_SAID,
    UNKNOWN_SAID,
    fold_label,
    known_brews,
    trial_key,
)
from aerobe.usecases.exchange._keeper import Keeper, TakenIn
from aerobe.usecases.exchange._origin import TakingIn
from aerobe.usecases.exchange._row_questions import checked_rows
from aerobe.usecases.exchange._rows_kept import bare
from aerobe.usecases.exchange._wishes import Wishes, remember, remembered

BREW_OF = "brew of "


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What would be kept, so that the person can say yes: nothing has been written yet."""

    reading: TableReading
    rows: RowsRead | None  # None while questions about the columns are open
    questions: tuple[Question, ...]
    brews: tuple[str, ...] = ()  # names found
    assays: tuple[str, ...] = ()
    remembered: bool = False  # read as the last table of this shape was

    @property
    def open_questions(self) -> tuple[Question, ...]:
        """Those that must be answered before anything is kept."""
        return tuple(question for question in self.questions if question.open)

    @property
    def ready(self) -> bool:
        """Whether the table can be taken in as it stands."""
        return self.rows is not None and not self.open_questions

    @property
    def example(self) -> tuple[RowRead, ...]:
        """Three true rows of the result: the first, one in the middle, the last."""
        return replace(self.reading, rows=self.rows).preview() if self.rows else ()

    @property
    def taken_for(self) -> tuple[str, ...]:
        """What is taken where nobody answered, as sentences."""
        return tuple(f"{item.asks} Taken: {item.taken}." for item in self.questions if not item.reply and item.default)

    @property
    def ignored(self) -> tuple[str, ...]:
        """All that is not used, as sentences: columns, lines, sheets, cells."""
        return (*self.reading.ignored, *(self.rows.left_out if self.rows else ()))


def preview_table(
    content: bytes, name: str, wishes: Wishes | None = None, *, notebook: Notebook | None = None, now: datetime | None = None
) -> Preview:
    """Read a table and say what its columns mean, what would be kept, and what must be answered first. Nothing is written.

    Parameters
    ----------
    content, name
        The file's bytes and its name: text with any mark between columns, or a spreadsheet.
    wishes
        What the person has settled so far.
    notebook, now
        To look up brews and tests, what was answered for the last table of this shape, and times that cannot be.
    """
    wishes = wishes or Wishes()
    answers, columns = wishes.answers(), dict(wishes.columns)
    reading = _read(content, name, wishes, answers, columns)
    known = False
    if notebook is not None:
        meant, replied = remembered(notebook, reading.fingerprint)
        fresh = {key: said for key, said in replied.items() if key not in answers}
        here = {header: said for header, said in meant.items() if header not in columns and header in reading.block.header}
        if fresh or here:
            try:
                reading = _read(content, name, wishes, fresh | answers, here | columns)
                columns, answers, known = here | columns, fresh | answers, True
            except ImportFault:
                known = False  # what was said then does not fit this file; it is asked anew
    rows, questions = reading.rows, reading.questions
    if rows is not None and notebook is not None and now is not None:
        brews = known_brews(notebook, trial_key(wishes.trial or bare(name)))
        questions = (*questions, *about_brews(rows, wishes, answers, brews))
        rows, asked = checked_rows(
            rows, answers, brew_of=lambda item: brew_for(item, wishes, answers, brews), started_at=wishes.started_at, now=now
        )
        questions = (*questions, *asked)
    assays = dict.fromkeys(filter(None, (label_of(row) for row in rows.results))) if rows else {}
    return Preview(
        reading=reading,
        rows=rows,
        questions=questions,
        brews=rows.brews if rows else (),
        assays=tuple(assays),
        remembered=known,
    )


def _read(content: bytes, name: str, wishes: Wishes, answers: dict[str, str], columns: dict[str, str]) -> TableReading:
    return read_table(content, name, answers, columns=columns, zone=wishes.own_zone, test_named=bool(wishes.assay))


def brew_for(item: RowRead | ProbeColumn, wishes: Wishes, answers: dict[str, str], brews: dict[str, Brew]) -> Brew | None:
    """The brew of the notebook that a row belongs to; None where the table begins it, or nothing says."""
    if item.label:
        said = answers.get(f"{BREW_OF}{item.label}", "")
        return brews.get(fold_label(said)) if said else brews.get(fold_label(item.label))
    return brews.get(fold_label(wishes.brew)) if wishes.brew else None


def about_brews(rows: RowsRead, wishes: Wishes, answers: dict[str, str], brews: dict[str, Brew]) -> list[Question]:
    """One brew named for a table that names brews itself; and how air reaches brews of which nobody says it."""
    asked = []
    unknown = [label for label in rows.brews if fold_label(label) not in brews]
    if wishes.brew:
        for label in unknown:
            said = answers.get(f"{BREW_OF}{label}", "")
            if said and fold_label(said) not in brews:
                raise ImportFault(f"The notebook has no brew '{said}'.", f"Answer {BREW_OF}{label} with the key of a brew.")
            asked.append(
                Question(
                    key=f"{BREW_OF}{label}",
                    asks=f"The table names '{label}'. Which brew of the notebook is it?",
                    because=f"'{wishes.brew}' was named for rows that name none"
                    + (f"; this table names {len(rows.brews)}." if len(rows.brews) > 1 else "."),
                    options=tuple(dict.fromkeys(brew.key for brew in brews.values())),
                    default=wishes.brew if len(rows.brews) == 1 and rows.brews == (label,) else "",
                    reply=said,
                )
            )
        return asked
    begun = any(label in unknown for label in rows.brews)
    logs = any(probe.channel == "oxygen" and probe.label in unknown for probe in rows.probes)
    if begun:
        said = answers.get("transfer", "")
        options = (SEALED_SAID, OPEN_SAID, AERATED_SAID, UNKNOWN_SAID)
        asked.append(
            Question(
                key="transfer",
                asks="How does air reach the brews of this table?",
                because="The table does not say; uptake of oxygen can be read from a log only where transfer is known.",
                options=options,
                default="" if logs else UNKNOWN_SAID,
                reply=said if said in options else "",
            )
        )
    return asked


def take_in(
    notebook: Notebook, content: bytes, name: str, wishes: Wishes | None = None, *, now: datetime, who: str = ""
) -> TakenIn:
    """Keep everything good in a table, in one transaction; bad rows are reported and what is there already is not doubled.

    Rows with treatments and bottles that the notebook does not know become a trial: an arm each treatment, a brew each bottle.
    Where nothing could be kept, nothing is written at all, and the file can be tried again.

    Raises
    ------
    ImportFault
        If a question is open, rows name no brew or assay, or not one row could be kept.
    """
    wishes = wishes or Wishes()
    preview = preview_table(content, name, wishes, notebook=notebook, now=now)
    if preview.rows is None or preview.open_questions:
        asked = " ".join(f"[{item.key}] {item.says}" for item in preview.open_questions)
        raise ImportFault(f"Before this table can be taken in: {asked}", "Answer by the word in brackets and try again.")
    digest = hashlib.sha256(content).hexdigest()
    answers = {item.key: item.taken for item in preview.questions}
    with notebook.writing() as pen:
        table = TakingIn(notebook=notebook, pen=pen, file=bare(name), sha256=digest, now=now, who=who)
        keeper = Keeper(table, preview.rows, wishes, answers)
        keeper.find = lambda item: brew_for(item, wishes, answers, keeper.brews)
        taken = keeper.keep()
        found = f"{taken.readings} readings, {taken.log_points} log points, {len(taken.faults)} faults"
        pen.note(at=now, who=who, did="import", noun="file", key=digest[:16], why=f"{bare(name)}: {found}")
        remember(notebook, pen, preview.reading, wishes, now=now, who=who)
    return replace(taken, taken_for=preview.taken_for, ignored=preview.ignored)


def bad_cells(preview: Preview) -> tuple[RowFault, ...]:
    """Cells that cannot be used."""
    return preview.rows.faults if preview.rows else ()
