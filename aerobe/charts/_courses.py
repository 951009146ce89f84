"""Courses side by side: the readings of every brew of a trial over time, and the calls that past hours would have had."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from aerobe.charts._style import FigureTable, Picture, digits_for, picture, records_of, series_scales
from aerobe.units import number

if TYPE_CHECKING:
    from aerobe.charts._style import Layer

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
    import altair as alt

    arms = list(dict.fromkeys(course.arm for course in courses))
    scales = series_scales(arms)
    rows: list[dict[str, object]] = [
        {"h": hour, "value": value, "arm": course.arm, "brew": course.brew}
        for course in courses
        for hour, value in zip(course.hours, course.values, strict=True)
    ]
    data = alt.Chart(alt.InlineData(values=rows))
    x = alt.X("h:Q", title=_HOURS, scale=alt.Scale(nice=False), axis=alt.Axis(grid=False))
    axis = alt.Axis(format=digits_for(max(value for course in courses for value in course.values)))
    y = alt.Y("value:Q", title=f"{quantity} [{unit}]", scale=alt.Scale(type="log", nice=False), axis=axis)
    colour = alt.Color("arm:N", title=None, scale=alt.Scale(**scales["colour"]))
    shape = alt.Shape("arm:N", title=None, scale=alt.Scale(**scales["shape"]))
    layers = [
        # The dash stands in the mark and not in a scale: a legend of dashed symbols could not be read.
        alt.Chart(alt.InlineData(values=[row for row in rows if row["arm"] == arm]))
        .mark_line(strokeWidth=1.5, opacity=0.7, strokeDash=dash)
        .encode(x=x, y=y, color=colour, detail="brew:N")
        for arm, dash in zip(arms, scales["dash"]["range"], strict=True)
    ]
    layers += [
        data.mark_point(filled=True, size=55, opacity=1).encode(x=x, y=y, color=colour, shape=shape),
    ]
    highest = {course.brew: _highest(course) for course in courses}
    says = f"{quantity} of {len(courses)} brews over time, log scale, as read; lines join readings and claim nothing between. "
    says += (
        "Highest reading: "
        + "; ".join(
            f"{arm} at {' and '.join(f'{number(highest[c.brew][0])} h' for c in courses if c.arm == arm)}" for arm in arms
        )
        + "."
    )
    figures = FigureTable(
        columns=("brew", "arm", "readings", "highest at [h]", f"highest [{unit}]", f"last [{unit}]"),
        rows=tuple((c.brew, c.arm, str(len(c.hours)), *highest[c.brew], c.values[-1]) for c in courses),
    )
    return picture(alt.layer(*layers), title=f"{quantity} over time", says=says, figures=figures, height_px=300)


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
    import altair as alt

    data = alt.Chart(
        alt.InlineData(
            values=records_of(
                asked=[item.asked_h for item in calls],
                low=[item.from_h for item in calls],
                high=[item.to_h for item in calls],
                best=[item.best_h for item in calls],
                call=[item.call for item in calls],
            )
        )
    )
    x = alt.X("asked:Q", title="asked at hour", axis=alt.Axis(grid=False))
    y_title = "Harvest window [h]"
    top = max([item.to_h for item in calls] + [between_h[1], calls[-1].asked_h])
    y_scale = alt.Scale(domain=[0.0, top], nice=False)
    shown = [call for call in CALLS if any(item.call == call for item in calls)]
    colour = alt.Color("call:N", title=None, scale=alt.Scale(domain=shown, range=_marks(shown, ("@leaf", "@water", "@ember"))))
    shapes = _marks(shown, ("circle", "square", "triangle-up"))
    shape = alt.Shape("call:N", title=None, scale=alt.Scale(domain=shown, range=shapes))
    peak = alt.Chart(alt.InlineData(values=[{"low": between_h[0], "high": between_h[1], "at": highest_h}]))
    ends = alt.Chart(alt.InlineData(values=[{"asked": h, "now": h} for h in (calls[0].asked_h, calls[-1].asked_h)]))
    y = alt.Y("low:Q", title=y_title, scale=y_scale)
    layers: list[Layer] = [
        peak.mark_rect(color="@window", opacity=0.3).encode(y=y, y2="high:Q"),
        peak.mark_rule(color="@straw", strokeWidth=2).encode(y=alt.Y("at:Q", title=y_title, scale=y_scale)),
        peak.mark_text(text="highest reading", align="right", dy=-7).encode(x=alt.value("width"), y="at:Q"),
        ends.mark_line(color="@soft", strokeWidth=1.5, strokeDash=[2, 3]).encode(x=x, y=alt.Y("now:Q", title=y_title)),
        data.mark_rule(strokeWidth=5, opacity=0.6).encode(x=x, y=y, y2="high:Q", color=colour),
        data.mark_point(filled=True, size=80, opacity=1).encode(x=x, y=alt.Y("best:Q", title=y_title), color=colour, shape=shape),
    ]
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
    return picture(alt.layer(*layers), title=f"Calls as they would have been: {name}", says=says, figures=figures)


def _marks(shown: Sequence[str], marks: tuple[str, str, str]) -> list[str]:
    return [mark for call, mark in zip(CALLS, marks, strict=True) if call in shown]
