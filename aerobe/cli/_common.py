"""What all commands share: which notebook, how an answer is printed, the clock."""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from aerobe.records import as_json as plain_json
from aerobe.units import display_units, shown_table, shown_text, signs, use_display_units

if TYPE_CHECKING:
    from aerobe.usecases.notebook import Notebook

NOTEBOOK = Annotated[
    str, Parameter(name=["--notebook", "-n"], env_var="AEROBE_NOTEBOOK", help="File or PostgreSQL address of the notebook.")
]
JSON_ONLY = Annotated[bool, Parameter(name="--json", help="Answer as JSON, for programs.")]


@Parameter(name="*")
@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Options of every command that opens the notebook and answers."""

    notebook: NOTEBOOK = ""
    json: JSON_ONLY = False

    def open(self, *, create: bool = True) -> Notebook:
        """The notebook that was named, or the person's own."""
        from aerobe.usecases.notebook import display_units_of, open_notebook, read_whole_part

        where = self.notebook or str(own_notebook())
        fault = MET_DAMAGE.get()
        if fault is None:
            book = open_notebook(where, at=now(), create=create)
            use_display_units(display_units_of(book))
            return book
        book = read_whole_part(where)
        if not book.damaged:  # what is damaged is another file
            book.close()
            raise fault
        for line in ("This notebook is damaged. Shown is what is whole; nothing can be written.", *listed(book.lost)):
            print(shown(line), file=sys.stderr)
        return book


MET_DAMAGE: ContextVar[Exception | None] = ContextVar("met_damage", default=None)  # what a first try at the command met


def listed(lost: Sequence[str], most: int = 40) -> list[str]:
    """What is lost of a damaged notebook, in lines that somebody can read."""
    return [*lost[:most], *([f"And {len(lost) - most} more."] if len(lost) > most else [])]


# What stands for a sign on a terminal that has none for it.
IN_LETTERS = {
    **{"\u00b5": "u", "\u03bc": "u", "\u00b0": "deg", "\u00b1": "+-", "\u00b2": "2", "\u00b3": "3", "\u00d7": "x"},
    **{"\u2212": "-", "\u2013": "-", "\u2014": "-", "\u2019": "'", "\u2018": "'", "\u201c": '"', "\u201d": '"'},
    **{"\u2026": "...", "\u00a0": " ", "\u202f": " ", "\u00b7": "*", "\u2264": "<=", "\u2265": ">="},
}

OWN = Where()  # the default of the option `where`: the person's own notebook, answer as text


def own_notebook() -> Path:
    """Where a person's notebook lies if none is named."""
    return Path(os.environ.get("AEROBE_HOME", str(Path.home() / ".aerobe"))) / "tea.notebook"


def now() -> datetime:
    """The clock of this machine, with its offset. Only the outer rooms ask for it."""
    return datetime.now().astimezone()


def say(answer: object, *, as_json: bool, text: str | Iterable[str] | None = None) -> None:
    """Print an answer: JSON for programs, or lines for a person."""
    if as_json:
        print(as_text_of_json(json.dumps(plain_json(answer), ensure_ascii=False, indent=2, allow_nan=False)))
        return
    if text is None:
        text = str(answer)
    width = terminal_columns()
    for line in text.splitlines() if isinstance(text, str) else text:
        for part in folded(in_units(line), width):
            print(shown(part))


def as_text_of_json(text: str) -> str:
    """JSON in which signs that would drive a terminal, or turn the line around, stand as escapes; it reads back the same."""
    return "".join(sign if sign == "\n" or sign.isprintable() else json.dumps(sign)[1:-1] for sign in text)


def in_units(line: str) -> str:
    """A line in the units of the notebook and with printed signs, but for a command that is to be typed."""
    return line if line.startswith("  aerobe ") else printable(signs(shown_text(display_units(), line)))


def printable(text: str) -> str:
    """The text with the signs that this terminal has; letters of every keyboard stand for those that it lacks."""
    encoding = sys.stdout.encoding or "ascii"
    return (
        text if _fits(text, encoding) else "".join(sign if _fits(sign, encoding) else IN_LETTERS.get(sign, sign) for sign in text)
    )


