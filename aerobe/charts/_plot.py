"""What a chart is made of: two axes and marks in the order they are drawn. Drawn by `_svg`, for a page and for paper alike.

A mark names its colour (`leaf`), never a shade: the drawing takes the shade of its look. Positions are in the units of the
axes; on an axis of names the first name lies at 0, the next at 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

Along = Literal["x", "y"]
Dash = tuple[int, ...]
Floats = Sequence[float]
SOLID: Dash = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """An axis. Ends that are left out are found from the marks."""

    title: str = ""
    low: float | None = None
    high: float | None = None
    kind: Literal["linear", "log", "names"] = "linear"
    names: tuple[str, ...] = ()  # lines of a long name are divided by a line feed
    begin: datetime | None = None  # clock at zero hours: the axis shows clock time with the hours beside it
    ticks: tuple[float, ...] = ()  # where the usual round numbers will not do
    from_zero: bool = False
    is_share: bool = False  # written as per cent
    is_reversed: bool = False  # zero at the top
    has_grid: bool = True

    @property
    def words(self) -> str:
        """The title as it is drawn: distances on a log scale are ratios, so that it is said wherever there is one."""
        if self.kind != "log" or not self.title or "log scale" in self.title:
            return self.title
        return f"{self.title[:-1]}, log scale]" if self.title.endswith("]") else f"{self.title} (log scale)"


@dataclass(frozen=True, slots=True, kw_only=True)
class FilledBand:
    """A filled stretch between two courses."""

    x: Floats
    low: Floats
    high: Floats
    colour: str
    opacity: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseLine:
    """A course."""

    x: Floats
    y: Floats
    colour: str
    dash: Dash = SOLID
    width: float = 2.5  # [px]
    opacity: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Intervals:
    """Straight bars from `low` to `high` along an axis, one at each place of the other; what is not finite is left out."""

    at: Floats
    low: Floats
    high: Floats
    colour: str
    along: Along = "y"
    dash: Dash = SOLID
    width: float = 2.0  # [px]
    opacity: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PointMarks:
    """Marks of one shape; `words` are read out for each."""

    x: Floats
    y: Floats
    colour: str
    shape: str = "circle"
    radius: float = 5.0  # of a circle of the same area [px]
    is_filled: bool = True
    opacity: float = 1.0
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A shaded stretch of an axis with its edges, and words above it."""

    low: float
    high: float
    along: Along = "x"
    colour: str = "window"
    edge: str = "straw"
    opacity: float = 0.3
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A line across the chart at one value of an axis, with words at its end."""

    at: float
    along: Along
    colour: str = "soft"
    dash: Dash = SOLID
    width: float = 1.5  # [px]
    words: str = ""
    is_flagged: bool = False  # words on a filled flag, to be seen first


Mark = FilledBand | CourseLine | Intervals | PointMarks | Span | Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One entry of the legend: a shape, a dash or both in one colour."""

    name: str
    colour: str
    shape: str = ""
    dash: Dash | None = None
    is_filled: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Follow:
    """A course that the read-out follows under finger or pointer."""

    name: str
    unit: str
    x: Floats
    middle: Floats
    low: Floats = ()
    high: Floats = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A whole chart: marks in the order they are drawn."""

    x: Axis
    y: Axis
    marks: tuple[Mark, ...]
    keys: tuple[Key, ...] = ()
    follows: tuple[Follow, ...] = ()
    height_px: int = 280

    def with_ends(self) -> Chart:
        """The same chart, every end of its axes known. On a log axis what is not above zero is no end."""
        y = _ended(self.y, self._reach("y"))
        if self.y.high is None and y.high is not None and any(isinstance(mark, Rule) and mark.is_flagged for mark in self.marks):
            y = replace(y, high=y.high + 0.1 * (y.high - (y.low or 0.0)))  # room for the flag over the courses
        return replace(self, x=_ended(self.x, self._reach("x")), y=y)

    def _reach(self, along: Along) -> list[float]:
        return [value for mark in self.marks for value in _values(mark, along) if math.isfinite(value)]


def _values(mark: Mark, along: Along) -> Iterator[float]:
    if isinstance(mark, Span | Rule):
        if mark.along == along:
            yield from (mark.low, mark.high) if isinstance(mark, Span) else (mark.at,)
    elif isinstance(mark, Intervals):
        yield from (*mark.low, *mark.high) if mark.along == along else mark.at
    elif along == "x":
        yield from mark.x
    elif isinstance(mark, FilledBand):
        yield from (*mark.low, *mark.high)
    else:
        yield from mark.y


def _ended(axis: Axis, values: list[float]) -> Axis:
    if axis.kind == "names":
        return replace(axis, low=-0.5, high=len(axis.names) - 0.5)
    usable = [value for value in values if value > 0.0] if axis.kind == "log" else values
    low, high = min(usable, default=1.0), max(usable, default=2.0)
    if axis.from_zero:
        low, high = min(0.0, low), max(0.0, high)
    low = low if axis.low is None else axis.low
    high = high if axis.high is None else axis.high
    if axis.kind == "log" and axis.low is None and axis.high is None:
        low, high = low / 1.15, high * 1.15
    if high <= low:  # one value alone still needs an axis around it
        low, high = (
            (low / 2.0, low * 2.0) if axis.kind == "log" else (low - 0.5 * (abs(low) or 1.0), low + 0.5 * (abs(low) or 1.0))
        )
    return replace(axis, low=low, high=high)
