"""A test's certificate in pictures: what a reading means, what colour adds, and two tests side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from aerobe.charts._look import series_keys, series_looks
from aerobe.charts._plot import Axis, Chart, CourseLine, FilledBand, Follow, Intervals, Key, Mark, PointMarks, Rule, Span
from aerobe.charts._style import FigureTable, Picture
from aerobe.records import AssayError
from aerobe.units import number

if TYPE_CHECKING:
    from aerobe.assay import Certificate, PhaseBias

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
    from aerobe.assay import biomass_from_reading, decision_limit

    unit = certificate.study.unit
    highest = top or certificate.study.scale_high or max(item.signal for item in certificate.study.readings)
    readings = np.linspace(0.0, highest, 61)
    means = [biomass_from_reading(error, float(reading), level=certificate.level) for reading in readings]
    # A band without an upper end is drawn to the edge of the picture; the table says 'unbounded'.
    edge = 2.0 * highest
    low, high = [item.low for item in means], [min(item.high, edge) for item in means]
    middle, at = [max(0.0, item.value) for item in means], readings.tolist()
    floor = error.bias + decision_limit(error)
    plot = Chart(
        x=Axis(title=f"reading [{unit}]", low=0.0, high=highest),
        y=Axis(title=f"Biomass [{unit}]", from_zero=True),
        marks=(
            Span(low=0.0, high=floor, colour="slate", edge="slate", opacity=0.15),
            FilledBand(x=at, low=low, high=high, colour="leaf", opacity=0.25),
            CourseLine(x=at, y=middle, colour="leaf"),
            Rule(at=floor, along="x", colour="ember", dash=(8, 4), words=f"below {number(floor)}: no microbes shown"),
        ),
        follows=(Follow(name="biomass", unit=unit, x=at, middle=middle, low=low, high=high),),
    )
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
    return Picture(title="What a reading means", says=says, figures=figures, plot=plot)


def colour_without_cells(certificate: Certificate) -> Picture | None:
    """Readings without living cells against their colour, with the fitted lines; nothing if the study had none."""
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
    looks = series_looks(names)
    reach = max(item.colour for item in dark)
    marks: list[Mark] = []
    for name, look in looks.items():
        if name in fit.names:
            ends = [fit.bias_at(name, colour)[0] for colour in (0.0, reach)]
            marks.append(CourseLine(x=(0.0, reach), y=ends, colour=look.colour, dash=look.dash))
    for name, look in looks.items():
        mine = [item for item in dark if (item.what or _NO_COLOUR) == name]
        words = tuple(f"{name}, {item.role}: {number(item.signal)} {unit}" for item in mine)
        at, signals = [item.colour for item in mine], [item.signal for item in mine]
        marks.append(PointMarks(x=at, y=signals, colour=look.colour, shape=look.shape, opacity=0.8, words=words))
    plot = Chart(
        x=Axis(title="colour of the liquid [as measured]", from_zero=True),
        y=Axis(title=f"Reading [{unit}]", from_zero=True),
        marks=tuple(marks),
        keys=series_keys(looks),
    )
    parts = [f"{name} {number(slope)}" for name, slope in zip(fit.names, fit.slopes, strict=True)]
    says = f"Readings without living cells rise with colour; per unit of colour: {', '.join(parts)} {unit}."
    rows = tuple((name, slope, fit.slope(name)[1]) for name, slope in zip(fit.names, fit.slopes, strict=True))
    figures = FigureTable(
        columns=("liquid", f"bias per unit of colour [{unit}]", "standard uncertainty"),
        rows=rows,
        caption=f"Background without colour: {number(fit.background)} {unit}",
    )
    return Picture(title="What colour adds", says=says, figures=figures, plot=plot)


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
    top = float(max(*first, *second))
    looks = series_looks(("equal", "fitted"))
    ends = {"equal": (0.0, top), "fitted": (intercept, intercept + slope * top)}
    plot = Chart(
        x=Axis(title=f"{names[0]} [{unit}]", from_zero=True),
        y=Axis(title=f"{names[1]} [{unit}]", from_zero=True),
        marks=(
            *(CourseLine(x=(0.0, top), y=ends[name], colour=look.colour, dash=look.dash) for name, look in looks.items()),
            PointMarks(x=first, y=second, colour="ink"),
        ),
        keys=(*series_keys(looks, with_shape=False), Key(name="sample", colour="ink", shape="circle")),
    )
    says = (
        f"{len(first)} samples by both tests; the fitted line is {names[1]} = {number(intercept)} + {number(slope)} x {names[0]}."
    )
    figures = FigureTable(
        columns=(f"{names[0]} [{unit}]", f"{names[1]} [{unit}]"),
        rows=tuple(zip(map(float, first), map(float, second), strict=True)),
    )
    return Picture(title=f"{names[0]} and {names[1]}", says=says, figures=figures, plot=plot)


def ratio_by_phase(found: PhaseBias, *, names: tuple[str, str]) -> Picture:
    """Ratio of two tests by phase of growth and food, with intervals, on a log scale."""
    foods = list(dict.fromkeys(row[0] for row in found.ratios))[:6]
    looks = series_looks(foods)
    phases = list(dict.fromkeys(row[1] for row in found.ratios if row[0] in looks))
    marks: list[Mark] = [Rule(at=1.0, along="y", dash=(2, 2))]
    for number_of, (food, look) in enumerate(looks.items()):
        mine = [row for row in found.ratios if row[0] == food]
        at = [phases.index(row[1]) + 0.7 * ((number_of + 0.5) / len(looks) - 0.5) for row in mine]
        words = tuple(f"{food}, {row[1]}: {number(row[2])} ({number(row[3])} to {number(row[4])})" for row in mine)
        marks.append(Intervals(at=at, low=[row[3] for row in mine], high=[row[4] for row in mine], colour=look.colour))
        marks.append(PointMarks(x=at, y=[row[2] for row in mine], colour=look.colour, shape=look.shape, words=words))
    plot = Chart(
        x=Axis(title="phase", kind="names", names=tuple(phases), has_grid=False),
        y=Axis(title=f"{names[0]} over {names[1]} [-]", kind="log"),
        marks=tuple(marks),
        keys=series_keys(looks, with_dash=False),
    )
    figures = FigureTable(columns=("food", "phase", "ratio", "low", "high"), rows=tuple(found.ratios))
    title = f"{names[0]} over {names[1]}, by phase"
    return Picture(title=title, says=f"{names[0]} over {names[1]}: {found.says}", figures=figures, plot=plot)
