"""A brew: living biomass with its band, raw readings and harvest window; oxygen with its forecast and floor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from aerobe.charts._plot import Axis, Chart, CourseLine, FilledBand, Follow, Intervals, Key, Mark, PointMarks, Rule, Span
from aerobe.charts._style import FigureTable, Picture
from aerobe.units import number

MARKS = {
    "in the fit": ("circle", "ember"),
    "below detection": ("triangle-down", "ember"),
    "above range": ("triangle-up", "ember"),
    "control": ("square", "slate"),
    "set aside": ("cross", "soft"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RawPoint:
    """One reading as it stands in the chart.

    `kind` is one of "in the fit", "below detection", "above range", "control", "set aside".
    """

    elapsed_h: float  # [h]
    value: float  # in the unit of the chart
    low: float | None = None  # interval of the assay, same unit
    high: float | None = None
    kind: str = "in the fit"


@dataclass(frozen=True, slots=True, kw_only=True)
class HarvestSpan:
    """A span of time to harvest in, and its best moment."""

    from_h: float  # [h]
    to_h: float  # [h]
    best_h: float | None = None  # [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What is expected of a quantity over time: its middle and the band around it."""

    elapsed_h: Sequence[float]  # since aeration began [h]
    low: Sequence[float]
    middle: Sequence[float]
    high: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """What stands on the time axis of a brew."""

    begin: datetime | None = None  # when aeration began: the axis then shows clock time, with the hours beside it
    now_h: float | None = None  # the present, for a brew under way [h]
    harvested_h: float | None = None  # for a brew that was [h]
    window: HarvestSpan | None = None  # when to harvest, if there is advice


NO_MOMENTS = Moments()


def brew_curve(
    expected: Expected,
    *,
    points: Sequence[RawPoint] = (),
    moments: Moments = NO_MOMENTS,
    quantity: str = "Living biomass",
    unit: str = "ug C/mL",
    level: str = "90 %",
    name: str = "this brew",
) -> Picture:
    """The curve of a brew: band, raw readings, harvest window.

    Parameters
    ----------
    expected
        The quantity and its band. [unit]
    points
        Readings, always shown raw, with the assay's interval where it is known.
    moments
        Beginning, present, harvest and harvest window.
    quantity, unit, level, name
        Words for axis, sentence and table.

    Returns
    -------
    Picture
        One chart, its sentence, and a table of about ten times and of all readings.
    """
    elapsed_h, low, middle, high = expected.elapsed_h, expected.low, expected.middle, expected.high
    window, harvested_h = moments.window, moments.harvested_h
    marks: list[Mark] = window_marks(window)
    marks += [
        FilledBand(x=elapsed_h, low=low, high=high, colour="leaf", opacity=0.22),
        CourseLine(x=elapsed_h, y=middle, colour="leaf"),
        *_moments(moments),
        *point_marks(points, unit),
    ]
    top = max(range(len(middle)), key=lambda place: middle[place])
    says = f"{quantity} of {name}, with the {level} band: highest near {number(elapsed_h[top])} h at {number(middle[top])} {unit}"
    says += f" ({number(low[top])} to {number(high[top])}). {_points_in_words(points)}"
    if window is not None:
        best = f", best {number(window.best_h)} h" if window.best_h is not None else ""
        says += f" Harvest window {number(window.from_h)} to {number(window.to_h)} h{best}."
    if harvested_h is not None:
        says += f" Harvested at {number(harvested_h)} h."
    figures = _curve_table(elapsed_h, low, middle, high, points, f"{quantity} [{unit}]", level)
    plot = Chart(
        x=time_axis(moments.begin),
        y=Axis(title=unit, from_zero=True),
        marks=tuple(marks),
        keys=(
            Key(name=f"expected, with its {level} band", colour="leaf", dash=()),
            *point_keys(points),
            *window_keys(window),
        ),
        follows=(Follow(name=quantity, unit=unit, x=elapsed_h, middle=middle, low=low, high=high),),
    )
    return Picture(title=f"{quantity}: {name}", says=says, figures=figures, plot=plot)


