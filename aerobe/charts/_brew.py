"""A brew: living biomass with its band, raw readings and harvest window; oxygen with its forecast and floor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from aerobe.charts._style import FigureTable, Picture, picture, records_of
from aerobe.units import number

if TYPE_CHECKING:
    import altair as alt

    from aerobe.charts._style import Layer

MARKS = {
    "in the fit": ("circle", "@ember"),
    "below detection": ("triangle-down", "@ember"),
    "above range": ("triangle-up", "@ember"),
    "control": ("square", "@slate"),
    "set aside": ("cross", "@soft"),
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
class Window:
    """A span of time to harvest in, and its best moment."""

    from_h: float  # [h]
    to_h: float  # [h]
    best_h: float | None = None  # [h]


def brew_curve(
    *,
    elapsed_h: Sequence[float],
    low: Sequence[float],
    middle: Sequence[float],
    high: Sequence[float],
    points: Sequence[RawPoint] = (),
    window: Window | None = None,
    now_h: float | None = None,
    harvested_h: float | None = None,
    quantity: str = "Living biomass",
    unit: str = "ug C/mL",
    level: str = "90 %",
    name: str = "this brew",
) -> Picture:
    """The curve of a brew: band, raw readings, harvest window.

    Parameters
    ----------
    elapsed_h, low, middle, high
        Times since aeration began [h] and the band and middle of the quantity there, shape (times,). [unit]
    points
        Readings, always shown raw, with the assay's interval where it is known.
    window
        When to harvest, if there is advice. [h]
    now_h
        The present, for a brew under way. [h]
    harvested_h
        When it was harvested, for one that was. [h]
    quantity, unit, level, name
        Words for axis, sentence and table.

    Returns
    -------
    Picture
        One chart, its sentence, and a table of about ten times and of all readings.
    """
    import altair as alt

    x_axis = alt.X("h:Q", title="hours since aeration began", scale=alt.Scale(nice=False), axis=alt.Axis(grid=False))
    curve = alt.InlineData(values=records_of(h=elapsed_h, low=low, middle=middle, high=high))
    y_title = f"{quantity} [{unit}]"
    layers: list[Layer] = []
    if window is not None:
        layers += _window_layers(window)
    layers.append(
        alt.Chart(curve)
        .mark_area(color="@leaf", opacity=0.22)
        .encode(x=x_axis, y=alt.Y("low:Q", title=y_title, scale=alt.Scale(zero=True)), y2="high:Q")
    )
    layers.append(alt.Chart(curve).mark_line(color="@leaf").encode(x=x_axis, y=alt.Y("middle:Q", title=y_title)))
    if now_h is not None:
        layers += _moment_layers(now_h, "now")
    if harvested_h is not None:
        layers += _moment_layers(harvested_h, "harvested", align="right")
    layers += _point_layers(points, x_axis, y_title)
    top = max(range(len(middle)), key=lambda place: middle[place])
    says = f"{quantity} of {name}, with the {level} band: highest near {number(elapsed_h[top])} h at {number(middle[top])} {unit}"
    says += f" ({number(low[top])} to {number(high[top])}). {_points_in_words(points)}"
    if window is not None:
        best = f", best {number(window.best_h)} h" if window.best_h is not None else ""
        says += f" Harvest window {number(window.from_h)} to {number(window.to_h)} h{best}."
    if harvested_h is not None:
        says += f" Harvested at {number(harvested_h)} h."
    figures = _curve_table(elapsed_h, low, middle, high, points, f"{quantity} [{unit}]", level)
    return picture(alt.layer(*layers), title=f"{quantity}: {name}", says=says, figures=figures)


def oxygen_curve(
    *,
    logged_h: Sequence[float] = (),
    logged_mg_per_l: Sequence[float] = (),
    forecast_h: Sequence[float] = (),
    low_mg_per_l: Sequence[float] = (),
    middle_mg_per_l: Sequence[float] = (),
    high_mg_per_l: Sequence[float] = (),
    floor_mg_per_l: float | None = None,
    saturation_mg_per_l: float | None = None,
    now_h: float | None = None,
    window: Window | None = None,
    level: str = "90 %",
    name: str = "this brew",
) -> Picture:
    """Dissolved oxygen: the log as it came, the forecast with its band, the floor.

    Parameters
    ----------
    logged_h, logged_mg_per_l
        The probe's log, thinned if it is long, shape (readings,). [h], [mg/L]
    forecast_h, low_mg_per_l, middle_mg_per_l, high_mg_per_l
        The model's band, shape (times,). [h], [mg/L]
    floor_mg_per_l, saturation_mg_per_l
        Lines to judge by. [mg/L]
    now_h, window, level, name
        As in `brew_curve`.

    Raises
    ------
    ValueError
        If there is neither a log nor a forecast.
    """
    import altair as alt

    x_axis = alt.X("h:Q", title="hours since aeration began", scale=alt.Scale(nice=False), axis=alt.Axis(grid=False))
    y_title = "Dissolved oxygen [mg/L]"
    layers: list[Layer] = []
    if window is not None:
        layers += _window_layers(window)
    if len(forecast_h):
        data = alt.InlineData(values=records_of(h=forecast_h, low=low_mg_per_l, middle=middle_mg_per_l, high=high_mg_per_l))
        layers.append(
            alt.Chart(data)
            .mark_area(color="@water", opacity=0.2)
            .encode(x=x_axis, y=alt.Y("low:Q", title=y_title, scale=alt.Scale(zero=True)), y2="high:Q")
        )
        layers.append(
            alt.Chart(data).mark_line(color="@water", strokeDash=[6, 3]).encode(x=x_axis, y=alt.Y("middle:Q", title=y_title))
        )
    if len(logged_h):
        log = alt.InlineData(values=records_of(h=logged_h, oxygen=logged_mg_per_l))
        layers.append(
            alt.Chart(log).mark_line(color="@ink", strokeWidth=1.5).encode(x=x_axis, y=alt.Y("oxygen:Q", title=y_title))
        )
    for value, words, colour in ((floor_mg_per_l, "floor", "@ember"), (saturation_mg_per_l, "in balance with air", "@soft")):
        if value is not None:
            layers += _level_layers(value, words, colour)
    if now_h is not None:
        layers += _moment_layers(now_h, "now")
    if not layers:
        raise ValueError("an oxygen chart needs a log or a forecast")
    says = _oxygen_in_words(logged_h, logged_mg_per_l, forecast_h, low_mg_per_l, middle_mg_per_l, floor_mg_per_l, level, name)
    rows: list[tuple[str | float | None, ...]] = [
        ("logged", h, value, None, None) for h, value in _thinned(logged_h, logged_mg_per_l)
    ]
    rows += [
        ("forecast", forecast_h[i], middle_mg_per_l[i], low_mg_per_l[i], high_mg_per_l[i]) for i in _spread(len(forecast_h), 8)
    ]
    figures = FigureTable(columns=("what", "time [h]", "oxygen [mg/L]", f"{level} from", "to"), rows=tuple(rows))
    return picture(alt.layer(*layers), title=f"Oxygen: {name}", says=says, figures=figures, height_px=230)


def _window_layers(window: Window) -> list[Layer]:
    import altair as alt

    span = alt.InlineData(values=[{"from": window.from_h, "to": window.to_h, "mid": 0.5 * (window.from_h + window.to_h)}])
    band = alt.Chart(span).mark_rect(color="@window", opacity=0.3).encode(x=alt.X("from:Q"), x2="to:Q")
    words = alt.Chart(span).mark_text(text="harvest", baseline="bottom", dy=-3, fontWeight=600).encode(x="mid:Q", y=alt.value(0))
    layers = [band, words]
    if window.best_h is not None:
        best = alt.InlineData(values=[{"h": window.best_h}])
        layers.append(alt.Chart(best).mark_rule(color="@straw", strokeWidth=2).encode(x="h:Q"))
    return layers


def _moment_layers(at_h: float, words: str, *, align: Literal["left", "right"] = "left") -> list[Layer]:
    import altair as alt

    here = alt.InlineData(values=[{"h": at_h}])
    rule = alt.Chart(here).mark_rule(color="@ink", strokeDash=[2, 3]).encode(x="h:Q")
    text = alt.Chart(here).mark_text(text=words, align=align, dx=4 if align == "left" else -4, baseline="top")
    return [rule, text.encode(x="h:Q", y=alt.value(2))]


def _level_layers(value: float, words: str, colour: str) -> list[Layer]:
    import altair as alt

    here = alt.InlineData(values=[{"y": value}])
    rule = alt.Chart(here).mark_rule(color=colour, strokeDash=[8, 4], strokeWidth=1.5).encode(y="y:Q")
    text = alt.Chart(here).mark_text(text=f"{words} {number(value)}", align="right", dy=-7).encode(x=alt.value("width"), y="y:Q")
    return [rule, text]


def _point_layers(points: Sequence[RawPoint], x_axis: alt.X, y_title: str) -> list[Layer]:
    import altair as alt

    if not points:
        return []
    data = alt.InlineData(
        values=records_of(
            h=[point.elapsed_h for point in points],
            value=[point.value for point in points],
            low=[point.low for point in points],
            high=[point.high for point in points],
            kind=[point.kind for point in points],
        )
    )
    kinds = [kind for kind in MARKS if any(point.kind == kind for point in points)]
    legend = alt.Legend(title=None) if len(kinds) > 1 else None
    shape = alt.Shape("kind:N", scale=alt.Scale(domain=kinds, range=[MARKS[kind][0] for kind in kinds]), legend=legend)
    colour = alt.Color("kind:N", scale=alt.Scale(domain=kinds, range=[MARKS[kind][1] for kind in kinds]), legend=legend)
    bars = (
        alt.Chart(data)
        .transform_filter("datum.low != null")
        .mark_rule(strokeWidth=1.5)
        .encode(x=x_axis, y=alt.Y("low:Q", title=y_title), y2="high:Q", color=colour)
    )
    marks = (
        alt.Chart(data)
        .mark_point(filled=True, size=90, opacity=1, stroke="@paper", strokeWidth=1)
        .encode(
            x=x_axis,
            y=alt.Y("value:Q", title=y_title),
            shape=shape,
            color=colour,
            tooltip=[alt.Tooltip("h:Q", title="hours"), alt.Tooltip("value:Q"), alt.Tooltip("kind:N")],
        )
    )
    return [bars, marks]


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
        says += f" Forecast lowest {number(middle[place])} mg/L near {number(forecast_h[place])} h ({level} band down to "
        says += f"{number(min(low))})."
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
