"""Our look, and the way from a chart to a page, an SVG, a PNG and a table of its figures.

A chart is built once, with colour names such as `@leaf` in the place of colours. The page swaps them for the
light or the dark set in the browser; `svg` and `png` swap them here. One chart therefore serves page and report.
Colour never carries a meaning alone: marks also differ in shape, dash or label.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from aerobe.units import number

if TYPE_CHECKING:
    import altair as alt

    Layer = alt.Chart

Look = Literal["light", "dark"]

# Hues keep apart for all three kinds of colour blindness and stand out from their paper; tests/charts holds both.
COLOURS: dict[Look, dict[str, str]] = {
    "light": {
        "paper": "#fffdf8",
        "ink": "#20231f",
        "soft": "#5b6058",
        "grid": "#dcdcd2",
        "leaf": "#1d5c3a",
        "ember": "#c4501b",
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
DASHES: tuple[tuple[int, ...], ...] = ((1, 0), (6, 3), (2, 2), (8, 3, 2, 3), (4, 2), (1, 3))
FONT = "Source Sans Pro, system-ui, Helvetica, Arial, sans-serif"
FONTS_FOLDER = Path(__file__).parent / "fonts"  # ours, so that a report is the same on every machine


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureTable:
    """The numbers of a chart as text, to stand beside it.

    `columns` carry their units; cells are text or numbers. Numbers are written with `aerobe.units.number`.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str | float | None, ...], ...]
    caption: str = ""

    def cells(self) -> list[list[str]]:
        """All cells as text; a missing number is a dash."""
        return [[_cell(item) for item in row] for row in self.rows]

    def as_text(self) -> str:
        """The table in aligned plain text."""
        lines = [list(self.columns), *self.cells()]
        widths = [max(len(line[place]) for line in lines) for place in range(len(self.columns))]
        written = ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines]
        return "\n".join([self.caption, *written] if self.caption else written)