def oxygen_curve(
    *,
    logged_h: Sequence[float] = (),
    logged_mg_per_l: Sequence[float] = (),
    forecast: Expected | None = None,
    floor_mg_per_l: float | None = None,
    saturation_mg_per_l: float | None = None,
    moments: Moments = NO_MOMENTS,
    level: str = "90 %",
    name: str = "this brew",
) -> Picture:
    """Dissolved oxygen: the log as it came, the forecast with its band, the floor.

    Parameters
    ----------
    logged_h, logged_mg_per_l
        The probe's log, thinned if it is long, shape (readings,). [h], [mg/L]
    forecast
        The model's band. [mg/L]
    floor_mg_per_l, saturation_mg_per_l
        Lines to judge by. [mg/L]
    moments, level, name
        As in `brew_curve`.

    Raises
    ------
    ValueError
        If there is neither a log nor a forecast.
    """
    ahead = forecast or Expected(elapsed_h=(), low=(), middle=(), high=())
    forecast_h, low_mg_per_l, middle_mg_per_l, high_mg_per_l = ahead.elapsed_h, ahead.low, ahead.middle, ahead.high
    if not len(logged_h) and not len(forecast_h):
        raise ValueError("an oxygen chart needs a log or a forecast")
    marks: list[Mark] = window_marks(moments.window)
    keys: list[Key] = []
    follows: list[Follow] = []
    if len(forecast_h):
        marks += [
            FilledBand(x=forecast_h, low=low_mg_per_l, high=high_mg_per_l, colour="water"),
            CourseLine(x=forecast_h, y=middle_mg_per_l, colour="water", dash=(6, 3)),
        ]
        keys.append(Key(name=f"forecast, with its {level} band", colour="water", dash=(6, 3)))
        follows.append(
            Follow(name="forecast", unit="mg/L", x=forecast_h, middle=middle_mg_per_l, low=low_mg_per_l, high=high_mg_per_l)
        )
    if len(logged_h):
        marks.append(CourseLine(x=logged_h, y=logged_mg_per_l, colour="ink", width=1.5))
        keys.append(Key(name="logged", colour="ink", dash=()))
        follows.append(Follow(name="logged", unit="mg/L", x=logged_h, middle=logged_mg_per_l))
    for value, words, colour in ((floor_mg_per_l, "floor", "ember"), (saturation_mg_per_l, "in balance with air", "soft")):
        if value is not None:
            marks.append(Rule(at=value, along="y", colour=colour, dash=(8, 4), words=f"{words} {number(value)}"))
    marks += _moments(moments)
    says = _oxygen_in_words(logged_h, logged_mg_per_l, forecast_h, low_mg_per_l, middle_mg_per_l, floor_mg_per_l, level, name)
    rows: list[tuple[str | float | None, ...]] = [
        ("logged", h, value, None, None) for h, value in _thinned(logged_h, logged_mg_per_l)
    ]
    rows += [
        ("forecast", forecast_h[i], middle_mg_per_l[i], low_mg_per_l[i], high_mg_per_l[i]) for i in _spread(len(forecast_h), 8)
    ]
    figures = FigureTable(columns=("what", "time [h]", "oxygen [mg/L]", f"{level} from", "to"), rows=tuple(rows))
    plot = Chart(
        x=time_axis(moments.begin),
        y=Axis(title="mg/L", from_zero=True),
        marks=tuple(marks),
        keys=tuple(keys),
        follows=tuple(follows),
        height_px=230,
    )
    return Picture(title=f"Dissolved oxygen: {name}", says=says, figures=figures, plot=plot)


def time_axis(begin: datetime | None) -> Axis:
    """Time since aeration began: by the clock where its beginning is known."""
    return Axis(title="" if begin is not None else "hours since aeration began", begin=begin, has_grid=False)


def window_marks(window: HarvestSpan | None) -> list[Mark]:
    """The span to harvest in, named above it, and its best moment."""
    if window is None:
        return []
    marks: list[Mark] = [Span(low=window.from_h, high=window.to_h, words="harvest window")]
    if window.best_h is not None:
        marks.append(Rule(at=window.best_h, along="x", colour="straw", width=2.5))
    return marks


def window_keys(window: HarvestSpan | None) -> list[Key]:
    """The line of the best moment in the legend."""
    return [] if window is None or window.best_h is None else [Key(name="best moment", colour="straw", dash=())]


