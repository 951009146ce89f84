"""A few named values side by side, as bars from zero; where values scatter, a line over the stretch that holds half of them."""

from __future__ import annotations

from collections.abc import Sequence

from aerobe.charts._plot import Axis, Chart, Intervals, Mark, PointMarks
from aerobe.charts._style import FigureTable, Picture

ROW_PX = 46
BAR_PX = 14.0


def named_bars(
    names: Sequence[str],
    values: Sequence[float],
    *,
    varied: str,
    measured: str,
    unit: str,
    title: str,
    says: str,
    spread: Sequence[tuple[float, float] | None] = (),
) -> Picture:
    """Bars from zero, one a row.

    Parameters
    ----------
    names, values
        Top to bottom, shape (rows,). [unit]
    varied, measured, unit
        Words for the two axes.
    title, says
        Heading and sentence.
    spread
        The ends of a line over each bar; empty or None for none. [unit]
    """
    lines = [(place, *ends) for place, ends in enumerate(spread) if ends is not None]
    rows = range(len(names))
    marks: list[Mark] = [
        Intervals(at=list(rows), low=[0.0] * len(names), high=list(values), along="x", colour="leaf", width=BAR_PX, opacity=0.45),
        PointMarks(x=list(values), y=list(rows), colour="leaf", shape="diamond", radius=5.0),
    ]
    if lines:
        at, low, high = (list(column) for column in zip(*lines, strict=True))
        marks.insert(1, Intervals(at=at, low=low, high=high, along="x", colour="ink", width=2.0))
    columns = [varied, f"{measured} [{unit}]"]
    cells: list[tuple[str | float | None, ...]] = list(zip(names, values, strict=True))
    if lines:
        ends = {int(place): (a, b) for place, a, b in lines}
        columns += ["half of them from", "to"]
        cells = [(*row, *ends.get(place, (None, None))) for place, row in enumerate(cells)]
    reach = max([*values, *(high for _, _, high in lines)])
    plot = Chart(
        x=Axis(title=f"{measured} [{unit}]", low=0.0, high=1.08 * reach),
        y=Axis(title=varied, kind="names", names=tuple(names), is_reversed=True),
        marks=tuple(marks),
        height_px=ROW_PX * len(names),
    )
    return Picture(title=title, says=says, figures=FigureTable(columns=tuple(columns), rows=tuple(cells)), plot=plot)
