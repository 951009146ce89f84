"""Texts, pages, drawings and tables in display units: house units are found where they stand behind a number.

What a person typed or named stays as it is: name it in `as_typed`, or mark it on a page as `<samp>`. What is in no house unit
stays too, so that a text may pass twice.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from html import escape

from aerobe.units._display import DisplayUnits, Scale
from aerobe.units._writing import given, number

_NUMBER = r"[+\-\u2212]?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_START = r"(?<![\w.,:/\-\u2212+])"
# One number, a range, or a value with its interval before the unit; an interval may also stand behind it.
_GROUP = (
    rf"(?:[Bb]etween {_NUMBER} and {_NUMBER}|{_NUMBER}(?: to | ?\u2013 ?|-){_NUMBER}"
    rf"|{_NUMBER}(?: \({_NUMBER} to {_NUMBER}\))?)"
)
_AFTER = rf"(?: \((?:90 %: )?{_NUMBER} to {_NUMBER}\))?"
_APART = r"(?:\u00b1|\+-|give or take) ?"  # a difference of temperatures has no zero of its own
# A message quotes what was typed, and names.
_QUOTED = r"(?P<quoted>(?<!\w)'[^'\n]{1,200}'(?!\w)|&#39;[^&\n]{1,200}&#39;)"
_DATE = (
    r"(?<![\w\-/.:])(?P<year>\d{4})-(?P<month>0[1-9]|1[0-2])-(?P<day>[0-3]\d)(?![\w\-])"
    r"(?:(?P<gap>[ T])(?P<hour>[01]\d|2[0-3]):(?P<minute>[0-5]\d)(?P<second>:[0-5]\d)?)?"
)
_CLOCK = r"(?<![\w:.,])(?P<h>[01]\d|2[0-3]):(?P<m>[0-5]\d)(?![\w:]|\.\d| [ap]m\b)"
_DECIMAL = rf"{_START}(?P<decimal>[+\-\u2212]?\d+\.\d+(?:e[+-]?\d+)?)(?![\w/]|\.\d)"
# Oxygen alone is shown in per cent: chlorine, biomass and salts in mg/L are not. The word nearest before the number tells.
_OXYGEN = r"oxygen|saturat|uptake|\bfloor\b|\bprobe\b|\bmeter\b|\bO2\b"
_OTHERS = r"chlor|bleach|ammoni|nitr|biomass|carbon|\bsalt|alkalin|peracetic|\bcells?\b|\btest\b|solids"
_TELLING = re.compile(rf"(?P<oxygen>{_OXYGEN})|{_OTHERS}", re.IGNORECASE)
_NO_TEXT = re.compile(r"(<(script|style|textarea|code|pre|samp|cite)\b.*?</\2>|<[^>]*>)", re.DOTALL)
_ENDS = re.compile(r"<(?:script|style|textarea|code|pre|samp|cite)\b")
_TABLE = re.compile(r"<table\b.*?</table>", re.DOTALL)
_HEAD = re.compile(r'<th scope="col"[^>]*>(.*?)</th>', re.DOTALL)
_ROW = re.compile(r"<tr\b[^>]*>(?:(?!</tr>).)*</tr>", re.DOTALL)
_CELL = re.compile(r"(<t[dh]\b[^>]*>)(.*?)(</t[dh]>)", re.DOTALL)
_END_OF_INTERVAL = re.compile(r"(?:\d+ % )?(?:from|to|low|high|lower|upper|lowest|highest|middle|median)(?:,? \d+ %)?")
_LABEL = re.compile(r'(?<= aria-label=")[^"]*')
_IN_BRACKETS = re.compile(r"\[([^\[\],]+)(, [^\[\]]*)?\]\s*$")


def shown_text(units: DisplayUnits, text: str, about: str = "") -> str:
    """A text of house units in display units.

    Parameters
    ----------
    units
        What to show in.
    text
        With quantities, dates and clock times as the house writes them.
    about
        What the text belongs to where it does not say so itself, such as the heading of its table.
    """
    if units.is_house and not units.currency:
        return text

    def shown(found: re.Match[str]) -> str:
        parts = found.groupdict()
        if parts.get("kept") is not None or parts.get("quoted") is not None:
            return found[0]
        if parts.get("blank") is not None:
            return f"{parts['blank']}{units.scales()[found['of']].unit}"
        if parts.get("group") is not None:
            return _quantity(units, found, f"{about} {text[: found.start()]}", text[found.end() :])
        if parts.get("year") is not None:
            return _date(units, parts)
        if parts.get("h") is not None:
            return _clock(units, int(parts["h"] or 0), parts["m"] or "")
        return units.decimals(found[0])

    return _pattern(units).sub(shown, text)


def shown_markup(units: DisplayUnits, markup: str) -> str:
    """A page or a drawing (HTML, SVG) in display units: its text and the names it gives to listeners, not what fields send."""
    if units.is_house and not units.currency:
        return markup
    units = replace(units, as_typed=tuple(escape(item) for item in units.as_typed))
    markup = _TABLE.sub(lambda found: _table(units, found[0]), markup)
    out, at, before = [], 0, ""
    for found in _NO_TEXT.finditer(markup):
        piece = markup[at : found.start()]
        out.append(shown_text(units, piece, before))
        before = (before + piece)[-160:]
        mark = found[0]
        out.append(mark if _ENDS.match(mark) else _LABEL.sub(lambda label: shown_text(units, label[0]), mark))
        at = found.end()
    out.append(shown_text(units, markup[at:], before))
    return "".join(out)


def _table(units: DisplayUnits, markup: str) -> str:
    """A table of a page: columns whose heads name a unit in brackets. One with cells across several columns stays as it is."""
    heads = [re.sub(r"<[^>]*>", "", head) for head in _HEAD.findall(markup)]
    caption = re.search(r"<caption>(.*?)</caption>", markup, re.DOTALL)
    scales = _scales_of_heads(units, heads, caption[1] if caption else "")
    if not any(scales) or "colspan" in markup:
        return markup

    def row(found: re.Match[str]) -> str:
        columns = iter(range(len(heads)))

        def cell(part: re.Match[str]) -> str:
            scale = scales[place] if (place := next(columns, -1)) >= 0 else None
            if scale is None:
                return part[0]
            if 'scope="col"' in part[1]:
                return part[1] + re.sub(r"\[[^\[\]]+\](?=[^\[\]]*$)", f"[{scale.unit}]", part[2]) + part[3]
            return f"{part[1]}{_cell(units, part[2], scale)}{part[3]}"

        return _CELL.sub(cell, found[0])

    return _ROW.sub(row, markup)


def shown_quantity(units: DisplayUnits, value: float, unit: str, digits: int = 0) -> str:
    """A value of a house unit as text: `digits` significant ones, or as it was given where that is 0."""
    scale = units.scale(unit) or Scale(unit=unit)
    shown = scale.shown(value)
    return f"{units.decimals(number(shown, digits) if digits else given(shown))} {scale.unit}".rstrip()


def shown_table(
    units: DisplayUnits, heads: Sequence[str], rows: Sequence[Sequence[str]], about: str = ""
) -> tuple[list[str], list[list[str]]]:
    """A table in display units: a head names its unit in brackets, `lowest oxygen [mg/L]`, and its cells are bare numbers.

    Cells that are sentences are shown as texts are, and what was typed as it was. `about` says what the table is of.
    """
    scales = _scales_of_heads(units, heads, about)
    shown_heads = [
        with_unit(head, scale.unit) if scale and "[" in head else head if "as typed" in head else shown_text(units, head, about)
        for head, scale in zip(heads, scales, strict=True)
    ]

    def shown(head: str, cell: str, scale: Scale | None) -> str:
        if scale is not None:
            return _cell(units, cell, scale)
        return cell if "as typed" in head else shown_text(units, cell, f"{about} {head}")

    return shown_heads, [[shown(*item) for item in zip(heads, row, scales, strict=True)] for row in rows]


def _scales_of_heads(units: DisplayUnits, heads: Sequence[str], about: str) -> list[Scale | None]:
    """How each column is shown. Ends of an interval that name no unit are in that of the value before them."""
    found: list[Scale | None] = []
    for head in heads:
        is_end = "[" not in head and _END_OF_INTERVAL.fullmatch(head.strip()) is not None
        found.append(found[-1] if is_end and found else head_scale(units, head, about) if "[" in head else None)
    return found


def head_scale(units: DisplayUnits, head: str, about: str = "") -> Scale | None:
    """How the numbers under a head or along an axis are shown: its unit stands in brackets at the end, or is all of it."""
    found = _IN_BRACKETS.search(head)
    unit = found[1] if found else head
    scale = units.scale(unit)
    return scale if scale is not None and _fits(unit, f"{about} {head[: found.start()] if found else ''}") else None


def with_unit(head: str, unit: str) -> str:
    """The head with another unit in its brackets, or in the place of the bare one."""
    found = _IN_BRACKETS.search(head)
    return f"{head[: found.start()]}[{unit}{found[2] or ''}]" if found else unit


def _cell(units: DisplayUnits, cell: str, scale: Scale) -> str:
    return re.sub(rf"{_START}{_NUMBER}", lambda found: _one(units, found[0], scale), cell)


def _one(units: DisplayUnits, written: str, scale: Scale) -> str:
    return units.decimals(_digits(float(written.replace("\u2212", "-")), written, scale))


def _fits(unit: str, before: str, behind: str = "") -> bool:
    """Whether a quantity in this unit is of what the unit is shown otherwise for."""
    if not unit.startswith("mg/L"):
        return True
    named = re.match(rf" (?:of )?(?:\w+ )?(?:(?P<oxygen>{_OXYGEN})|{_OTHERS})", behind, re.IGNORECASE)
    if named is not None:
        return named["oxygen"] is not None
    told = list(_TELLING.finditer(before[-300:])) or [found for found in [_TELLING.search(behind[:80])] if found]
    return bool(told) and told[-1]["oxygen"] is not None


def _quantity(units: DisplayUnits, found: re.Match[str], before: str, behind: str) -> str:
    unit = found["unit"]
    scale = units.scales()[unit]
    if not _fits(unit, before, behind):
        return found[0]
    if found["apart"] and scale.offset:
        scale = Scale(unit=scale.unit, factor=scale.factor)

    group, after = (
        re.sub(rf"(?<![\d\w]){_NUMBER}", lambda item: _one(units, item[0], scale), found[name] or "")
        for name in ("group", "after")
    )
    return f"{found['apart'] or ''}{group} {scale.unit}{after}"


def _date(units: DisplayUnits, parts: dict[str, str | None]) -> str:
    year, month, day = parts["year"], int(parts["month"] or 1), int(parts["day"] or 1)
    written = {
        "y-m-d": f"{year}-{month:02d}-{day:02d}",
        "d.m.y": f"{day}.{month}.{year}",
        "d/m/y": f"{day}/{month}/{year}",
        "m/d/y": f"{month}/{day}/{year}",
    }[units.date]
    if parts["hour"] is None:
        return written
    return f"{written} {_clock(units, int(parts['hour']), (parts['minute'] or '') + (parts['second'] or ''))}"


def _clock(units: DisplayUnits, hour: int, minutes: str) -> str:
    if units.clock == "24 h":
        return f"{hour:02d}:{minutes}"
    shown = "" if minutes == "00" else f":{minutes}"  # 6 pm: short enough for a tick of a chart on a phone
    return f"{hour % 12 or 12}{shown} {'am' if hour < 12 else 'pm'}"


@lru_cache(maxsize=32)
def _pattern(units: DisplayUnits) -> re.Pattern[str]:
    names = sorted(units.scales(), key=len, reverse=True)
    pieces = [_QUOTED]
    if units.as_typed:
        longest_first = sorted(set(units.as_typed), key=lambda item: (-len(item), item))
        pieces.append(rf"(?P<kept>(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w))")
    if names:
        listed = "|".join(map(re.escape, names))
        pieces.append(
            rf"(?:(?P<apart>{_APART})|{_START})(?P<group>{_GROUP})[ \u00a0]"
            rf"(?P<unit>{listed})(?![\w/\u00b2\u00b3*^\u00b7]|-\w)(?! \([\d.]+ (?:lb|oz|gal|°F|ft|in)\))(?P<after>{_AFTER})"
        )
        pieces.append(rf"(?P<blank>_{{3,}}[ \u00a0])(?P<of>{listed})(?![\w/])")  # to be filled in by hand
    pieces += [_DATE, _CLOCK]
    if units.decimal == ",":
        pieces.append(_DECIMAL)
    return re.compile("|".join(pieces))


def _digits(value: float, written: str, scale: Scale) -> str:
    """A written house value in the unit shown, with digits that the writing supports: three, or its own where they are more.

    A temperature keeps its decimals, for the step of one degree matters and not the share of the whole.
    """
    shown = scale.shown(value)
    mantissa = written.lower().split("e")[0]
    places = len(mantissa.partition(".")[2])
    if scale.unit == "°F":
        return f"{shown:.{places}f}" if abs(shown) >= 0.5 * 10**-places else "0"
    if scale.unit.startswith("%"):
        return f"{shown:.{max(0, places - 1)}f}"
    if scale.factor == 1.0:
        return written
    digits = 3
    if shown == 0.0:
        return "0"
    text = number(shown, min(digits, 4))
    size = math.floor(math.log10(abs(shown)))
    if size >= 3 and "e" not in text:
        return f"{shown:.0f}"
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text
