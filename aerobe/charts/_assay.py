"""A test's certificate in pictures: what a reading means, what colour adds, and two tests side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from aerobe.assay import Certificate, PhaseBias, biomass_from_reading, decision_limit
from aerobe.charts._style import FigureTable, Picture, picture, records_of, series_scales
from aerobe.records import AssayError
from aerobe.units import number

_NO_COLOUR = "no colour"


def meaning_of_readings(certificate: Certificate, error: AssayError, *, top: float | None = None) -> Picture:
    """Biomass that a single reading stands for, with its interval, and the stretch that cannot be told from nothing.

    Parameters
    ----------
    certificate
        Of the test.
    error
        For the recipe in question.
    top
        Largest reading shown; the top of the scale or of the study if left out. [unit of the study]
    """
    import altair as alt

    unit = certificate.study.unit
    highest = top or certificate.study.scale_high or max(item.signal for item in certificate.study.readings)
    readings = np.linspace(0.0, highest, 61)
    means = [biomass_from_reading(error, float(reading), level=certificate.level) for reading in readings]
    # A band without an upper end is drawn to the edge of the picture; the table says 'unbounded'.
    edge = 2.0 * highest
    data = alt.InlineData(
        values=records_of(
            reading=readings,
            low=[item.low for item in means],
            high=[min(item.high, edge) for item in means],
            middle=[max(0.0, item.value) for item in means],
        )
    )
    floor = error.bias + decision_limit(error)
    x = alt.X("reading:Q", title=f"reading [{unit}]", scale=alt.Scale(domain=[0, highest], nice=False))
    y_title = f"Biomass [{unit}]"
    blind = alt.Chart(alt.InlineData(values=[{"from": 0.0, "to": floor, "words": "cannot be told from no microbes"}]))
    layers = [
        blind.mark_rect(color="@slate", opacity=0.15).encode(x=alt.X("from:Q", title=f"reading [{unit}]"), x2="to:Q"),
        alt.Chart(data).mark_area(color="@leaf", opacity=0.25).encode(x=x, y=alt.Y("low:Q", title=y_title), y2="high:Q"),
        alt.Chart(data).mark_line(color="@leaf").encode(x=x, y=alt.Y("middle:Q", title=y_title)),
        alt.Chart(alt.InlineData(values=[{"at": floor, "words": f"below {number(floor)}: no microbes shown"}]))
        .mark_text(align="left", baseline="top", dx=5, dy=2)
        .encode(x="at:Q", y=alt.value(0), text="words:N"),
        alt.Chart(alt.InlineData(values=[{"at": floor}])).mark_rule(color="@ember", strokeDash=[8, 4]).encode(x="at:Q"),
    ]
    level = f"{100 * certificate.level:.0f} %"
    shown = means[len(means) // 2]
    says = (
        f"What a single reading means, with its {level} interval: {number(float(readings[len(readings) // 2]))} {unit} "
        f"stands for {number(shown.low)} to {number(shown.high)}. Readings below {number(floor)} cannot be told from no microbes."
    )
    rows = tuple(
        (number(float(readings[place])), item.low, item.high, "yes" if item.told_from_zero else "no")
        for place, item in enumerate(means)
        if place % 6 == 0
    )
    figures = FigureTable(
        columns=(f"reading [{unit}]", f"at least [{unit}]", f"at most [{unit}]", "microbes shown"),
        rows=rows,
        caption=f"{level} interval of a single reading",
    )
    return picture(alt.layer(*layers), title="What a reading means", says=says, figures=figures)


def colour_without_cells(certificate: Certificate) -> Picture | None:
    """Readings without living cells against their colour, with the fitted lines; nothing if the study had none."""
    import altair as alt

    fit = certificate.colour
    if fit is None:
        return None
    unit = certificate.study.unit
    names = [_NO_COLOUR, *fit.names][:6]
    dark = [
        item
        for item in certificate.study.of("water blank", "filtered blank", "killed control", "colourant")
        if not math.isnan(item.colour) and (item.what or _NO_COLOUR) in names
    ]
    scales = series_scales(names)
    points = alt.InlineData(
        values=records_of(
            colour=[item.colour for item in dark],
            signal=[item.signal for item in dark],
            what=[item.what or _NO_COLOUR for item in dark],
            kind=[item.role for item in dark],
        )
    )
    reach = max(item.colour for item in dark)
    shown = [name for name in fit.names if name in names]
    ends = [(name, colour) for name in shown for colour in (0.0, reach)]
    lines = alt.InlineData(
        values=records_of(
            colour=[colour for _, colour in ends], signal=[fit.bias_at(*end)[0] for end in ends], what=[name for name, _ in ends]
        )
    )
    x = alt.X("colour:Q", title="colour of the liquid [as measured]")
    y = alt.Y("signal:Q", title=f"Reading [{unit}]")
    tint = alt.Color("what:N", title=None, scale=alt.Scale(**scales["colour"]))
    layers = [
        alt.Chart(lines)
        .mark_line()
        .encode(x=x, y=y, color=tint, strokeDash=alt.StrokeDash("what:N", title=None, scale=alt.Scale(**scales["dash"]))),
        alt.Chart(points)
        .mark_point(filled=True, opacity=0.8)
        .encode(x=x, y=y, color=tint, shape=alt.Shape("what:N", title=None, scale=alt.Scale(**scales["shape"]))),
    ]
    parts = [f"{name} {number(slope)}" for name, slope in zip(fit.names, fit.slopes, strict=True)]
    says = f"Readings without living cells rise with colour; per unit of colour: {', '.join(parts)} {unit}."
    rows = tuple((name, slope, fit.slope(name)[1]) for name, slope in zip(fit.names, fit.slopes, strict=True))
    figures = FigureTable(
        columns=("liquid", f"bias per unit of colour [{unit}]", "standard uncertainty"),
        rows=rows,
        caption=f"Background without colour: {number(fit.background)} {unit}",
    )
    return picture(alt.layer(*layers), title="What colour adds", says=says, figures=figures)


def two_tests(
    first: Sequence[float], second: Sequence[float], *, slope: float, intercept: float, names: tuple[str, str], unit: str
) -> Picture:
    """Results of two tests on the same samples with the fitted line and the line of equality.

    Parameters
    ----------
    first, second
        Paired results, shape (samples,). [unit]
    slope, intercept
        Of the fitted line.
    """
    import altair as alt

    top = float(max(*first, *second))
    pairs = alt.InlineData(values=records_of(first=first, second=second))
    lines = alt.InlineData(
        values=[
            {"first": x, "second": y, "line": name}
            for name, ends in (
                ("equal", ((0.0, 0.0), (top, top))),
                ("fitted", ((0.0, intercept), (top, intercept + slope * top))),
            )
            for x, y in ends
        ]
    )
    x, y = alt.X("first:Q", title=f"{names[0]} [{unit}]"), alt.Y("second:Q", title=f"{names[1]} [{unit}]")
    scales = series_scales(("equal", "fitted"))
    chart = alt.layer(
        alt.Chart(lines)
        .mark_line()
        .encode(
            x=x,
            y=y,
            color=alt.Color("line:N", title=None, scale=alt.Scale(**scales["colour"])),
            strokeDash=alt.StrokeDash("line:N", title=None, scale=alt.Scale(**scales["dash"])),
        ),
        alt.Chart(pairs).mark_point(color="@ink", filled=True).encode(x=x, y=y),
    )
    says = (
        f"{len(first)} samples by both tests; the fitted line is {names[1]} = {number(intercept)} + {number(slope)} x {names[0]}."
    )
    figures = FigureTable(
        columns=(f"{names[0]} [{unit}]", f"{names[1]} [{unit}]"),
        rows=tuple(zip(map(float, first), map(float, second), strict=True)),
    )
    return picture(chart, title=f"{names[0]} and {names[1]}", says=says, figures=figures)


def ratio_by_phase(found: PhaseBias, *, names: tuple[str, str]) -> Picture:
    """Ratio of two tests by phase of growth and food, with intervals, on a log scale."""
    import altair as alt

    foods = list(dict.fromkeys(row[0] for row in found.ratios))[:6]
    scales = series_scales(foods)
    rows = [row for row in found.ratios if row[0] in foods]
    data = alt.InlineData(
        values=records_of(
            food=[row[0] for row in rows],
            phase=[row[1] for row in rows],
            ratio=[row[2] for row in rows],
            low=[row[3] for row in rows],
            high=[row[4] for row in rows],
        )
    )
    x = alt.X("phase:N", title="phase", sort=list(dict.fromkeys(row[1] for row in rows)), axis=alt.Axis(labelAngle=0))
    offset = alt.XOffset("food:N", sort=foods)
    y_title = f"{names[0]} over {names[1]} [-]"
    y = alt.Y("ratio:Q", title=y_title, scale=alt.Scale(type="log", nice=False, padding=10))
    tint = alt.Color("food:N", title=None, scale=alt.Scale(**scales["colour"]))
    chart = alt.layer(
        alt.Chart(alt.InlineData(values=[{"one": 1.0}])).mark_rule(strokeDash=[2, 2]).encode(y=alt.Y("one:Q", title=y_title)),
        alt.Chart(data)
        .mark_rule(strokeWidth=2)
        .encode(x=x, xOffset=offset, y=alt.Y("low:Q", title=y_title), y2="high:Q", color=tint),
        alt.Chart(data)
        .mark_point(filled=True)
        .encode(x=x, xOffset=offset, y=y, color=tint, shape=alt.Shape("food:N", title=None, scale=alt.Scale(**scales["shape"]))),
    )
    figures = FigureTable(columns=("food", "phase", "ratio", "low", "high"), rows=tuple(found.ratios))
    title = f"{names[0]} over {names[1]}, by phase"
    return picture(chart, title=title, says=f"{names[0]} over {names[1]}: {found.says}", figures=figures)
