"""One cell: a number with its decimal mark, a bound, a code for below or above, an error of an instrument, or nothing."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from aerobe.tables._words import WORDS

LONGEST = 60
_SPACES = str.maketrans("", "", " \u00a0\u202f\u2009'\u2019")
_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u00b7": "*", "\u00d7": "x"})
_POWERS = str.maketrans("\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079\u207b\u207a", "0123456789-+")

MISSING, BROKEN, BELOW, ABOVE = (frozenset(WORDS["cells"][kind]) for kind in ("missing", "broken", "below", "above"))
SENTINELS = frozenset(WORDS["cells"]["sentinels"])  # numbers that instruments write where they have no reading


@dataclass(frozen=True, slots=True)
class Cell:
    """What a cell says. `kind`: number, missing, broken (an error word), code (below or above, without a limit), text."""

    kind: str
    value: float = 0.0
    bound: str = ""  # "<" or ">"
    unit: str = ""  # written in the cell itself
    sd: float | None = None  # of `5.2 ± 0.3`
    mark: str = ""  # a letter or star behind the number


_NUMBER = r"[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?"
_POWER = re.compile(rf"({_NUMBER})?\s*(?:x|\*)?\s*10\s*(?:\^|\*\*)\s*([+-]?\d{{1,2}})")
_PLUS_MINUS = re.compile(rf"(.+?)\s*(?:\u00b1|\+/-|\+-)\s*({_NUMBER})\s*(.*)")
_BEHIND = re.compile(rf"({_NUMBER})\s*(\([^)]*\)|[^\d\s.,].*)?")


@lru_cache(maxsize=200_000)
def read_cell(text: str, decimal: str = ".") -> Cell:
    """What a cell says.

    Parameters
    ----------
    text
        As the file writes it.
    decimal
        `.` or `,`: how a number such as 1,234 is meant, where the number itself does not tell.
    """
    bare = text.strip()
    folded = " ".join(bare.lower().split())
    if not bare or folded in MISSING:
        return Cell("missing")
    if folded in BROKEN:
        return Cell("broken")
    if folded in BELOW:
        return Cell("code", bound="<")
    if folded in ABOVE:
        return Cell("code", bound=">")
    if len(bare) > LONGEST:
        return Cell("text")
    found = _number_cell(_levelled(bare.translate(_SIGNS)), decimal)
    return found if found is not None else Cell("text")


def _levelled(text: str) -> str:
    """`10⁶` becomes `10^6`; `mL⁻¹` is left to units."""
    return re.sub(
        "10([\u2070\u00b9\u00b2\u00b3\u2074-\u2079\u207b\u207a]+)", lambda match: "10^" + match[1].translate(_POWERS), text
    )


def _number_cell(text: str, decimal: str) -> Cell | None:
    bound = ""
    match = re.match(r"(<=|>=|=|<|>|\u2264|\u2265|~|\u2248|ca\.?|about)\s*", text)
    mark = ""
    if match:
        sign = match[1]
        bound = "<" if sign in ("<", "<=", "\u2264") else ">" if sign in (">", ">=", "\u2265") else ""
        mark = "about" if sign[0] in "~\u2248ca" else ""
        text = text[match.end() :]
    spread = _PLUS_MINUS.fullmatch(text)
    if spread:
        sd = number_from(spread[2], decimal)
        inner = _number_cell(f"{spread[1]} {spread[3]}".strip(), decimal)
        return None if inner is None or sd is None else Cell("number", inner.value, bound, inner.unit, sd, inner.mark)
    power = _POWER.match(text)
    if power:
        base = number_from(power[1], decimal) if power[1] else 1.0
        rest = text[power.end() :].strip()
        exponent = int(power[2])
        return (
            None
            if base is None or abs(exponent) > 30 or re.match(r"to\b|-|bis\b", rest)
            else Cell("number", base * 10.0**exponent, bound, rest, None, mark)
        )
    joined = re.sub(r"(?<=\d)[ \u00a0\u202f\u2009'\u2019](?=\d{3}(?!\d))", "", text)
    behind = _BEHIND.fullmatch(joined)
    if behind is None:
        return None
    value = number_from(behind[1], decimal)
    if value is None:
        return None
    rest = (behind[2] or "").strip()
    inside = re.fullmatch(rf"\(\s*({_NUMBER})\s*\)", rest)
    if inside:
        return Cell("number", value, bound, "", number_from(inside[1], decimal), mark)
    if re.fullmatch(r"[*\u2020\u2021]{1,3}|[a-e]{1,3}", rest) and rest not in ("d",):
        return Cell("number", value, bound, "", None, rest)
    if rest[:1].isdigit() or re.match(r"([-:/]|to|bis|and|or|of|from)\s*[\d.]", rest):
        return None  # a date, a clock, a span
    return Cell("number", value, bound, rest, None, mark)


def number_from(text: str, decimal: str) -> float | None:
    """A bare number; `decimal` decides only where the number could be meant two ways."""
    text = text.translate(_SPACES)
    body, exponent = [*re.split(r"[eE]", text, maxsplit=1), ""][:2]
    points, commas = body.count("."), body.count(",")
    if points and commas:
        last = max(body.rfind("."), body.rfind(","))
        other = "," if body[last] == "." else "."
        head = body[:last]
        if body.count(body[last]) > 1 or not re.fullmatch(r"[+-]?\d{1,3}(\%s\d{3})+" % other, head):  # noqa: UP031
            return None
        body = head.replace(other, "") + "." + body[last + 1 :]
    elif commas > 1 or points > 1:
        mark = "," if commas else "."
        if not re.fullmatch(r"[+-]?\d{1,3}(\%s\d{3})+" % mark, body):  # noqa: UP031
            return None
        body = body.replace(mark, "")
    elif commas:
        # With a power of ten behind it the mantissa is a small number: 1,050e6 has a decimal comma.
        body = body.replace(",", "" if decimal == "." and is_ambiguous(body) and not exponent else ".")
    elif points and decimal == "," and is_ambiguous(body) and not exponent:
        body = body.replace(".", "")
    try:
        value = float(body + ("e" + exponent if exponent else ""))
    except ValueError:
        return None
    return value if abs(value) < 1e300 else None


def is_ambiguous(body: str) -> bool:
    """Whether a number with one mark can be read two ways: 1,305 is a thousand or a little over one; 0,305 and 13,05 are not."""
    return bool(re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", body))


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """How numbers of some cells are written: counts of what tells, and of what can be read two ways."""

    commas: int = 0  # can only be decimal commas
    points: int = 0  # can only be decimal points
    comma_thousands: int = 0  # 1,234,567
    point_thousands: int = 0
    either_comma: int = 0  # 1,305
    either_point: int = 0  # 1.305

    def __add__(self, other: Marks) -> Marks:
        return Marks(**{name: getattr(self, name) + getattr(other, name) for name in self.__dataclass_fields__})

    @property
    def decimal(self) -> str:
        """`.` or `,` where something tells; empty where nothing does or both do."""
        comma, point = self.commas + self.point_thousands, self.points + self.comma_thousands
        return "" if (comma > 0) == (point > 0) else "," if comma else "."


_TOKEN = re.compile(r"[+-]?\d[\d.,]*(?:[eE][+-]?\d+)?")


def marks_of(cells: Iterable[str]) -> Marks:
    """How the numbers of some cells are written."""
    found = dict.fromkeys(Marks.__dataclass_fields__, 0)
    for cell in cells:
        text = cell.strip().lstrip("<>=~\u2264\u2265 ").translate(_SPACES)
        match = _TOKEN.match(text)
        if match is None or (match.end() < len(text) and text[match.end()] in ".:/-"):
            continue
        mantissa, *exponent = re.split(r"[eE]", match[0])
        body = mantissa.rstrip(".,")
        points, commas = body.count("."), body.count(",")
        if points and commas:
            found["commas" if body.rfind(",") > body.rfind(".") else "points"] += 1
        elif commas > 1 or points > 1:
            if not re.fullmatch(r"[+-]?\d{1,3}([.,]\d{3})+", body):
                continue
            found["comma_thousands" if commas else "point_thousands"] += 1
        elif commas:
            found["either_comma" if is_ambiguous(body) and not exponent else "commas"] += 1
        elif points:
            found["either_point" if is_ambiguous(body) and not exponent else "points"] += 1
    return Marks(**found)