Spec = dict[str, Any]  # of Vega-Lite, a grammar of others


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A chart with its title, the sentence that says what it shows, and its figures.

    `says` is read by a screen reader and printed under the chart. `spec` is Vega-Lite with colour names.
    """

    title: str
    says: str
    spec: Spec
    figures: FigureTable

    def for_page(self) -> Spec:
        """What a page needs to draw the chart live and to follow light and dark: one spec, two sets of colours."""
        spec = {**self.spec, "width": "container", "autosize": {"type": "fit-x", "contains": "padding"}}
        return {
            "title": self.title,
            "says": self.says,
            "spec": spec,
            "looks": {look: {"colours": COLOURS[look], "config": config(look)} for look in COLOURS},
        }

    def spec_in(self, look: Look = "light", *, width_px: int = 640) -> Spec:
        """Plain Vega-Lite with the colours of one look, ready for any renderer."""
        coloured = _swap({**self.spec, "width": width_px}, COLOURS[look])
        return {**coloured, "config": config(look)}

    def svg(self, look: Look = "light", *, width_px: int = 640, background: str | None = None) -> str:
        """The chart as SVG text, drawn without a browser. The same chart gives the same bytes."""
        spec = self.spec_in(look, width_px=width_px)
        if background is not None:
            spec["config"]["background"] = background
        return _converter().vegalite_to_svg(json.dumps(spec))

    def png(self, look: Look = "light", *, width_px: int = 640, scale: float = 2.0) -> bytes:
        """The chart as PNG."""
        return _converter().vegalite_to_png(json.dumps(self.spec_in(look, width_px=width_px)), scale=scale)


def picture(
    chart: alt.Chart | alt.LayerChart | alt.FacetChart, *, title: str, says: str, figures: FigureTable, height_px: int = 280
) -> Picture:
    """A `Picture` from an Altair chart of a single view or of layers.

    Concatenated charts cannot follow the width of a phone; make two pictures instead.
    """
    spec = chart.properties(height=height_px, description=says).to_dict()
    for key in ("config", "$schema", "usermeta"):
        spec.pop(key, None)
    spec = _rounded(spec)
    return Picture(
        title=title, says=says, figures=figures, spec={"$schema": "https://vega.github.io/schema/vega-lite/v6.json", **spec}
    )


def config(look: Look) -> Spec:
    """The Vega-Lite configuration of a look: large type, few lines, room for a thumb."""
    shade = COLOURS[look]
    return {
        "background": shade["paper"],
        "font": FONT,
        "padding": 6,
        "view": {"stroke": None},
        "axis": {
            "labelColor": shade["ink"],
            "titleColor": shade["ink"],
            "labelFontSize": 13,
            "titleFontSize": 13,
            "titleFontWeight": 600,
            "gridColor": shade["grid"],
            "domainColor": shade["soft"],
            "tickColor": shade["soft"],
            "gridDash": [1, 3],
            "tickCount": 6,
            "labelPadding": 5,
            "titlePadding": 8,
            "labelOverlap": True,
        },
        "axisY": {
            "domain": False,
            "ticks": False,
            "titleAnchor": "end",
            "titleAngle": 0,
            "titleAlign": "left",
            "titleY": -22,
            "titleX": 0,
            "titleBaseline": "bottom",
        },
        "legend": {
            "labelColor": shade["ink"],
            "titleColor": shade["ink"],
            "labelFontSize": 13,
            "titleFontSize": 13,
            "orient": "bottom",
            "direction": "horizontal",
            "columns": 2,
            "columnPadding": 28,
            "symbolSize": 110,
            "symbolStrokeWidth": 2,
            "labelLimit": 260,
        },
        "range": {"category": [shade[name] for name in SERIES]},
        "text": {"color": shade["ink"], "fontSize": 13, "font": FONT},
        "rule": {"color": shade["soft"]},
        "errorbar": {"color": shade["soft"]},
        "line": {"strokeWidth": 2.5},
        "point": {"size": 80, "filled": True},
    }


def digits_for(largest: float) -> str:
    """How an axis writes its numbers: long ones short, so that no font makes them run out of the picture."""
    return "~g" if largest < 1e5 else "~s" if largest < 1e9 else "~e"


def folded(label: str, most: int) -> str:
    """A label in lines of at most `most` letters where it has spaces or hyphens to break at; draw it with `FOLDED`."""
    lines = [""]
    for part in re.findall(r"[^\s-]+-?|-", label):
        joined = f"{lines[-1]}{'' if lines[-1].endswith('-') or not lines[-1] else ' '}{part}"
        if lines[-1] and len(joined) > most:
            lines.append(part)
        else:
            lines[-1] = joined
    return "\n".join(lines)


# The expression of an axis that draws folded labels line by line.
FOLDED = "split(datum.label, '\\n')"


def series_scales(names: Sequence[str]) -> Spec:
    """Colour, shape and dash scales for a few named series, by `alt.Scale` keyword: at most six.

    Raises
    ------
    ValueError
        If there are more than six: split the chart.
    """
    if len(names) > len(SERIES):
        raise ValueError(f"{len(names)} series in one chart; at most {len(SERIES)} can be told apart")
    size = len(names)
    return {
        "colour": {"domain": list(names), "range": [f"@{name}" for name in SERIES[:size]]},
        "shape": {"domain": list(names), "range": list(SHAPES[:size])},
        "dash": {"domain": list(names), "range": [list(dash) for dash in DASHES[:size]]},
    }


@cache
def _converter() -> Any:
    import vl_convert

    vl_convert.register_font_directory(str(FONTS_FOLDER))
    return vl_convert


def _cell(item: str | float | None) -> str:
    if item is None:
        return "\u2013"
    return item if isinstance(item, str) else number(float(item))


def _swap(node: Any, shade: dict[str, str]) -> Any:
    if isinstance(node, dict):
        return {key: _swap(item, shade) for key, item in node.items()}
    if isinstance(node, list):
        return [_swap(item, shade) for item in node]
    if isinstance(node, str) and node.startswith("@"):
        return shade.get(node[1:], node)
    return node


def _rounded(node: Any) -> Any:
    """Five digits are finer than a screen and halve the page's weight; what is not a number is left out as null."""
    if isinstance(node, dict):
        return {key: _rounded(item) for key, item in node.items()}
    if isinstance(node, list):
        return [_rounded(item) for item in node]
    if isinstance(node, float):
        return float(f"{node:.5g}") if math.isfinite(node) else None
    return node


def records_of(**columns: Iterable[object]) -> list[dict[str, Any]]:
    """Columns as the list of rows that a chart takes as its data; numpy numbers become plain ones."""
    names = list(columns)
    rows = zip(*(list(column) for column in columns.values()), strict=True)
    return [{name: item.item() if hasattr(item, "item") else item for name, item in zip(names, row, strict=True)} for row in rows]