def _moments(moments: Moments) -> list[Mark]:
    marks: list[Mark] = []
    for at_h, words in ((moments.now_h, "now"), (moments.harvested_h, "harvested")):
        if at_h is not None:
            at_clock = f" {moments.begin + timedelta(hours=at_h):%H:%M}" if moments.begin is not None else ""
            marks.append(Rule(at=at_h, along="x", colour="ink", width=2.0, words=f"{words}{at_clock}", is_flagged=True))
    return marks


def point_marks(points: Sequence[RawPoint], unit: str) -> list[Mark]:
    """Readings by kind, each with its shape, and the interval of the assay where it is known."""
    marks: list[Mark] = []
    for kind, (shape, colour) in MARKS.items():
        mine = [point for point in points if point.kind == kind]
        sure = [(point, point.low, point.high) for point in mine if point.low is not None and point.high is not None]
        if sure:
            marks.append(
                Intervals(
                    at=[point.elapsed_h for point, _, _ in sure],
                    low=[low for _, low, _ in sure],
                    high=[high for _, _, high in sure],
                    colour=colour,
                    width=1.5,
                )
            )
        if mine:
            marks.append(
                PointMarks(
                    x=[point.elapsed_h for point in mine],
                    y=[point.value for point in mine],
                    colour=colour,
                    shape=shape,
                    words=tuple(f"{kind}: {number(point.value)} {unit}" for point in mine),
                )
            )
    return marks


def point_keys(points: Sequence[RawPoint]) -> list[Key]:
    """The kinds of readings there are, for the legend."""
    return [
        Key(name="reading" if kind == "in the fit" else kind, colour=colour, shape=shape)
        for kind, (shape, colour) in MARKS.items()
        if any(point.kind == kind for point in points)
    ]


def _points_in_words(points: Sequence[RawPoint]) -> str:
    used = sum(point.kind == "in the fit" for point in points)
    others = len(points) - used
    if not points:
        return "No reading yet: a forecast from the recipe alone."
    words = f"{used} reading{'' if used == 1 else 's'} in the fit"
    return f"{words}, {others} shown and not in it as plain values." if others else f"{words}."


def _oxygen_in_words(
    logged_h: Sequence[float],
    logged: Sequence[float],
    forecast_h: Sequence[float],
    low: Sequence[float],
    middle: Sequence[float],
    floor: float | None,
    level: str,
    name: str,
) -> str:
    says = f"Dissolved oxygen of {name}."
    if len(logged_h):
        says += f" Lowest logged {number(min(logged))} mg/L; last {number(logged[-1])} mg/L at {number(logged_h[-1])} h."
    if len(forecast_h):
        place = min(range(len(middle)), key=lambda item: middle[item])
        # One brew dips at its own hour, so that what is expected of its lowest lies under the lowest of the middle.
        says += f" The middle of the forecast is lowest near {number(forecast_h[place])} h, at {number(middle[place])} mg/L, its "
        says += f"{level} band reaches down to {number(min(low))} mg/L; one brew dips at an hour of its own, and lower."
    if floor is not None:
        reached = len(forecast_h) and min(low) < floor
        says += f" The floor is {number(floor)} mg/L" + (", which the band reaches." if reached else ".")
    return says


def _curve_table(
    hours: Sequence[float],
    low: Sequence[float],
    middle: Sequence[float],
    high: Sequence[float],
    points: Sequence[RawPoint],
    heading: str,
    level: str,
) -> FigureTable:
    rows: list[tuple[str | float | None, ...]] = [
        (f"reading, {point.kind}", point.elapsed_h, point.value, point.low, point.high) for point in points
    ]
    rows += [("curve", hours[i], middle[i], low[i], high[i]) for i in _spread(len(hours), 9)]
    return FigureTable(columns=("what", "time [h]", heading, f"{level} from", "to"), rows=tuple(rows))


def _spread(size: int, count: int) -> list[int]:
    """Up to `count` places spread evenly over `size`, first and last included."""
    if size <= count:
        return list(range(size))
    return [round(step * (size - 1) / (count - 1)) for step in range(count)]


def _thinned(hours: Sequence[float], values: Sequence[float]) -> list[tuple[float, float]]:
    return [(float(hours[i]), float(values[i])) for i in _spread(len(hours), 8)]
