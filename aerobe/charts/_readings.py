"""Readings of a brew as they are, where there is no curve to lay through them."""

from __future__ import annotations

from collections.abc import Sequence

from aerobe.charts._brew import RawPoint, Window, _point_layers, _window_layers
from aerobe.charts._style import FigureTable, Picture, picture
from aerobe.units import number


def readings_chart(
    points: Sequence[RawPoint],
    *,
    window: Window | None = None,
    quantity: str = "Living biomass",
    unit: str = "ug C/mL",
    name: str = "this brew",
) -> Picture:
    """Raw readings over time, no line between them: nothing is claimed about the time in between.

    Parameters
    ----------
    points
        The readings, at least one.
    window, quantity, unit, name
        As in `brew_curve`.

    Raises
    ------
    ValueError
        If there is no reading.
    """
    import altair as alt

    if not points:
        raise ValueError("a chart of readings needs a reading")
    x_axis = alt.X("h:Q", title="hours since aeration began", scale=alt.Scale(nice=True, zero=True), axis=alt.Axis(grid=False))
    y_title = f"{quantity} [{unit}]"
    layers = [*(_window_layers(window) if window is not None else ()), *_point_layers(points, x_axis, y_title)]
    last = points[-1]
    count = f"{len(points)} reading{'' if len(points) == 1 else 's'}"
    says = (
        f"{count} of {name}, as entered and not corrected. The last: {number(last.value)} {unit} at {number(last.elapsed_h)} h."
    )
    rows = tuple((point.kind, point.elapsed_h, point.value) for point in points)
    return picture(
        alt.layer(*layers),
        title=f"Readings: {name}",
        says=says,
        height_px=230,
        figures=FigureTable(columns=("what", "time [h]", y_title), rows=rows),
    )
