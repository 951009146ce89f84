"""Ratios with their intervals, one a row; the funnel of trials; and the raw points of arms side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from aerobe.charts._style import FOLDED, FigureTable, Picture, digits_for, folded, picture, records_of
from aerobe.units import number

if TYPE_CHECKING:
    from aerobe.charts._style import Layer


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
    import altair as alt

    shown = [row for row in rows if row.ratio is not None]
    if not shown:
        raise ValueError("no ratio to draw")
    low, high = _reach(shown, margin_ratio)
    names = {row.label: folded(row.label, 22) for row in rows}
    order, lines = list(names.values()), [line for name in names.values() for line in name.split("\n")]
    x = alt.X(
        "ratio:Q",
        title=axis,
        scale=alt.Scale(type="log", domain=[low, high], nice=False, clamp=True),
        axis=alt.Axis(values=_ticks(low, high), grid=True, format="~g"),
    )
    # Room for a wider font than ours: a browser that lacks ours would cut the labels off.
    room = min(165.0, 7.6 * max(len(line) for line in lines))
    axis_y = alt.Axis(labelExpr=FOLDED, labelLimit=170, labelLineHeight=14, minExtent=room, domain=False, ticks=False)
    y = alt.Y("label:N", sort=order, title=None, axis=axis_y)
    data = alt.InlineData(
        values=records_of(
            label=[names[row.label] for row in shown],
            ratio=[row.ratio for row in shown],
            low=[row.low for row in shown],
            high=[row.high for row in shown],
            weight=[row.weight or 0.0 for row in shown],
            outer_low=[row.outer_low for row in shown],
            outer_high=[row.outer_high for row in shown],
            kind=["pool" if row.is_pooled else "trial" for row in shown],
        )
    )
    layers: list[Layer] = []
    if margin_ratio is not None and margin_ratio > 1.0:
        strip = alt.InlineData(values=[{"from": 1.0 / margin_ratio, "to": margin_ratio}])
        layers.append(alt.Chart(strip).mark_rect(color="@window", opacity=0.25).encode(x=alt.X("from:Q"), x2="to:Q"))
    one = alt.InlineData(values=[{"ratio": 1.0}])
    layers.append(alt.Chart(one).mark_rule(color="@ink", strokeWidth=1).encode(x=x))
    base = alt.Chart(data)
    layers.append(
        base.transform_filter("datum.outer_low != null")
        .mark_rule(color="@water", strokeWidth=1.5, strokeDash=[4, 3])
        .encode(x=alt.X("outer_low:Q"), x2="outer_high:Q", y=y)
    )
    layers.append(
        base.transform_filter("datum.low != null")
        .mark_rule(color="@leaf", strokeWidth=2)
        .encode(x=alt.X("low:Q"), x2="high:Q", y=y)
    )
    layers.append(
        base.transform_filter("datum.kind == 'trial'")
        .mark_point(color="@leaf", shape="square", filled=True, opacity=1)
        .encode(x=x, y=y, size=alt.Size("weight:Q", scale=alt.Scale(domain=[0, 100], range=[50, 420]), legend=None))
    )
    layers.append(
        base.transform_filter("datum.kind == 'pool'")
        .mark_point(color="@ember", shape="diamond", filled=True, size=220, opacity=1)
        .encode(x=x, y=y)
    )
    cut = [row for row in shown if _is_cut(row, low, high)]
    for shape, edge, gone in (
        ("triangle-left", low, [row for row in cut if min(_ends(row)) < low]),
        ("triangle-right", high, [row for row in cut if max(_ends(row)) > high]),
    ):
        if gone:
            arrows = alt.InlineData(values=[{"label": names[row.label], "ratio": edge} for row in gone])
            layers.append(
                alt.Chart(arrows).mark_point(color="@ember", shape=shape, filled=True, size=70, opacity=1).encode(x=x, y=y)
            )
    if cut:
        says += f" Cut at the edge of the chart (arrow), whole in the table: {', '.join(row.label for row in cut)}."
    table = FigureTable(
        columns=("what", "ratio [-]", f"{level} from", "to", "weight [%]"),
        rows=tuple((row.label, row.ratio, row.low, row.high, row.weight) for row in rows),
    )
    row_px = max(28, 8 + 16 * max(name.count("\n") + 1 for name in order))
    return picture(alt.layer(*layers), title=title, says=says, figures=table, height_px=60 + row_px * len(rows))


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
    import altair as alt

    top = 1.05 * max(errors)
    ratios = [math.exp(effect) for effect in effects]
    edge = alt.InlineData(
        values=[
            {"side": side, "ratio": math.exp(pooled + sign * 1.96 * error), "se": error}
            for side, sign in (("left", -1), ("right", 1))
            for error in (0.0, top)
        ]
    )
    dots = alt.InlineData(values=records_of(ratio=ratios, se=errors, label=labels))
    x = alt.X(
        "ratio:Q", title="ratio (log scale)", scale=alt.Scale(type="log", nice=False), axis=alt.Axis(format="~g", grid=False)
    )
    y = alt.Y("se:Q", title="standard error of ln ratio", scale=alt.Scale(reverse=True, domain=[0, top]))
    lines = alt.Chart(edge).mark_line(color="@soft", strokeDash=[4, 3], strokeWidth=1.5).encode(x=x, y=y, detail="side:N")
    middle = alt.Chart(alt.InlineData(values=[{"ratio": math.exp(pooled)}])).mark_rule(color="@ember").encode(x=x)
    points = alt.Chart(dots).mark_point(color="@leaf", filled=True, size=90, opacity=0.9).encode(x=x, y=y)
    outside = sum(abs(effect - pooled) > 1.96 * error for effect, error in zip(effects, errors, strict=True))
    says = f"{len(effects)} trials around a pooled ratio of {number(math.exp(pooled))}; {outside} lie outside the funnel in "
    says += "which 19 of 20 would lie if trials did not differ."
    table = FigureTable(
        columns=("trial", "ratio [-]", "standard error of ln ratio"), rows=tuple(zip(labels, ratios, errors, strict=True))
    )
    return picture(alt.layer(lines, middle, points), title=title, says=says, figures=table)


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
    import altair as alt

    order = list(dict.fromkeys(arms))
    names = {arm: folded(arm, max(10, 75 // len(order))) for arm in order}
    named = [block or "no block" for block in blocks]
    data = alt.InlineData(values=records_of(arm=[names[arm] for arm in arms], value=values, block=named, label=labels))
    middles = {arm: _middle([value for one, value in zip(arms, values, strict=True) if one == arm], log_scale) for arm in order}
    scale = alt.Scale(zero=False, padding=12)
    if log_scale:
        scale = alt.Scale(type="log", nice=False, domain=[min(values) / 1.3, max(values) * 1.3])
    axis_x = alt.Axis(labelAngle=0, labelExpr=FOLDED, labelLimit=170, labelLineHeight=14, labelOverlap=False)
    x = alt.X("arm:N", sort=list(names.values()), title=None, axis=axis_x)
    axis_y = alt.Axis(format=digits_for(max(values)))
    y = alt.Y("value:Q", title=f"{quantity} [{unit}]" if unit else quantity, scale=scale, axis=axis_y)
    several = len(set(blocks)) > 1
    shape = alt.Shape("block:N", title="block", legend=alt.Legend() if several else None)
    bars = (
        alt.Chart(alt.InlineData(values=records_of(arm=list(names.values()), value=list(middles.values()))))
        .mark_tick(color="@ember", thickness=3, size=46)
        .encode(x=x, y=y)
    )
    dots = (
        alt.Chart(data).mark_point(color="@leaf", filled=False, size=90, opacity=1, strokeWidth=2).encode(x=x, y=y, shape=shape)
    )
    says = (
        f"{quantity} of {len(values)} brews: "
        + "; ".join(f"{arm} {number(middles[arm])} {unit} in the middle of {list(arms).count(arm)}" for arm in order)
        + "."
    )
    table = FigureTable(
        columns=("brew", "arm", "block", f"{quantity} [{unit}]" if unit else quantity),
        rows=tuple(zip(labels, arms, blocks, values, strict=True)),
    )
    return picture(alt.layer(bars, dots), title=f"Every brew: {quantity.lower()}", says=says, figures=table)


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
