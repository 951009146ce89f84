"""Our colours, shapes and dashes. Colour never carries a meaning alone: marks also differ in shape, dash or label."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from aerobe.charts._plot import Dash, Key

Look = Literal["light", "dark"]

# Hues keep apart for all three kinds of colour blindness and stand out from their paper; tests/charts holds both, and that the
# style of the pages has the same.
COLOURS: dict[Look, dict[str, str]] = {
    "light": {
        "paper": "#fffdf8",
        "ink": "#20231f",
        "soft": "#5b6058",
        "grid": "#dcdcd2",
        "leaf": "#1d5c3a",
        "ember": "#b0430f",
        "water": "#2a6fdb",
        "plum": "#7d3c98",
        "straw": "#8f7200",
        "slate": "#4f5b66",
        "window": "#e3b23c",
    },
    "dark": {
        "paper": "#171a17",
        "ink": "#eeeee6",
        "soft": "#adb3a8",
        "grid": "#383d37",
        "leaf": "#3fc4a3",
        "ember": "#ff9a5c",
        "water": "#8fa6ff",
        "plum": "#d39ae8",
        "straw": "#e5cb55",
        "slate": "#b9c4cf",
        "window": "#c9962b",
    },
}
SERIES = ("leaf", "ember", "water", "plum", "straw", "slate")
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
DASHES: tuple[Dash, ...] = ((), (6, 3), (2, 2), (8, 3, 2, 3), (4, 2), (1, 3))
FONT = "Source Sans Pro, system-ui, Helvetica, Arial, sans-serif"
FONTS_FOLDER = Path(__file__).parent / "fonts"  # ours, so that a report is the same on every machine


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesLook:
    """How one of several series is drawn."""

    colour: str
    shape: str
    dash: Dash


def series_looks(names: Sequence[str]) -> dict[str, SeriesLook]:
    """Colour, shape and dash of a few named series: at most six.

    Raises
    ------
    ValueError
        If there are more than six: split the chart.
    """
    if len(names) > len(SERIES):
        raise ValueError(f"{len(names)} series in one chart; at most {len(SERIES)} can be told apart")
    return {
        name: SeriesLook(colour=colour, shape=shape, dash=dash)
        for name, colour, shape, dash in zip(names, SERIES, SHAPES, DASHES, strict=False)
    }


def series_keys(looks: dict[str, SeriesLook], *, with_shape: bool = True, with_dash: bool = True) -> tuple[Key, ...]:
    """The legend of named series."""
    return tuple(
        Key(name=name, colour=look.colour, shape=look.shape if with_shape else "", dash=look.dash if with_dash else None)
        for name, look in looks.items()
    )
