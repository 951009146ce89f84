"""Where a chart is drawn: on a page whose width nobody knows, or on paper of a known width.

On a page, places along x are parts of the width and courses lie in a stretched box, so that one drawing fits every screen while
its letters keep their size. On paper all places are numbers, for programs that know less of SVG than a browser.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from aerobe.charts._look import COLOURS, Look

LETTER_PX = 13.0  # of every text in a chart: large enough for a phone
STRETCH = 1000.0  # width of the stretched box that courses are drawn in

Place = tuple[float, float]  # shares of width and height, from the upper left corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The area between the axes. Without a width the drawing stretches; without a look its page's style gives the shades."""

    height: float  # [px]
    width: float | None = None  # [px]
    look: Look | None = None

    def paint(self, colour: str) -> str:
        """The shade of a colour's name."""
        return f"var(--{colour})" if self.look is None else COLOURS[self.look][colour]

    def x(self, part: float) -> str:
        """A place along x."""
        return f"{_short(100.0 * part)}%" if self.width is None else _short(part * self.width)

    def y(self, part: float) -> str:
        """A place along y, downwards."""
        return _short(part * self.height)

    def path(self, runs: Sequence[Sequence[Place]], attributes: str, *, is_closed: bool = False) -> str:
        """Straight lines through places, in one or several runs."""
        wide = STRETCH if self.width is None else self.width
        end = "Z" if is_closed else ""
        drawn = "".join(
            "M" + "L".join(f"{_short(x * wide)} {_short(y * self.height)}" for x, y in run) + end for run in runs if run
        )
        if self.width is not None:
            return f'<path d="{drawn}" {attributes}/>'
        box = f'viewBox="0 0 {STRETCH:g} {_short(self.height)}" preserveAspectRatio="none"'
        return f'<svg {box} width="100%" height="{_short(self.height)}"><path d="{drawn}" {attributes}/></svg>'

    def at(self, x: float, y_px: float, inner: str) -> str:
        """Something small at a place, its own corner at 0 0."""
        if self.width is None:
            return f'<svg x="{self.x(x)}" y="{_short(y_px)}" overflow="visible">{inner}</svg>'
        return f'<g transform="translate({self.x(x)} {_short(y_px)})">{inner}</g>'

    def text(
        self, x: float, y_px: float, words: str, *, anchor: str = "start", dx: float = 0.0, colour: str = "ink", more: str = ""
    ) -> str:
        """Words at a place; a line feed begins a new line."""
        place, lines = self.x(x), words.split("\n")
        move = f' dx="{_short(dx)}"' if dx else ""
        set_at = "" if anchor == "start" else f' text-anchor="{anchor}"'
        tint = "" if colour == "ink" and self.look is None else f' fill="{self.paint(colour)}"'
        body = escape(lines[0], quote=False) + "".join(
            f'<tspan x="{place}" dy="15">{escape(line, quote=False)}</tspan>' for line in lines[1:]
        )
        return f'<text x="{place}" y="{_short(y_px)}"{move}{set_at}{tint}{more}>{body}</text>'

    def anchored(self, part: float, words: str) -> str:
        """How words over a place are set so that they stay inside: by their middle, or by an end near an edge."""
        wide = self.width or 280.0  # the narrowest phone
        half = 0.5 * width_of(words)
        if part * wide < half:
            return "start"
        return "end" if (1.0 - part) * wide < half else "middle"

    def has_room_before(self, part: float, px: float) -> bool:
        """Whether something this wide fits between the left edge and a place."""
        return part * (self.width or 280.0) >= px

    def edge_of(self, x: float, words: str) -> str:
        """Side of a line on which words fit beside it."""
        return "start" if (1.0 - x) * (self.width or 280.0) > width_of(words) + 8.0 else "end"


def width_of(words: str) -> float:
    """About how wide words are; a little too wide rather than too narrow, for fonts that are not ours. [px]"""
    return 0.56 * LETTER_PX * max(len(line) for line in words.split("\n"))


def shape_path(shape: str, radius: float) -> str:
    """The outline of a mark around 0 0 with about the area of a circle of that radius.

    Raises
    ------
    KeyError
        If there is no such shape.
    """
    r, half, tall = _short(radius), _short(0.886 * radius), _short(1.25 * radius)
    thin, wide = _short(0.42 * radius), _short(1.2 * radius)
    return {
        "circle": f"M-{r} 0A{r} {r} 0 1 0 {r} 0A{r} {r} 0 1 0 -{r} 0Z",
        "square": f"M-{half} -{half}H{half}V{half}H-{half}Z",
        "diamond": f"M0 -{tall}L{tall} 0L0 {tall}L-{tall} 0Z",
        "triangle-up": f"M0 -{tall}L{tall} {half}H-{tall}Z",
        "triangle-down": f"M0 {tall}L{tall} -{half}H-{tall}Z",
        "triangle-left": f"M-{tall} 0L{half} -{tall}V{tall}Z",
        "triangle-right": f"M{tall} 0L-{half} -{tall}V{tall}Z",
        "cross": f"M-{thin} -{wide}H{thin}V-{thin}H{wide}V{thin}H{thin}V{wide}H-{thin}V{thin}H-{wide}V-{thin}H-{thin}Z",
        "tick": f"M-{_short(4 * radius)} -1.5H{_short(4 * radius)}V1.5H-{_short(4 * radius)}Z",
    }[shape]


def _short(value: float) -> str:
    """Tenths of a pixel are finer than a screen."""
    if not math.isfinite(value):
        raise ValueError(f"{value} has no place in a drawing")
    written = f"{value:.1f}".removesuffix(".0")
    return "0" if written == "-0" else written
