"""Each mark of a chart as SVG text on a sheet, and the axes around them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

from aerobe.charts._plot import Axis, Chart, CourseLine, Dash, FilledBand, Floats, Intervals, PointMarks, Rule, Span
from aerobe.charts._scale import Tick, clock_ticks, share, ticks
from aerobe.charts._sheet import Place, Sheet, shape_path, width_of

FEW, MANY = 5, 12  # ticks along x: on a phone, on a wide screen
LINE_PX = 17.0
_BOLD = ' font-weight="600"'
_NEAR_PX = 17.0  # words closer than this to others go to the other side of their line


def marks_svg(plot: Chart, sheet: Sheet) -> str:
    """All marks, in their order. Words of lines across the chart keep out of each other's way."""
    x, y = plot.x, plot.y

    def to_place(at_x: float, at_y: float) -> Place:
        return share(x, at_x), 1.0 - share(y, at_y)

    # Words over a span stand above the area.
    taken = (
        [-7.0] if any(isinstance(mark, Span) and mark.words for mark in plot.marks) else list[float]()
    )  # heights that have words at the right end already [px]
    flags = 0
    drawn = []
    for mark in plot.marks:
        if isinstance(mark, FilledBand):
            drawn.append(_band(mark, sheet, to_place))
        elif isinstance(mark, CourseLine):
            runs = [[to_place(*pair) for pair in run] for run in _whole(mark.x, mark.y)]
            drawn.append(sheet.path(runs, _stroke(sheet, mark.colour, mark.width, mark.dash, mark.opacity)))
        elif isinstance(mark, Intervals):
            drawn.append(_intervals(mark, sheet, to_place))
        elif isinstance(mark, PointMarks):
            drawn.append(_points(mark, sheet, to_place))
        elif isinstance(mark, Span):
            drawn.append(_span(mark, sheet, x, y))
        elif mark.along == "x":
            drawn.append(_upright(mark, sheet, share(x, mark.at), flags))
            flags += bool(mark.words)
        else:
            drawn.append(_level(mark, sheet, 1.0 - share(y, mark.at), taken))
    return "".join(drawn)


def _stroke(sheet: Sheet, colour: str, width: float, dash: Dash, opacity: float = 1.0) -> str:
    dashes = f' stroke-dasharray="{" ".join(map(str, dash))}"' if dash else ""
    faint = f' stroke-opacity="{opacity:g}"' if opacity < 1.0 else ""
    return (
        f'fill="none" stroke="{sheet.paint(colour)}" stroke-width="{width:g}" stroke-linejoin="round" '
        f'vector-effect="non-scaling-stroke"{dashes}{faint}'
    )


def _band(mark: FilledBand, sheet: Sheet, to_place: Callable[[float, float], Place]) -> str:
    there = [
        (x, low, high)
        for x, low, high in zip(mark.x, mark.low, mark.high, strict=True)
        if math.isfinite(low) and math.isfinite(high)
    ]
    upper, lower = [to_place(x, high) for x, _, high in there], [to_place(x, low) for x, low, _ in there]
    fill = f'fill="{sheet.paint(mark.colour)}" fill-opacity="{mark.opacity:g}"'
    # A thin edge: without it the end of a pale band is not seen on every screen, least of all a dark one.
    edges = _stroke(sheet, mark.colour, 1.0, (), 0.55)
    return sheet.path([[*upper, *reversed(lower)]], fill, is_closed=True) + sheet.path([upper, lower], edges)


def _whole(x: Floats, y: Floats) -> list[list[Place]]:
    """The pairs in runs without gaps: a course is not drawn through a value that is none."""
    runs: list[list[Place]] = [[]]
    for pair in zip(x, y, strict=True):
        if all(map(math.isfinite, pair)):
            runs[-1].append((float(pair[0]), float(pair[1])))
        elif runs[-1]:
            runs.append([])
    return runs


