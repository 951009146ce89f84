"""A finding as one picture to show: a headline, a chart, how sure, and where it comes from. For slides, squares and phones.

A finding may also move: the same picture after each further test, one after the other, the last one staying.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from html import escape

from aerobe.charts._look import COLOURS, FONT, Look
from aerobe.charts._plot import Axis, Chart
from aerobe.charts._scale import ends
from aerobe.charts._style import Picture, as_png

SIZES = {"slide": (1920, 1080), "square": (1080, 1080), "tall": (1080, 1920)}
ENLARGED = {"slide": 2.0, "square": 2.2, "tall": 2.6}  # of the chart: read from the back of a room, and on a phone
# Width of a letter of our font over its size. Where another font steps in, a line is squeezed to the width it would have had.
NARROW, BROAD, CAPITAL, USUAL, SPACE, BOLDER = 0.29, 0.8, 0.6, 0.5, 0.2, 1.06
MARGIN, KICKER, SURE, FOOT = 60.0, 30.0, 34.0, 24.0  # [px]
LARGEST = {"slide": 76, "square": 76, "tall": 96}  # of the headline [px]
SMALLEST = 30
LINE = 1.18
STAYS_S, TURNS_S = 3.0, 1.4  # the last picture, and each one before it


@dataclass(frozen=True, slots=True, kw_only=True)
class Poster:
    """What a picture to show says.

    Parameters
    ----------
    question
        What was asked, in small letters above.
    headline
        The answer; never more than what it was made from says.
    sure
        How sure: brews, interval.
    date
        When it was made, as a day.
    source
        Where data and script are.
    mark
        "invented data" or "practice"; empty for what was measured. It is on the picture, whoever crops it.
    pictures
        The chart; of a finding that moves, one after the other.
    """

    question: str
    headline: str
    sure: str
    date: str
    source: str
    mark: str
    pictures: tuple[Picture, ...]


def poster_svg(poster: Poster, size: str = "slide", look: Look = "light", *, is_moving: bool = False) -> str:
    """The picture as SVG text. The same poster gives the same bytes.

    Parameters
    ----------
    size
        One of `SIZES`.
    look
        Its colours.
    is_moving
        Show all charts one after the other; a reader who wants no motion sees the last.

    Raises
    ------
    KeyError
        If there is no such size.
    """
    wide, high = SIZES[size]
    shade = COLOURS[look]
    room = wide - 2.0 * MARGIN
    letter, lines = _headline(poster.headline, room, (0.26 if wide >= high else 0.3) * high, LARGEST[size])
    top = MARGIN + KICKER + (KICKER + 48.0 if poster.mark else 20.0)
    chart_top = top + letter * LINE * len(lines) + 34.0
    sure = _wrapped(poster.sure, room, SURE)
    foot = _wrapped(f"{poster.source} · {poster.date}", room, FOOT)
    below = SURE * LINE * len(sure) + FOOT * LINE * len(foot) + 34.0
    left_high = high - MARGIN - below - chart_top
    chart_high = min(left_high, max(_fitting_px(item, room) for item in poster.pictures))
    chart_top += 0.4 * (left_high - chart_high)
    drawn = [
        f'<rect width="{wide}" height="{high}" fill="{shade["paper"]}"/>',
        f'<rect width="{wide}" height="14" fill="{shade["leaf"]}"/>',
        _text(MARGIN, MARGIN + KICKER, [_short(poster.question, room, KICKER)], KICKER, shade["soft"]),
    ]
    if poster.mark:
        drawn.append(_mark(poster.mark, MARGIN + KICKER + 18.0, shade))
    drawn.append(_text(MARGIN, top + letter, lines, letter, shade["ink"], bold=True))
    shown = poster.pictures if is_moving else poster.pictures[-1:]
    charts = [_chart(item, look, room, chart_high, chart_top, ENLARGED[size]) for item in shown]
    drawn += _one_after_the_other(charts) if len(charts) > 1 else charts
    drawn.append(_text(MARGIN, high - MARGIN - below + SURE + 12.0, sure, SURE, shade["ink"]))
    drawn.append(_text(MARGIN, high - MARGIN - FOOT * LINE * (len(foot) - 1), foot, FOOT, shade["soft"]))
    says = f"{poster.mark.capitalize() + '. ' if poster.mark else ''}{poster.headline} {poster.sure}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{high}" viewBox="0 0 {wide} {high}" role="img" '
        f'aria-label="{escape(says)}" font-family="{FONT}">{"".join(drawn)}</svg>'
    )


def poster_png(poster: Poster, size: str = "slide", look: Look = "light", *, scale: float = 1.0) -> bytes:
    """The picture as PNG; `scale` 1 has as many dots as its size has pixels."""
    return as_png(poster_svg(poster, size, look), scale=scale)


def _headline(words: str, room: float, most: float, largest: int) -> tuple[float, list[str]]:
    """The largest letters in which it fits: nothing of it is ever cut off. [px]"""
    for letter in range(largest, SMALLEST - 1, -2):
        lines = _wrapped(words, room, float(letter), bold=True)
        if letter * LINE * len(lines) <= most and len(lines) <= 5:
            return float(letter), lines
    return float(SMALLEST), _wrapped(words, room, float(SMALLEST), bold=True)


def _width(words: str, letter: float, *, bold: bool = False) -> float:
    """About how wide words are. [px]"""

    def of(sign: str) -> float:
        if sign in " ":
            return SPACE
        if sign in "iljtfrI.,:;'|!()[]-/":
            return NARROW
        return BROAD if sign in "mwMW%" else CAPITAL if sign.isupper() else USUAL

    return letter * (BOLDER if bold else 1.0) * sum(map(of, words))


def _wrapped(words: str, room: float, letter: float, *, bold: bool = False) -> list[str]:
    most = max(8, int(room / (0.6 * letter)))
    lines = [""]
    for word in words.split():
        for part in [word[at : at + most] for at in range(0, len(word), most)]:  # a name without spaces must fit too
            joined = f"{lines[-1]} {part}".strip()
            if not lines[-1] or _width(joined, letter, bold=bold) <= room:
                lines[-1] = joined
            else:
                lines.append(part)
    return lines


def _short(words: str, room: float, letter: float) -> str:
    while _width(words, letter) > room:
        words = words[:-2].rstrip() + "\u2026"
    return words


def _text(x: float, y: float, lines: Sequence[str], letter: float, colour: str, *, bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return "".join(
        f'<text x="{x:g}" y="{y + letter * LINE * place:.1f}" font-size="{letter:g}"{weight} fill="{colour}" '
        f'textLength="{_width(line, letter, bold=bold):.0f}" lengthAdjust="spacingAndGlyphs">{escape(line, quote=False)}</text>'
        for place, line in enumerate(lines)
    )


def _mark(words: str, top: float, shade: dict[str, str]) -> str:
    inside = 1.15 * _width(words.upper(), 26.0, bold=True)
    return (
        f'<rect x="{MARGIN:g}" y="{top:.1f}" width="{inside + 36.0:.1f}" height="40" rx="6" fill="{shade["plum"]}"/>'
        f'<text x="{MARGIN + 18:g}" y="{top + 29:.1f}" font-size="26" font-weight="700" textLength="{inside:.0f}" '
        f'lengthAdjust="spacingAndGlyphs" fill="{shade["paper"]}">{escape(words.upper(), quote=False)}</text>'
    )


def _fitting_px(picture: Picture, wide: float) -> float:
    """How high a chart may be before it looks stretched: rows of names need little, courses as much as they are wide."""
    names = len(picture.plot.y.names)
    return 190.0 * names + 240.0 if names else wide


def _chart(picture: Picture, look: Look, wide: float, high: float, top: float, enlarged: float) -> str:
    drawn = picture.svg(look, width_px=round(wide / enlarged), height_px=round(high / enlarged))
    # Its own drawing, set at its place and enlarged: the outermost tag says both.
    return re.sub(
        r'^<svg ([^>]*?)width="[\d.]+" height="[\d.]+"',
        lambda found: f'<svg {found[1]}x="{MARGIN:g}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}"',
        drawn,
        count=1,
    )


def _one_after_the_other(charts: Sequence[str]) -> list[str]:
    whole = STAYS_S + TURNS_S * (len(charts) - 1)
    last = len(charts) - 1
    rules = [f".turn{{opacity:0}}.turn{last}{{opacity:1}}"]
    for place in range(len(charts)):
        begins, ends = (100.0 * TURNS_S * at / whole for at in (place, place + 1))
        ends = 100.0 if place == last else ends
        before = f"0%,{begins:.2f}%{{opacity:0}}" if place else ""
        after = f"{ends + 0.01:.2f}%,100%{{opacity:0}}" if place < last else ""
        rules.append(f"@keyframes turn{place}{{{before}{begins + 0.01 * bool(place):.2f}%,{ends:.2f}%{{opacity:1}}{after}}}")
    moves = "".join(f".turn{place}{{animation:turn{place} {whole:g}s step-end infinite}}" for place in range(len(charts)))
    style = f"<style>{''.join(rules)}@media (prefers-reduced-motion:no-preference){{{moves}}}</style>"
    return [style, *(f'<g class="turn turn{place}">{chart}</g>' for place, chart in enumerate(charts))]


def on_one_scale(pictures: Sequence[Picture]) -> tuple[Picture, ...]:
    """The same charts with the ends of their axes in common, so that what narrows is seen to narrow."""
    full = [item.plot.with_ends() for item in pictures]
    if not full:
        return ()
    (x_low, x_high), (y_low, y_high) = _reach([plot.x for plot in full]), _reach([plot.y for plot in full])

    def on(plot: Chart) -> Chart:
        return replace(plot, x=replace(plot.x, low=x_low, high=x_high), y=replace(plot.y, low=y_low, high=y_high))

    return tuple(replace(item, plot=on(item.plot)) for item in pictures)


def _reach(axes: Sequence[Axis]) -> tuple[float, float]:
    both = [ends(axis) for axis in axes]
    return min(low for low, _ in both), max(high for _, high in both)
