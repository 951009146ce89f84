"""Courses side by side: the readings of every brew of a trial over time, and the calls that past hours would have had."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.charts._look import series_keys, series_looks
from aerobe.charts._plot import Axis, Chart, CourseLine, Intervals, Key, Mark, PointMarks, Rule, Span
from aerobe.charts._style import FigureTable, Picture
from aerobe.units import number

_HOURS = "hours since aeration began"
CALLS = ("harvest now", "wait until", "test at")


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What was read of one brew over time."""

    brew: str
    arm: str
    hours: tuple[float, ...]  # [h]
    values: tuple[float, ...]  # in the unit of the chart, above zero


@dataclass(frozen=True, slots=True, kw_only=True)
class PastCall:
    """What would have been called at a past hour."""

    asked_h: float  # [h]
    call: str  # one of CALLS
    from_h: float  # harvest window [h]
    to_h: float  # [h]
    best_h: float  # [h]


def courses_by_arm(courses: Sequence[Course], *, quantity: str, unit: str) -> Picture:
    """Every brew's readings, joined by straight lines to show which belong together; colour, mark and dash tell the arms apart.

    Parameters
    ----------
    courses
        One a brew, of at most six arms.
    quantity, unit
        Words for the axis.
    """
    looks = series_looks(list(dict.fromkeys(course.arm for course in courses)))
    marks: list[Mark] = []
    for course in courses:
        look = looks[course.arm]
        marks.append(CourseLine(x=course.hours, y=course.values, colour=look.colour, dash=look.dash, width=1.5, opacity=0.7))
    for course in courses:
        look = looks[course.arm]
        words = tuple(f"{course.brew}: {number(value)} {unit}" for value in course.values)
        marks.append(PointMarks(x=course.hours, y=course.values, colour=look.colour, shape=look.shape, radius=4.2, words=words))
    highest = {course.brew: _highest(course) for course in courses}
    says = f"{quantity} of {len(courses)} brews over time, log scale, as read; lines join readings and claim nothing between. "
    says += (
        "Highest reading: "
        + "; ".join(
            f"{arm} at {' and '.join(f'{number(highest[c.brew][0])} h' for c in courses if c.arm == arm)}" for arm in looks
        )
        + "."
    )
    figures = FigureTable(
        columns=("brew", "arm", "readings", "highest at [h]", f"highest [{unit}]", f"last [{unit}]"),
        rows=tuple((c.brew, c.arm, str(len(c.hours)), *highest[c.brew], c.values[-1]) for c in courses),
    )
    plot = Chart(
        x=Axis(title=_HOURS, has_grid=False),
        y=Axis(title=f"{quantity} [{unit}]", kind="log"),
        marks=tuple(marks),
        keys=series_keys(looks),
        height_px=300,
    )
    return Picture(title=f"{quantity} over time", says=says, figures=figures, plot=plot)


def _highest(course: Course) -> tuple[float, float]:
    place = max(range(len(course.values)), key=lambda index: course.values[index])
    return course.hours[place], course.values[place]


def calls_replayed(calls: Sequence[PastCall], *, highest_h: float, between_h: tuple[float, float], name: str) -> Picture:
    """The harvest window that was called at each past hour, against the hour at which the whole record peaks.

    Parameters
    ----------
    calls
        In order of the hour they were asked at.
    highest_h, between_h
        Hour of the highest reading, and the readings before and after it: the peak lies somewhere between. [h]
    name
        Of the brew.
    """
    ends = (calls[0].asked_h, calls[-1].asked_h)
    top = max([item.to_h for item in calls] + [between_h[1], ends[1]])
    marks: list[Mark] = [
        Span(low=between_h[0], high=between_h[1], along="y"),
        Rule(at=highest_h, along="y", colour="straw", width=2.0, words="highest reading"),
        CourseLine(x=ends, y=ends, colour="soft", width=1.5, dash=(2, 3)),
    ]
    keys = []
    for call, colour, shape in zip(CALLS, ("leaf", "water", "ember"), ("circle", "square", "triangle-up"), strict=True):
        mine = [item for item in calls if item.call == call]
        if mine:
            asked = [item.asked_h for item in mine]
            low, high = [item.from_h for item in mine], [item.to_h for item in mine]
            marks.append(Intervals(at=asked, low=low, high=high, colour=colour, width=5.0, opacity=0.6))
            marks.append(PointMarks(x=asked, y=[item.best_h for item in mine], colour=colour, shape=shape))
            keys.append(Key(name=call, colour=colour, shape=shape))
    first = next((item for item in calls if item.call == "harvest now"), None)
    says = f"Harvest windows called for {name} at {len(calls)} past hours, from what was known then. "
    says += f"The highest reading came at {number(highest_h)} h, so the peak lies between {number(between_h[0])} and "
    says += f"{number(between_h[1])} h. "
    says += f"'Harvest now' was first said at {number(first.asked_h)} h." if first else "'Harvest now' was never said."
    says += " On the dotted line the window is now."
    figures = FigureTable(
        columns=("asked at [h]", "call", "window from [h]", "to [h]", "best [h]"),
        rows=tuple((item.asked_h, item.call, item.from_h, item.to_h, item.best_h) for item in calls),
    )
    plot = Chart(
        x=Axis(title="asked at hour", has_grid=False),
        y=Axis(title="Harvest window [h]", low=0.0, high=top),
        marks=tuple(marks),
        keys=tuple(keys),
    )
    return Picture(title=f"Calls as they would have been: {name}", says=says, figures=figures, plot=plot)
