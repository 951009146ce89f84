"""A chart with its title, its sentence and its figures, and the ways it leaves: on a page, as SVG, as PNG."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from aerobe.charts._display import plot_in
from aerobe.charts._look import FONTS_FOLDER, Look
from aerobe.charts._plot import Chart
from aerobe.charts._svg import page_svg, paper_svg, readout_of
from aerobe.units import DisplayUnits, number, shown_markup, shown_table, shown_text


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

    def in_units(self, units: DisplayUnits, about: str = "") -> FigureTable:
        """The same table in display units, its cells as text; `about` says what it is of where its heads do not."""
        if (units.is_house and not units.currency) or not self.rows:
            return self
        heads, rows = shown_table(units, self.columns, self.cells(), about)
        return FigureTable(columns=tuple(heads), rows=tuple(map(tuple, rows)), caption=shown_text(units, self.caption, about))

    def as_text(self) -> str:
        """The table in aligned plain text."""
        lines = [list(self.columns), *self.cells()]
        widths = [max(len(line[place]) for line in lines) for place in range(len(self.columns))]
        written = ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines]
        return "\n".join([self.caption, *written] if self.caption else written)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A chart with its title, the sentence that says what it shows, and its figures.

    `says` is read by a screen reader and printed under the chart.
    """

    title: str
    says: str
    plot: Chart
    figures: FigureTable
    units: DisplayUnits | None = None  # None: house units

    def in_units(self, units: DisplayUnits) -> Picture:
        """The same chart in display units: axes, marks, words and figures."""
        if (units.is_house and not units.currency) or self.units == units:
            return self
        about = self.title.partition(":")[0]
        return replace(
            self,
            says=shown_text(units, self.says, about),
            plot=plot_in(units, self.plot, about),
            figures=self.figures.in_units(units, about),
            units=units,
        )

    def for_page(self) -> str:
        """The chart as a piece of a page; it fits the width it is given and follows light and dark."""
        return page_svg(self.plot)

    def at_a_glance(self) -> str:
        """As `for_page`, lower and without a legend."""
        return page_svg(self.plot, is_small=True)

    def readout(self) -> str:
        """What finger and pointer can ask of the chart, as JSON text; empty where there is no course to follow."""
        found = readout_of(self.plot)
        return "" if found is None else json.dumps(found, separators=(",", ":"), ensure_ascii=False)

    def svg(
        self,
        look: Look = "light",
        *,
        width_px: int = 640,
        height_px: int | None = None,
        background: str | None = None,
        is_alone: bool = False,
    ) -> str:
        """The chart as SVG text of a known size. The same chart gives the same bytes.

        Parameters
        ----------
        look
            Its colours.
        width_px, height_px
            Of the picture, such as 1920 and 1080; without a height the chart has its own. [px]
        background
            In the place of the look's paper.
        is_alone
            With title and sentence in the picture, for a wall or a talk.
        """
        drawn = paper_svg(
            self.plot,
            look,
            width_px=width_px,
            height_px=height_px,
            says=self.says,
            background=background,
            title=self.title if is_alone else "",
        )
        return drawn if self.units is None else shown_markup(self.units, drawn)

    def png(
        self,
        look: Look = "light",
        *,
        width_px: int = 640,
        height_px: int | None = None,
        scale: float = 2.0,
        is_alone: bool = False,
    ) -> bytes:
        """The chart as PNG, `scale` times as many dots as `svg` has pixels."""
        return as_png(self.svg(look, width_px=width_px, height_px=height_px, is_alone=is_alone), scale=scale)


def as_png(drawn: str, *, scale: float = 2.0) -> bytes:
    """An SVG text as PNG, drawn without a browser."""
    converted: bytes = _converter().svg_to_png(drawn, scale=scale)
    return converted


def folded(label: str, most: int) -> str:
    """A label in lines of at most `most` letters where it has spaces or hyphens to break at."""
    lines = [""]
    for part in re.findall(r"[^\s-]+-?|-", label):
        joined = f"{lines[-1]}{'' if lines[-1].endswith('-') or not lines[-1] else ' '}{part}"
        if lines[-1] and len(joined) > most:
            lines.append(part)
        else:
            lines[-1] = joined
    return "\n".join(lines)


@cache
def _converter() -> Any:
    import vl_convert

    vl_convert.register_font_directory(str(FONTS_FOLDER))
    return vl_convert


def _cell(item: str | float | None) -> str:
    if item is None:
        return "\u2013"
    return item if isinstance(item, str) else number(float(item))
