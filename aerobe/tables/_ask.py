"""Questions about a table: all of them at once, each with what would be taken, or marked as one that must be answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from aerobe.errors import ImportFault


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing that a table does not settle. `default` is taken if nobody answers; empty: it must be answered."""

    key: str
    asks: str
    because: str = ""
    options: tuple[str, ...] = ()  # empty: free text
    default: str = ""
    rows: tuple[int, ...] = ()  # row numbers of the file that it is about
    reply: str = ""  # what was answered

    @property
    def open(self) -> bool:
        """Whether nothing can be kept before it is answered."""
        return not (self.reply or self.default)

    @property
    def taken(self) -> str:
        """The answer that holds: what was replied, else the default."""
        return self.reply or self.default

    @property
    def says(self) -> str:
        """The question with its reason and rows, as one line."""
        return " ".join(filter(None, (self.asks, self.because, _rows(self.rows))))


def _rows(rows: tuple[int, ...]) -> str:
    if not rows:
        return ""
    shown = ", ".join(map(str, rows[:6])) + (f" and {len(rows) - 6} more" if len(rows) > 6 else "")
    return f"(row {shown})" if len(rows) == 1 else f"(rows {shown})"


class Questions:
    """Collects questions; answers that were given go in at once."""

    def __init__(self, replies: Mapping[str, str]) -> None:
        self.replies = replies
        self.asked: list[Question] = []

    def ask(
        self,
        key: str,
        asks: str,
        *,
        because: str = "",
        options: tuple[str, ...] = (),
        default: str = "",
        rows: tuple[int, ...] = (),
    ) -> str:
        """Ask once, and give what holds: the reply, the default, or nothing yet.

        Raises
        ------
        ImportFault
            If the reply is none of the options.
        """
        reply = self.replies.get(key, "").strip()
        if reply and options and reply not in options:
            raise ImportFault(f"'{reply}' does not answer: {asks}", f"Answer {key} with one of: {', '.join(options)}.")
        if key not in {question.key for question in self.asked}:
            self.asked.append(
                Question(key=key, asks=asks, because=because, options=options, default=default, rows=rows[:50], reply=reply)
            )
        return reply or default