def _intervals(mark: Intervals, sheet: Sheet, to_place: Callable[[float, float], Place]) -> str:
    lines = []
    for at, low, high in zip(mark.at, mark.low, mark.high, strict=True):
        if math.isfinite(low) and math.isfinite(high):
            start, end = (to_place(at, low), to_place(at, high)) if mark.along == "y" else (to_place(low, at), to_place(high, at))
            lines.append(_line(sheet, _inside(start), _inside(end)))
    return f"<g {_stroke(sheet, mark.colour, mark.width, mark.dash, mark.opacity)}>{''.join(lines)}</g>" if lines else ""


def _inside(place: Place) -> Place:
    return min(1.0, max(0.0, place[0])), min(1.0, max(0.0, place[1]))


def _line(sheet: Sheet, start: Place, end: Place, more: str = "") -> str:
    return f'<line x1="{sheet.x(start[0])}" y1="{sheet.y(start[1])}" x2="{sheet.x(end[0])}" y2="{sheet.y(end[1])}"{more}/>'


def _points(mark: PointMarks, sheet: Sheet, to_place: Callable[[float, float], Place]) -> str:
    outline = f'<path d="{shape_path(mark.shape, mark.radius)}"/>'
    drawn = [
        sheet.at(place[0], place[1] * sheet.height, outline)
        for place in (to_place(x, y) for x, y in zip(mark.x, mark.y, strict=True) if math.isfinite(x) and math.isfinite(y))
    ]
    if not drawn:
        return ""
    tint = sheet.paint(mark.colour)
    style = (
        f'fill="{tint}" stroke="{sheet.paint("paper")}"' if mark.is_filled else f'fill="none" stroke="{tint}" stroke-width="2"'
    )
    faint = f' opacity="{mark.opacity:g}"' if mark.opacity < 1.0 else ""
    return f"<g {style}{faint}>{''.join(drawn)}</g>"


def _span(mark: Span, sheet: Sheet, x: Axis, y: Axis) -> str:
    fill = f' fill="{sheet.paint(mark.colour)}" fill-opacity="{mark.opacity:g}"'
    edges = f"<g {_stroke(sheet, mark.edge, 1.5, (4, 3))}>"
    if mark.along == "y":
        top, bottom = sorted(min(1.0, max(0.0, 1.0 - share(y, value))) for value in (mark.low, mark.high))
        box = f'<rect x="0" y="{sheet.y(top)}" width="{sheet.x(1.0)}" height="{sheet.y(bottom - top)}"{fill}/>'
        lines = "".join(_line(sheet, (0.0, part), (1.0, part)) for part in (top, bottom))
        return f"{box}{edges}{lines}</g>"
    left, right = sorted(min(1.0, max(0.0, share(x, value))) for value in (mark.low, mark.high))
    box = f'<rect x="{sheet.x(left)}" y="0" width="{sheet.x(right - left)}" height="{sheet.y(1.0)}"{fill}/>'
    lines = "".join(_line(sheet, (part, 0.0), (part, 1.0)) for part in (left, right))
    middle = 0.5 * (left + right)
    words = ""
    if mark.words:
        anchor = sheet.anchored(middle, mark.words)
        stands = {"start": left, "middle": middle, "end": right}[anchor]
        words = sheet.text(stands, -7.0, mark.words, anchor=anchor, more=' font-weight="600"')
    return f"{box}{edges}{lines}</g>{words}"


def _upright(mark: Rule, sheet: Sheet, part: float, row: int) -> str:
    if not -1e-6 <= part <= 1.0 + 1e-6:
        return ""
    line = _line(sheet, (part, 0.0), (part, 1.0), f" {_stroke(sheet, mark.colour, mark.width, mark.dash)}")
    if not mark.words:
        return line
    if not mark.is_flagged:
        side = sheet.edge_of(part, mark.words)
        dx = 5.0 if side == "start" else -5.0
        return line + sheet.text(part, 15.0 + 22.0 * row, mark.words, anchor=side, dx=dx, more=_halo(sheet))
    wide = width_of(mark.words) + 12.0
    # Towards the past if there is room: what is still to come is what people look for.
    left = -wide if sheet.has_room_before(part, wide) else 0.0
    flag = f'<rect x="{left:.0f}" y="0" width="{wide:.0f}" height="20" rx="3" fill="{sheet.paint(mark.colour)}"/>'
    words = f'<text x="{left + 0.5 * wide:.0f}" y="14.5" text-anchor="middle" font-weight="600" fill="{sheet.paint("paper")}">'
    return line + sheet.at(part, 22.0 * row, f"{flag}{words}{escape(mark.words, quote=False)}</text>")


