"""What all commands share: which notebook, how an answer is printed, the clock."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

from cyclopts import Parameter

from aerobe.records import as_plain

if TYPE_CHECKING:
    from aerobe.desk import Notebook

T = TypeVar("T")


@Parameter(name="*")
@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Options of every command that opens the notebook and answers."""

    notebook: Annotated[
        str, Parameter(name=["--notebook", "-n"], env_var="AEROBE_NOTEBOOK", help="File or PostgreSQL address of the notebook.")
    ] = ""
    json: Annotated[bool, Parameter(name="--json", negative="", help="Answer as JSON, for programs.")] = False

    def open(self, *, create: bool = True) -> Notebook:
        """The notebook that was named, or the person's own."""
        from aerobe.desk import open_notebook

        return open_notebook(self.notebook or str(own_notebook()), at=now(), create=create)


OWN = Where()      # the default of the option `where`: the person's own notebook, answer as text
JSON_ONLY = Annotated[bool, Parameter(name="--json", negative="", help="Answer as JSON, for programs.")]


def own_notebook() -> Path:
    """Where a person's notebook lies if none is named."""
    return Path(os.environ.get("AEROBE_HOME", str(Path.home() / ".aerobe"))) / "tea.notebook"


def now() -> datetime:
    """The clock of this machine, with its offset. Only the outer rooms ask for it."""
    return datetime.now().astimezone()


def say(answer: Any, *, as_json: bool, text: str | Iterable[str] | None = None) -> None:
    """Print an answer: JSON for programs, or lines for a person."""
    if as_json:
        print(json.dumps(as_plain(answer), ensure_ascii=False, indent=2))
        return
    if text is None:
        text = str(answer)
    for line in [text] if isinstance(text, str) else text:
        print(line)


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> list[str]:
    """Rows under a head, in columns that line up; an empty list says so."""
    cells = [[str(cell) for cell in row] for row in rows]
    if not cells:
        return ["(none)"]
    lines = [list(head), *cells]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines]


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


def tracked(items: Sequence[T], what: str) -> Iterable[T]:
    """The items, with a bar on the terminal that says how many are done."""
    if not sys.stderr.isatty():
        return items
    from rich.console import Console
    from rich.progress import track

    return track(items, description=what, console=Console(stderr=True), transient=True)


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
