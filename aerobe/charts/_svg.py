"""A chart as SVG: for a page, where it fits every width and follows light and dark; and alone, of a known size and look."""

from __future__ import annotations

from dataclasses import replace
from html import escape
from textwrap import wrap
from typing import TypedDict

from aerobe.charts._look import FONT, Look
from aerobe.charts._marks import LINE_PX, axes_svg, marks_svg
from aerobe.charts._plot import Chart, Floats, Key
from aerobe.charts._scale import ends, ticks
from aerobe.charts._sheet import LETTER_PX, Sheet, shape_path, width_of
from aerobe.units import signs

SMALL_PX = 150  # height of a chart at a glance
GUTTER_STEP_PX = 8  # the style of the pages has one class for each step
_RIGHT_PX, _TOP_PX, _BARE_TOP_PX = 22.0, 48.0, 14.0
_LARGE_PX = 960.0  # what is wider is the same drawing enlarged, letters and all: it will be looked at from further away


class Followed(TypedDict):
    """A course as the page's read-out takes it; places along x in parts of the width."""

    name: str
    unit: str
    at: list[float]
    x: list[float]
    middle: list[float | None]
    low: list[float | None]
    high: list[float | None]


class Readout(TypedDict):
    """What finger or pointer can ask of a chart."""

    begin: str  # clock at zero hours, or empty
    what: str  # words of the axis
    follows: list[Followed]


def page_svg(plot: Chart, *, is_small: bool = False) -> str:
    """The chart for a page: a box with room for the axes and one drawing in it that stretches with the page.

    Shades come from the page's style (`--leaf`), and so does the room, by classes such as `l6` and `b5` in steps of 8 px.
    """
    full = plot.with_ends()
    if is_small:
        full = replace(full, height_px=SMALL_PX, keys=())
    left, foot = _left_px(full), _foot_px(full)
    sheet = Sheet(height=float(full.height_px))
    drawn = marks_svg(full, sheet).join(axes_svg(full, sheet, left_px=left))
    room = f"l{left / GUTTER_STEP_PX:.0f} b{-(-foot // GUTTER_STEP_PX):.0f}{'' if _has_head(full) else ' bare'}"
    legend = _page_keys(full.keys) if full.keys else ""
    return (
        f'<div class="plot {room}"><svg class="area" width="100%" height="{full.height_px}" aria-hidden="true">{drawn}</svg>'
        f"</div>{legend}"
    )


def readout_of(plot: Chart) -> Readout | None:
    """What the page reads out of the chart, or nothing where there is no course to follow."""
    if not plot.follows:
        return None
    full = plot.with_ends()
    low, high = ends(full.x)
    return Readout(
        begin=full.x.begin.isoformat() if full.x.begin is not None else "",
        what=full.x.title,
        follows=[
            Followed(
                name=item.name,
                unit=signs(item.unit),
                at=[round((float(x) - low) / (high - low), 4) for x in item.x],
                x=[round(float(x), 3) for x in item.x],
                middle=_written(item.middle),
                low=_written(item.low),
                high=_written(item.high),
            )
            for item in full.follows
        ],
    )


def paper_svg(
    plot: Chart,
    look: Look,
    *,
    width_px: int,
    says: str,
    background: str | None = None,
    height_px: int | None = None,
    title: str = "",
) -> str:
    """The chart alone: a whole SVG file. The same chart gives the same bytes.

    Parameters
    ----------
    plot, look
        What is drawn, and in which colours.
    width_px, height_px
        Of the whole picture; without a height the area has that of the chart. [px]
    says
        What the chart shows, for a listener; with a title it is also printed.
    background
        A colour of SVG in the place of the look's paper.
    title
        Heading, for a picture that stands alone.
    """
    scale = max(1.0, width_px / _LARGE_PX)
    wide = width_px / scale
    full = plot.with_ends()
    left, foot = _left_px(full), _foot_px(full)
    area = wide - left - _RIGHT_PX - 8.0
    sheet = Sheet(height=float(full.height_px), width=area, look=look)
    head = _head(sheet, title, says, wide) if title else ("", 0.0)
    keys, keys_px = _paper_keys(full.keys, sheet, wide)
    above = head[1] + (_TOP_PX if _has_head(full) else _BARE_TOP_PX)
    if height_px is not None:
        sheet = replace(sheet, height=max(80.0, height_px / scale - above - foot - keys_px - 8.0))
    high = above + sheet.height + foot + keys_px + 8.0
    drawn = marks_svg(full, sheet).join(axes_svg(full, sheet, left_px=left))
    shade = background or sheet.paint("paper")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_px}" height="{height_px or round(high * scale)}" '
        f'viewBox="0 0 {wide:.1f} {high:.1f}" role="img" aria-label="{escape(says)}" font-family="{FONT}" '
        f'font-size="{LETTER_PX:g}" fill="{sheet.paint("ink")}"><rect width="{wide:.1f}" height="{high:.1f}" fill="{shade}"/>'
        f'{head[0]}<g transform="translate({left + 8.0:.1f} {above:.1f})">{drawn}</g>'
        f'<g transform="translate({left + 8.0:.1f} {above + sheet.height + foot:.1f})">{keys}</g></svg>'
    )


