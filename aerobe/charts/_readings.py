"""Readings of a brew as they are, where there is no curve to lay through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from aerobe.charts._brew import HarvestSpan, RawPoint, point_keys, point_marks, time_axis, window_keys, window_marks
from aerobe.charts._plot import Axis, Chart
from aerobe.charts._style import FigureTable, Picture
from aerobe.units import number


def readings_chart(
    points: Sequence[RawPoint],
    *,
    window: HarvestSpan | None = None,
    quantity: str = "Living biomass",
    unit: str = "ug C/mL",
    name: str = "this brew",
    begin: datetime | None = None,
) -> Picture:
    """Raw readings over time, no line between them: nothing is claimed about the time in between.

    Parameters
    ----------
    points
        The readings, at least one.
    window, quantity, unit, name, begin
        As in `brew_curve`.

    Raises
    ------
    ValueError
        If there is no reading.
    """
    if not points:
        raise ValueError("a chart of readings needs a reading")
    y_title = f"{quantity} [{unit}]"
    last = points[-1]
    count = f"{len(points)} reading{'' if len(points) == 1 else 's'}"
    says = (
        f"{count} of {name}, as entered and not corrected. The last: {number(last.value)} {unit} at {number(last.elapsed_h)} h."
    )
    rows = tuple((point.kind, point.elapsed_h, point.value) for point in points)
    plot = Chart(
        x=replace(time_axis(begin), from_zero=True),
        y=Axis(title=unit, from_zero=True),
        marks=(*window_marks(window), *point_marks(points, unit)),
        keys=(*point_keys(points), *window_keys(window)),
        height_px=230,
    )
    figures = FigureTable(columns=("what", "time [h]", y_title), rows=rows)
    return Picture(title=f"Readings: {name}", says=says, figures=figures, plot=plot)
