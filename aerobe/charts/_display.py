"""A plot and its figures in display units: axes, marks and words together, so that a drawing never mixes two units."""

from __future__ import annotations

from dataclasses import replace

from aerobe.charts._plot import Axis, Chart, CourseLine, FilledBand, Floats, Follow, Intervals, Mark, PointMarks, Rule
from aerobe.units import DisplayUnits, Scale, head_scale, number, shown_text, with_unit


def plot_in(units: DisplayUnits, plot: Chart, about: str) -> Chart:
    """The same plot in display units; `about` says what its axes measure where their titles are bare units."""
    x, y = (_scale_of(units, axis, about) for axis in (plot.x, plot.y))
    return replace(
        plot,
        x=_axis(units, plot.x, x),
        y=_axis(units, plot.y, y),
        marks=tuple(_mark(units, mark, x, y, about) for mark in plot.marks),
        keys=tuple(replace(key, name=shown_text(units, key.name, about)) for key in plot.keys),
        follows=tuple(_follow(units, item, x, about) for item in plot.follows),
    )


def _scale_of(units: DisplayUnits, axis: Axis, about: str) -> Scale | None:
    return None if axis.is_share or axis.kind == "names" or axis.begin is not None else head_scale(units, axis.title, about)


def _axis(units: DisplayUnits, axis: Axis, scale: Scale | None) -> Axis:
    axis = replace(axis, names=tuple(shown_text(units, name) for name in axis.names))
    if scale is None:
        return axis
    return replace(
        axis,
        title=with_unit(axis.title, scale.unit),
        low=None if axis.low is None else scale.shown(axis.low),
        high=None if axis.high is None else scale.shown(axis.high),
        ticks=tuple(_shown(axis.ticks, scale)),
    )


def _shown(values: Floats, scale: Scale | None) -> Floats:
    return values if scale is None else [scale.shown(float(value)) for value in values]


def _mark(units: DisplayUnits, mark: Mark, x: Scale | None, y: Scale | None, about: str) -> Mark:
    if isinstance(mark, FilledBand):
        return replace(mark, x=_shown(mark.x, x), low=_shown(mark.low, y), high=_shown(mark.high, y))
    if isinstance(mark, CourseLine):
        return replace(mark, x=_shown(mark.x, x), y=_shown(mark.y, y))
    if isinstance(mark, PointMarks):
        words = tuple(shown_text(units, item, about) for item in mark.words)
        return replace(mark, x=_shown(mark.x, x), y=_shown(mark.y, y), words=words)
    along, across = (x, y) if mark.along == "x" else (y, x)
    if isinstance(mark, Intervals):
        return replace(mark, at=_shown(mark.at, across), low=_shown(mark.low, along), high=_shown(mark.high, along))
    words_shown = shown_text(units, mark.words, about)
    if isinstance(mark, Rule):
        at, bare = _shown([mark.at], along)[0], number(mark.at)
        if along is not None and mark.words.endswith(f" {bare}"):  # the words end in the value itself: floor 2
            head = shown_text(units, mark.words.removesuffix(bare), about)
            words_shown = head + units.decimals(number(at, 2 if along.unit.startswith("%") else 3))
        return replace(mark, at=at, words=words_shown)
    low, high = _shown([mark.low, mark.high], along)
    return replace(mark, low=low, high=high, words=words_shown)


def _follow(units: DisplayUnits, item: Follow, x: Scale | None, about: str) -> Follow:
    scale = head_scale(units, item.unit, f"{about} {item.name}")
    return replace(
        item,
        unit=scale.unit if scale else item.unit,
        x=_shown(item.x, x),
        middle=_shown(item.middle, scale),
        low=_shown(item.low, scale),
        high=_shown(item.high, scale),
    )