def _level(mark: Rule, sheet: Sheet, part: float, taken: list[float]) -> str:
    if not -1e-6 <= part <= 1.0 + 1e-6:
        return ""
    line = _line(sheet, (0.0, part), (1.0, part), f" {_stroke(sheet, mark.colour, mark.width, mark.dash)}")
    if not mark.words:
        return line
    place = next(
        (height for height in (part * sheet.height - 6.0, part * sheet.height + 15.0) if _is_free(height, taken)),
        part * sheet.height - 6.0,
    )
    taken.append(place)
    return line + sheet.text(1.0, place, mark.words, anchor="end", dx=-2.0, more=_halo(sheet))


def _halo(sheet: Sheet) -> str:
    """Paper around letters, so that they can be read on any band."""
    return f' paint-order="stroke" stroke="{sheet.paint("paper")}" stroke-width="3" stroke-linejoin="round"'


def _is_free(height: float, taken: Sequence[float]) -> bool:
    return all(abs(height - other) >= _NEAR_PX for other in taken)


def axes_svg(plot: Chart, sheet: Sheet, *, left_px: float) -> tuple[str, str]:
    """What lies under the marks, which is the grid, and what lies over them: ticks, names and titles."""
    many = MANY if sheet.width is None else max(FEW, int(sheet.width / 62.0))
    few = FEW if sheet.width is None else many
    rows = [ticks(plot.x, few=few, many=many)] if plot.x.begin is None else list(clock_ticks(plot.x, few=few, many=many))
    upright = [share(plot.x, tick.at) for tick in rows[0]] if plot.x.has_grid else []
    words = []
    for number, row in enumerate(rows):
        height = sheet.height + LINE_PX + number * (LINE_PX - 1.0)
        words += [_x_label(sheet, share(plot.x, tick.at), height, tick, "soft" if number else "ink") for tick in row]
    if plot.x.title:
        lines = len(rows) + max((tick.says.count("\n") for tick in rows[0]), default=0)
        words.append(sheet.text(0.5, sheet.height + 20.0 + LINE_PX * lines, plot.x.words, anchor="middle", more=_BOLD))
    beside, level = _beside(plot, sheet)
    if plot.y.title:
        beside.append(f'<text x="{-left_px:.0f}" y="-26"{_BOLD}>{escape(plot.y.words, quote=False)}</text>')
    grid = [_line(sheet, (part, 0.0), (part, 1.0)) for part in upright] + [
        _line(sheet, (0.0, part), (1.0, part)) for part in level
    ]
    foot = _line(sheet, (0.0, 1.0), (1.0, 1.0), f' stroke="{sheet.paint("soft")}"')
    under = f'<g stroke="{sheet.paint("grid")}" stroke-dasharray="1 3">{"".join(grid)}</g>{foot}'
    return under, "".join((*words, *beside))


def _beside(plot: Chart, sheet: Sheet) -> tuple[list[str], list[float]]:
    """Words of the axis along y, and where its grid lies."""
    many = max(3, int(sheet.height / 46.0))
    places = [(1.0 - share(plot.y, tick.at), tick.says) for tick in ticks(plot.y, few=many, many=many)]
    if plot.y.kind == "names":  # over its row, so that a long name has the whole width
        names = [sheet.text(0.0, part * sheet.height - 12.0, says, more=_halo(sheet)) for part, says in places]
        return names, []
    numbers = [f'<text x="-8" y="{part * sheet.height + 4.5:.1f}" text-anchor="end">{says}</text>' for part, says in places]
    return numbers, [part for part, _ in places] if plot.y.has_grid else []


def _x_label(sheet: Sheet, part: float, height: float, tick: Tick, colour: str) -> str:
    more = ' class="wide"' if tick.is_wide and sheet.width is None else ""
    more += _BOLD if tick.is_strong else ""
    return sheet.text(part, height, tick.says, anchor="middle", colour=colour, more=more)