def _fits(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def shown(text: str) -> str:
    """A line without signs that would drive the terminal: a note of a stranger must not write over what stands there."""
    return "".join(sign if sign == "\t" or sign.isprintable() else "\ufffd" for sign in text)


def then(*commands: str) -> list[str]:
    """What to type next, each command on a line of its own so that it can be copied."""
    return ["Next:", *(f"  aerobe {command}" for command in commands)]


def terminal_columns() -> int | None:
    """Columns of the terminal; None where the answer goes into a file or to another program."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def folded(line: str, width: int | None) -> list[str]:
    """A line broken between words, what follows set in under it; whole where there is room or nobody looks."""
    if width is None or len(line) <= width or line.startswith("  aerobe "):
        return [line]
    start = len(line) - len(line.lstrip(" -!*"))
    return textwrap.wrap(
        line, width, subsequent_indent=" " * (start or 2), break_long_words=False, break_on_hyphens=False, drop_whitespace=True
    )


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> list[str]:
    """Rows under a head, in columns that line up; an empty list says so.

    Where the terminal is too narrow, heads are folded first, then the widest columns between words, and last at hyphens.
    """
    cells = [[str(cell) for cell in row] for row in rows]
    if not cells:
        return ["(none)"]
    heads, cells = shown_table(display_units(), head, cells)
    head = [printable(signs(name)) for name in heads]
    cells = [[printable(signs(cell)) for cell in row] for row in cells]
    lines = [list(head), *cells]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    room = terminal_columns()
    if room is not None:
        places = range(len(head))
        widths = _narrowed(widths, [max(_longest(head[at], _words), *(len(row[at]) for row in cells)) for at in places], room)
        for pieces in (_words, _parts_of_words):
            widths = _narrowed(widths, [max(_longest(line[at], pieces) for line in lines) for at in places], room)
    return [text for line in lines for text in _row(line, widths)]


def _narrowed(widths: Sequence[int], least: Sequence[int], room: int) -> list[int]:
    """Widths of columns taken from the widest until they fit, none below its least."""
    found = list(widths)
    while sum(found) + 2 * (len(found) - 1) > room:
        slack = [column for column in range(len(found)) if found[column] > least[column]]
        if not slack:
            break
        found[max(slack, key=lambda column: found[column])] -= 1
    return found


def _words(cell: str) -> list[str]:
    # A number with its unit or its interval is read as one.
    return [cell] if re.fullmatch(r"[<>]?[\d.,e+-]+( \([^)]*\)| \S+( \S+)?)?", cell) else cell.split()


def _parts_of_words(cell: str) -> list[str]:
    return [part for word in _words(cell) for part in ([word] if " " in word else re.findall(r"[^-]+-*|-+", word))]


def _longest(cell: str, pieces: Callable[[str], list[str]]) -> int:
    return max((len(piece) for piece in pieces(cell)), default=0)


def _row(cells: Sequence[str], widths: Sequence[int]) -> list[str]:
    parts = [_folded_cell(cell, width) for cell, width in zip(cells, widths, strict=True)]
    height = max(len(part) for part in parts)
    return [
        "  ".join((part[at] if at < len(part) else "").ljust(width) for part, width in zip(parts, widths, strict=True)).rstrip()
        for at in range(height)
    ]


def _folded_cell(cell: str, width: int) -> list[str]:
    if len(cell) <= width:
        return [cell]
    fits = _longest(cell, _words) <= width
    return textwrap.wrap(cell, width, break_long_words=False, break_on_hyphens=not fits)


@contextmanager
def progress(what: str) -> Iterator[None]:
    """A moving line on the terminal for work that may take over two seconds; silent where nobody looks."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    with Progress(
        SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn(), console=Console(stderr=True), transient=True
    ) as bar:
        bar.add_task(what, total=None)
        yield


@contextmanager
def counted(what: str) -> Iterator[Callable[[int, int], None] | None]:
    """A bar for work that says itself how far it is; nothing where nobody looks."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
