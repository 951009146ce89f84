"""What a person says about a table before it is taken in, and what was said about the last one of this shape."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from aerobe.notebook import Notebook, Pen
from aerobe.tables import TableReading

SHAPE = "shape of a table"
# Answers about rows of one file say nothing about the next.
_OF_ONE_FILE = (
    "rows ",
    "doubles",
    "log doubles",
    "far off",
    "far apart",
    "twelve hours",
    "hidden",
    "struck out",
    "flag:",
    "no reading:",
    "fill:",
    "date",
    "hour",
    "layout",
    "brew of ",
    "table",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What a person says about a table before it is taken in; all of it may be left out.

    `columns` maps a column's name to its meaning: `{"DO": "oxygen [mg/L]"}`. `replies` answer questions of the preview by
    their key. `brew` and `assay` name, by key, where rows belong that do not say so themselves. `started_at` is when the air
    went on, for brews the table begins. `zone` is said for the table; `own_zone` is that of the person's own clock, and only
    offered.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    replies: Mapping[str, str] = field(default_factory=dict)
    brew: str = ""
    assay: str = ""
    trial: str = ""
    zone: str = ""
    own_zone: str = ""
    day_first: bool | None = None
    decimal_comma: bool | None = None
    started_at: datetime | None = None
    sheet: str = ""
    at_h: float | None = None  # when rows without a time were sampled [h]

    def answers(self) -> dict[str, str]:
        """All that was said as answers to questions, by key."""
        said = dict(self.replies)
        if self.zone:
            said["zone"] = self.zone
        if self.day_first is not None:
            said["day first"] = "yes" if self.day_first else "no"
        if self.decimal_comma is not None:
            said["decimal"] = "comma" if self.decimal_comma else "point"
        if self.sheet:
            said["table"] = self.sheet
        if self.at_h is not None:
            said["hour"] = f"{self.at_h!r} h"
        return said


def remembered(notebook: Notebook, fingerprint: str) -> tuple[dict[str, str], dict[str, str]]:
    """Meanings of columns and answers that the last table of this shape was taken in with."""
    held = notebook.kept(SHAPE, fingerprint)
    if not held:
        return {}, {}
    payload = held[-1].payload
    return dict(payload["columns"]), dict(payload["replies"])


def remember(notebook: Notebook, pen: Pen, reading: TableReading, wishes: Wishes, *, now: datetime, who: str) -> None:
    """Keep what was said about a table for the next one of its shape."""
    answered = {question.key: question.reply for question in reading.questions if question.reply}
    replies = {key: said for key, said in answered.items() if not key.startswith(_OF_ONE_FILE)}
    payload = {"columns": dict(wishes.columns), "replies": replies}
    if (replies or wishes.columns) and remembered(notebook, reading.fingerprint) != (payload["columns"], replies):
        pen.keep(SHAPE, reading.fingerprint, payload, at=now, who=who)
