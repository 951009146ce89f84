"""A foreign table read as well as it can be: which sheet, how it lies, what columns mean, what is asked, and what comes out."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

from aerobe.errors import ImportFault
from aerobe.tables import _checks
from aerobe.tables._ask import Question, Questions
from aerobe.tables._block import Block
from aerobe.tables._blocks import stacked
from aerobe.tables._brews import named, with_mean_rows, with_means, with_roles, with_temperatures
from aerobe.tables._clock import winter_of
from aerobe.tables._columns import Column, columns_of, said_column, without_sums
from aerobe.tables._counted import with_moments
from aerobe.tables._half_days import with_half_days
from aerobe.tables._plates import plate_block
from aerobe.tables._results import RowRead, RowsRead
from aerobe.tables._rows import read_rows
from aerobe.tables._runs import log_runs, with_midnights
from aerobe.tables._settle import filled_down, settled_way
from aerobe.tables._sheets import HIDDEN, STRUCK, UNSOLVED, tables_of
from aerobe.tables._text import Inferred
from aerobe.tables._way import LEAVE_OUT, Way
from aerobe.tables._wide import LABEL, Wide, lengthened
from aerobe.tables._words import folded_name

MAX_BYTES = 200_000_000
MAX_ROWS = 2_000_000
READ_TOO = "read them too"


@dataclass(frozen=True, slots=True, kw_only=True)
class TableReading:
    """How a table is read: proposed, with all questions at once; `rows` is what comes out if it is taken as it stands."""

    name: str
    block: Block
    columns: tuple[Column, ...]
    shape: Wide
    letters: Inferred  # encoding
    mark: Inferred  # between columns
    questions: tuple[Question, ...]
    noted: tuple[str, ...]  # what was found and done on the way
    ignored: tuple[str, ...]  # columns, lines and sheets that are not used
    rows: RowsRead | None
    fingerprint: str

    @property
    def open_questions(self) -> tuple[Question, ...]:
        """Those that must be answered before anything is kept."""
        return tuple(question for question in self.questions if question.open)

    @property
    def ready(self) -> bool:
        """Whether the table can be taken in as it stands."""
        return self.rows is not None and not self.open_questions

    def preview(self, count: int = 3) -> tuple[RowRead, ...]:
        """True rows of the result: the first, one in the middle, the last."""
        results = self.rows.results if self.rows else ()
        if len(results) <= count:
            return results
        return tuple(results[round(place * (len(results) - 1) / (count - 1))] for place in range(count))


def read_table(
    content: bytes,
    name: str,
    replies: Mapping[str, str] | None = None,
    *,
    columns: Mapping[str, str] | None = None,
    zone: str = "",
    test_named: bool = False,
) -> TableReading:
    """Read a table as well as it can be, and say what only a person can settle.

    Parameters
    ----------
    content, name
        The file's bytes and its name: text with any mark between columns, or a spreadsheet.
    replies
        Answers to questions, by their key.
    columns
        What columns mean, where the guess is wrong: name to `field` or `field [unit]`.
    zone
        Time zone of the person who asks; the default of clock times without one.
    test_named
        Whether the person names the test whose unit the values have.

    Raises
    ------
    ImportFault
        If it is no table, or too large, or a reply is none.
    """
    if len(content) > MAX_BYTES:
        raise ImportFault(
            f"{name} has {len(content) / 1e6:.0f} MB.",
            "Take a log of this size in with the command `aerobe import`, which reads it piece by piece.",
        )
    replies = dict(replies or {})
    questions = Questions(replies)
    looks = {"hidden": HIDDEN, "struck out": STRUCK}
    sheets, letters, mark, ignored = tables_of(
        content, name, [words for key, words in looks.items() if replies.get(key) == LEAVE_OUT]
    )
    for key, words in looks.items():
        told = [line for line in ignored if words in line]
        if told:
            questions.ask(
                key,
                f"Rows, columns or cells {words}. Do they count?",
                because=" ".join(told)[:300],
                options=(LEAVE_OUT, READ_TOO),
            )
            ignored = [line for line in ignored if line not in told or replies.get(key) == LEAVE_OUT]
    if any(UNSOLVED in line for line in ignored):
        questions.ask(
            "formulas",
            "Formulas of the spreadsheet have no results in the file. Read their cells as empty?",
            because="A program wrote them and never worked them out. Opened and saved by a spreadsheet program, it has them.",
            options=("read them as empty",),
        )
    block = _chosen(sheets, name, questions, ignored)
    if len(block.rows) > MAX_ROWS:
        raise ImportFault(f"{name} has over {MAX_ROWS} rows.", "Split it into several files.")
    asked_as = replies.get("names across", "")
    if block.form == "plate":
        shape = Wide(form="plate", because="letters down, numbers across", score=0.95)
    else:
        block, shape = lengthened(block, "quantities" if asked_as == "quantities" else "brews" if asked_as else "")
        if shape.names_are and (shape.form != "long" or shape.names_are == "quantities"):
            _ask_names(shape, questions)
    block = with_moments(plate_block(block, questions))
    found = _with_replies(columns_of(block), dict(columns or {}), replies, block)
    found = _with_names_across(found, shape, asked_as)
    block = without_sums(block, found)
    block = filled_down(block, found, questions)
    found, way = settled_way(block, found, questions, shape=shape, zone=zone, test_named=test_named)
    if any(question.key == "table" and question.open for question in questions.asked):
        questions.asked = [question for question in questions.asked if question.key == "table"]  # the rest depends on it
    rows = None if any(question.open for question in questions.asked) else _rows(block, way, questions)
    taken = {
        question.key: question.default
        for question in questions.asked
        if question.key.startswith("column:") and not question.reply
    }
    taken = {key: default for key, default in taken.items() if default}
    if taken:
        # A column that tells rows apart and has a likely meaning: read with it, and say that it was taken.
        again = read_table(content, name, replies | taken, columns=columns, zone=zone, test_named=test_named)
        said = tuple(question for question in questions.asked if question.key in taken)
        return replace(again, questions=(*said, *(item for item in again.questions if item.key not in taken)))
    return TableReading(
        name=name,
        block=block,
        columns=found,
        shape=shape,
        letters=letters,
        mark=mark,
        questions=tuple(questions.asked),
        noted=block.noted,
        ignored=(*ignored, *_ignored(block, found)),
        rows=rows,
        fingerprint=fingerprint_of(block, shape),
    )


def _rows(block: Block, way: Way, questions: Questions) -> RowsRead:
    rows = _with_real_hours(block, way, questions)
    if any(question.key == "no such hour" and question.open for question in questions.asked):
        return named(rows)
    rows = named(with_mean_rows(rows, questions))
    rows = with_roles(rows, questions)
    rows = with_means(rows, questions)
    rows = with_midnights(rows, questions) if way.date else with_half_days(rows, way.zone, questions)
    rows = _checks.far_apart(rows, questions)
    _checks.splits(block, way.columns, rows, questions)
    if not any(question.key.startswith(("column:", "twelve hours")) and question.open for question in questions.asked):
        rows = log_runs(_checks.doubles(rows, questions), questions)
        if not any(question.key.startswith("runs:") and question.open for question in questions.asked):
            rows = _checks.log_doubles(rows, questions)
    return with_temperatures(rows)


def _with_real_hours(block: Block, way: Way, questions: Questions) -> RowsRead:
    """The rows; where clock times lie in an hour that the zone skipped, the clock was not put forward, or the zone is another."""
    rows = read_rows(block, way)
    if not rows.skipped:
        return rows
    said = questions.ask(
        "no such hour",
        f"In {way.zone} clocks skipped an hour in which rows lie. What did this clock do?",
        because="A logger often keeps the time of the winter all year.",
        options=(NEVER_MOVED, LEAVE_OUT),
        rows=rows.skipped,
    )
    if said == NEVER_MOVED:
        return read_rows(block, replace(way, zone=winter_of(way.zone)))
    gone = set(rows.skipped) if said == LEAVE_OUT else set()
    kept = [place for place, number in enumerate(block.numbers) if number not in gone]
    block = replace(block, rows=tuple(block.rows[place] for place in kept), numbers=tuple(block.numbers[place] for place in kept))
    return read_rows(block, way) if gone else rows


NEVER_MOVED = "it kept the time of the winter"


def fingerprint_of(block: Block, shape: Wide) -> str:
    """A name for the shape of a table, so that the next file of this shape is read the same way."""
    names = (
        "\n".join(sorted(folded_name(name) for name in block.header))
        if shape.form == "long"
        else shape.form + "\n" + block.header[0]
    )
    return hashlib.sha256(f"{shape.form}\n{names}".encode()).hexdigest()[:20]


def _chosen(blocks: list[Block], name: str, questions: Questions, ignored: list[str]) -> Block:
    """The one table to read; several with the same names are stacked, several kinds are asked about."""
    if all(block.form == "plate" for block in blocks):
        return _plates(blocks)
    names = _table_names(blocks)
    wished = questions.replies.get("table", "")
    if wished and wished in names:
        ignored += [f"Table '{other}' is not read." for other in names if other != wished]
        return blocks[names.index(wished)]
    if len(blocks) == 1 and not wished:
        return blocks[0]
    if len({block.header for block in blocks}) == 1 and not wished:
        return stacked(blocks, "sheet", [block.sheet or label for block, label in zip(blocks, names, strict=True)])
    questions.ask(
        "table",
        f"{name} holds {len(blocks)} tables. Which is to be taken in?",
        because="They have different columns; take in one after the other.",
        options=tuple(names),
    )
    return blocks[0]


def _table_names(blocks: list[Block]) -> list[str]:
    found: list[str] = []
    for block in blocks:
        stem = block.sheet or "table"
        number = 1 + sum(1 for other in found if other == stem or other.startswith(f"{stem} #"))
        found.append(stem if number == 1 else f"{stem} #{number}")
    return found


def _plates(blocks: list[Block]) -> Block:
    return stacked(blocks, "plate label", [" ".join(block.above) or f"plate {at}" for at, block in enumerate(blocks, 1)])


def _ask_names(shape: Wide, questions: Questions) -> None:
    shown = ", ".join(shape.names[:6]) + (" ..." if len(shape.names) > 6 else "")
    questions.ask(
        "names across",
        f"What are the columns {shown}?",
        because=f"{shape.because[:1].upper()}{shape.because[1:]}.",
        options=("brews", "arms", "bottles", "replicates", "quantities"),
        default=shape.names_are if shape.score >= 0.6 else "",
    )


def _with_names_across(columns: tuple[Column, ...], shape: Wide, said: str) -> tuple[Column, ...]:
    field = {"replicates": "replicate", "arms": "arm", "bottles": "bottle", "brews": "brew"}.get(said or shape.names_are, "brew")
    return tuple(replace(column, field=field) if column.header == LABEL else column for column in columns)


def _with_replies(columns: list[Column], wished: dict[str, str], replies: Mapping[str, str], block: Block) -> tuple[Column, ...]:
    wished |= {key.removeprefix("column:"): said for key, said in replies.items() if key.startswith("column:")}
    by_name = {column.header: column for column in columns}
    for header, meaning in wished.items():
        if header not in by_name:
            raise ImportFault(f"The table has no column '{header}'.", f"Its columns are: {', '.join(by_name)}.")
        by_name[header] = said_column(by_name[header], meaning)
    return tuple(by_name.values())


def _ignored(block: Block, columns: tuple[Column, ...]) -> list[str]:
    said = [
        f"Column '{column.header}' is not used: {column.because or 'its meaning is not known'}."
        for column in columns
        if column.field == "ignore"
    ]
    if block.above:
        lines = "; ".join(line for line in block.above if line)
        said += [f"Lines above the table are not used: {lines[:300]}."] if lines else []
    if block.below:
        said.append(f"Lines between and below the rows are not used: {'; '.join(block.below)[:300]}.")
    return said
