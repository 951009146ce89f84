"""Ratios with their intervals, one a row; the funnel of trials; and the raw points of arms side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from aerobe.charts._look import SHAPES
from aerobe.charts._plot import Axis, Chart, CourseLine, Intervals, Key, Mark, PointMarks, Rule, Span
from aerobe.charts._style import FigureTable, Picture, folded
from aerobe.units import number, ratio_of

ROW_PX = 46  # a label and its interval under it


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioRow:
    """One line of a chart of ratios. A ratio of None was not to be told and keeps its line."""

    label: str
    ratio: float | None  # [-]
    low: float | None = None
    high: float | None = None
    weight: float | None = None  # share in the pool [%]
    is_pooled: bool = False
    outer_low: float | None = None  # where a next trial may lie
    outer_high: float | None = None


def forest(
    rows: Sequence[RatioRow],
    *,
    title: str,
    says: str,
    margin_ratio: float | None = None,
    level: str = "95 %",
    axis: str = "ratio (log scale)",
) -> Picture:
    """Ratios with intervals on a log scale: trials and their pool, or comparisons of a trial.

    Parameters
    ----------
    rows
        Top to bottom. Pooled rows are drawn as diamonds with a thin line for a next trial.
    title, says
        Heading and sentence.
    margin_ratio
        Differences within this factor are drawn as a shaded strip. [-]
    level, axis
        Words for the table and the axis.

    Raises
    ------
    ValueError
        If there is no ratio to draw.
    """
    shown = [(place, row, row.ratio) for place, row in enumerate(rows) if row.ratio is not None]
    if not shown:
        raise ValueError("no ratio to draw")
    low, high = _reach([row for _, row, _ in shown], margin_ratio)
    marks: list[Mark] = []
    if margin_ratio is not None and margin_ratio > 1.0:
        marks.append(Span(low=1.0 / margin_ratio, high=margin_ratio, opacity=0.25))
    marks.append(Rule(at=1.0, along="x", colour="ink", width=1.0))
    for place, row, ratio in shown:
        marks += _row_marks(float(place), row, ratio)
    cut = [(place, row) for place, row, _ in shown if _is_cut(row, low, high)]
    for shape, edge, gone in (
        ("triangle-left", low, [place for place, row in cut if min(_ends(row)) < low]),
        ("triangle-right", high, [place for place, row in cut if max(_ends(row)) > high]),
    ):
        if gone:
            marks.append(PointMarks(x=[edge] * len(gone), y=gone, colour="ember", shape=shape))
    if cut:
        says += f" Cut at the edge of the chart (arrow), whole in the table: {', '.join(row.label for _, row in cut)}."
    table = FigureTable(
        columns=("what", "ratio [-]", f"{level} from", "to", "weight [%]"),
        rows=tuple((row.label, row.ratio, row.low, row.high, row.weight) for row in rows),
    )
    plot = Chart(
        x=Axis(title=axis, kind="log", low=low, high=high, ticks=tuple(_ticks(low, high))),
        y=Axis(kind="names", names=tuple(row.label for row in rows), is_reversed=True),
        marks=tuple(marks),
        height_px=ROW_PX * len(rows),
    )
    return Picture(title=title, says=says, figures=table, plot=plot)


def _row_marks(place: float, row: RatioRow, ratio: float) -> list[Mark]:
    """The interval of a row and its ratio on it: a square as large as its weight, or the diamond of a pool."""
    at, marks = (place,), list[Mark]()
    if row.outer_low is not None and row.outer_high is not None:
        marks.append(
            Intervals(at=at, low=(row.outer_low,), high=(row.outer_high,), along="x", colour="water", dash=(4, 3), width=1.5)
        )
    if row.low is not None and row.high is not None:
        marks.append(Intervals(at=at, low=(row.low,), high=(row.high,), along="x", colour="leaf"))
    if row.is_pooled:
        marks.append(PointMarks(x=(ratio,), y=at, colour="ember", shape="diamond", radius=7.0))
    else:
        radius = math.sqrt((50.0 + 3.7 * (row.weight or 0.0)) / math.pi)
        marks.append(PointMarks(x=(ratio,), y=at, colour="leaf", shape="square", radius=radius))
    return marks


def funnel(
    effects: Sequence[float],
    errors: Sequence[float],
    labels: Sequence[str],
    *,
    pooled: float,
    title: str = "Large and small trials",
) -> Picture:
    """Effect against standard error: without a lean, trials fill both sides of the funnel alike.

    Parameters
    ----------
    effects, errors, labels
        One a trial, shape (trials,). [ln ratio]
    pooled
        The pooled effect. [ln ratio]
    """
    top = 1.05 * max(errors)
    ratios, middle = [ratio_of(effect) for effect in effects], ratio_of(pooled)
    marks: list[Mark] = [
        CourseLine(
            x=[ratio_of(pooled + sign * 1.96 * error) for error in (0.0, top)],
            y=(0.0, top),
            colour="soft",
            dash=(4, 3),
            width=1.5,
        )
        for sign in (-1, 1)
    ]
    marks += [
        Rule(at=middle, along="x", colour="ember"),
        PointMarks(x=ratios, y=errors, colour="leaf", opacity=0.9, words=tuple(labels)),
    ]
    outside = sum(abs(effect - pooled) > 1.96 * error for effect, error in zip(effects, errors, strict=True))
    says = f"{len(effects)} trials around a pooled ratio of {number(ratio_of(pooled))}; {outside} lie outside the funnel in "
    says += "which 19 of 20 would lie if trials did not differ."
    table = FigureTable(
        columns=("trial", "ratio [-]", "standard error of ln ratio"), rows=tuple(zip(labels, ratios, errors, strict=True))
    )
    plot = Chart(
        x=Axis(title="ratio (log scale)", kind="log", has_grid=False),
        y=Axis(title="standard error of ln ratio", low=0.0, high=top, is_reversed=True),
        marks=tuple(marks),
    )
    return Picture(title=title, says=says, figures=table, plot=plot)


def arm_points(
    arms: Sequence[str],
    values: Sequence[float],
    blocks: Sequence[str],
    labels: Sequence[str],
    *,
    quantity: str,
    unit: str,
    log_scale: bool = True,
) -> Picture:
    """The result of every brew, side by side by arm, with the middle of each arm: nothing is hidden behind a mean.

    Parameters
    ----------
    arms, values, blocks, labels
        One a brew, shape (brews,). [unit]
    quantity, unit
        Words for the axis.
    log_scale
        Whether ratios matter, so that the middle is the geometric mean.
    """
    order = list(dict.fromkeys(arms))
    named = [block or "no block" for block in blocks]
    middles = {arm: _middle([value for one, value in zip(arms, values, strict=True) if one == arm], log_scale) for arm in order}
    several = list(dict.fromkeys(named))
    shapes = {block: SHAPES[place % len(SHAPES)] for place, block in enumerate(several)}
    marks: list[Mark] = [PointMarks(x=range(len(order)), y=list(middles.values()), colour="ember", shape="tick", radius=5.5)]
    for block, shape in shapes.items():
        mine = [place for place, one in enumerate(named) if one == block]
        marks.append(
            PointMarks(
                x=[order.index(arms[place]) for place in mine],
                y=[values[place] for place in mine],
                colour="leaf",
                shape=shape,
                is_filled=False,
                words=tuple(f"{labels[place]}: {number(values[place])} {unit}" for place in mine),
            )
        )
    keys = [Key(name="middle of an arm", colour="ember", dash=())]
    if len(several) > 1:
        keys += [Key(name=block, colour="leaf", shape=shape, is_filled=False) for block, shape in shapes.items()]
    spread = 0.08 * (max(values) - min(values))
    scale = Axis(low=min(values) - spread, high=max(values) + spread)
    if log_scale:
        scale = Axis(kind="log", low=min(values) / 1.3, high=max(values) * 1.3)
    says = (
        f"{quantity} of {len(values)} brews: "
        + "; ".join(f"{arm} {number(middles[arm])} {unit} in the middle of {list(arms).count(arm)}" for arm in order)
        + "."
    )
    table = FigureTable(
        columns=("brew", "arm", "block", f"{quantity} [{unit}]" if unit else quantity),
        rows=tuple(zip(labels, arms, blocks, values, strict=True)),
    )
    plot = Chart(
        x=Axis(kind="names", names=tuple(folded(arm, max(8, 44 // len(order))) for arm in order), has_grid=False),
        y=replace(scale, title=f"{quantity} [{unit}]" if unit else quantity),
        marks=tuple(marks),
        keys=tuple(keys),
    )
    return Picture(title=f"Every brew: {quantity.lower()}", says=says, figures=table, plot=plot)


def _middle(values: Sequence[float], log_scale: bool) -> float:
    if log_scale:
        return math.exp(sum(math.log(value) for value in values) / len(values))
    return sum(values) / len(values)


def _reach(rows: Sequence[RatioRow], margin: float | None) -> tuple[float, float]:
    """A window that holds every interval, but no further than a factor of 100 past the ratios: one wild trial hides none."""
    ratios = [row.ratio for row in rows if row.ratio is not None]
    ends = [end for row in rows for end in (row.low, row.high, row.outer_low, row.outer_high) if end is not None and end > 0.0]
    low, high = min([*ratios, 1.0]), max([*ratios, 1.0])
    if margin is not None:
        low, high = min(low, 1.0 / margin), max(high, margin)
    return max(min([low, *ends]), low / 100.0) / 1.15, min(max([high, *ends]), high * 100.0) * 1.15


def _ends(row: RatioRow) -> list[float]:
    return [end for end in (row.low, row.high, row.outer_low, row.outer_high, row.ratio) if end is not None]


def _is_cut(row: RatioRow, low: float, high: float) -> bool:
    return min(_ends(row)) < low or max(_ends(row)) > high


def _ticks(low: float, high: float) -> list[float]:
    """Round ratios within the window: few enough to be read."""
    if high / low < 12.0:
        ticks = [0.2, 0.33, 0.5, 0.67, 0.8, 1.0, 1.25, 1.5, 2.0, 3.0, 5.0]
    elif high / low < 200.0:
        ticks = [0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 10.0, 20.0, 40.0, 100.0]
    else:
        ticks = [10.0**power for power in range(-6, 7)]
    return [tick for tick in ticks if low <= tick <= high]