def _has_head(plot: Chart) -> bool:
    return bool(plot.y.title) or any(getattr(mark, "words", "") for mark in plot.marks)


def _left_px(plot: Chart) -> float:
    if plot.y.kind == "names":
        return float(GUTTER_STEP_PX)
    few = max(3, int(plot.height_px / 46.0))
    widest = max((width_of(tick.says) for tick in ticks(plot.y, few=few, many=few)), default=0.0)
    return GUTTER_STEP_PX * -(-(widest + 10.0) // GUTTER_STEP_PX)


def _foot_px(plot: Chart) -> float:
    lines = max((name.count("\n") for name in plot.x.names), default=0)
    rows = (2 if plot.x.begin is not None else 1) + lines + (1 if plot.x.title else 0)
    return 8.0 + LINE_PX * rows + (6.0 if plot.x.title else 0.0)


def _head(sheet: Sheet, title: str, says: str, wide: float) -> tuple[str, float]:
    lines = wrap(says, width=int((wide - 40.0) / (0.5 * LETTER_PX)))[:4]
    drawn = f'<text x="16" y="34" font-size="22" font-weight="700">{escape(title, quote=False)}</text>'
    for number, line in enumerate(lines):
        drawn += f'<text x="16" y="{58 + 18 * number}" fill="{sheet.paint("soft")}">{escape(line, quote=False)}</text>'
    return drawn, 52.0 + 18.0 * len(lines)


def _swatch(key: Key, sheet: Sheet) -> str:
    tint = sheet.paint(key.colour)
    line = ""
    if key.dash is not None:
        dashes = f' stroke-dasharray="{" ".join(map(str, key.dash))}"' if key.dash else ""
        line = f'<path d="M0 8H30" fill="none" stroke="{tint}" stroke-width="2.5"{dashes}/>'
    if not key.shape:
        return line
    style = f'fill="{tint}"' if key.is_filled else f'fill="none" stroke="{tint}" stroke-width="2"'
    return f'{line}<path transform="translate(15 8)" d="{shape_path(key.shape, 5.0)}" {style}/>'


def _page_keys(keys: tuple[Key, ...]) -> str:
    sheet = Sheet(height=16.0)
    items = "".join(
        f'<li><svg class="swatch" width="30" height="16" aria-hidden="true">{_swatch(key, sheet)}</svg>{escape(key.name)}</li>'
        for key in keys
    )
    return f'<ul class="keys-of-chart">{items}</ul>'


def _paper_keys(keys: tuple[Key, ...], sheet: Sheet, wide: float) -> tuple[str, float]:
    """The legend in rows, and its height."""
    drawn, across, down = [], 0.0, 8.0
    for key in keys:
        need = 38.0 + width_of(key.name) + 18.0
        if across and across + need > wide - 24.0:
            across, down = 0.0, down + 22.0
        words = f'<text x="37" y="12.5">{escape(key.name, quote=False)}</text>'
        drawn.append(f'<g transform="translate({across:.1f} {down:.1f})">{_swatch(key, sheet)}{words}</g>')
        across += need
    return "".join(drawn), down + 22.0 if keys else 0.0


def _written(values: Floats) -> list[float | None]:
    found = [float(value) for value in values]
    return [float(f"{value:.4g}") if abs(value) < float("inf") else None for value in found]
