"""Numbers in and out of text: decimal commas accepted, digits that follow the uncertainty."""

from __future__ import annotations

import math
import re

from aerobe.errors import NotAQuantity
from aerobe.units._display import IN_MONEY, typed_units

LONGEST = 200  # characters of a number or quantity; nobody types more, and reading must stay quick
_PLAIN = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
# No group of thousands begins with a nought: 0.000.001 is a slip, and not one.
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}([ '\u00a0\u202f]\d{3})+([.,]\d*)?")
# One mark with three digits behind it that is not the person's decimal sign.
_TWO_WAYS = {sign: re.compile(rf"[+-]?[1-9]\d{{0,2}}[{other}]\d{{3}}") for sign, other in ((".", ","), (",", "."))}
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}((,\d{3})+(\.\d*)?|(\.\d{3})+(,\d*)?)")


def parse_number(text: str, *, decimal: str | None = None) -> float:
    """A number typed with a decimal point or a decimal comma. [as typed]

    `1,234.5` and `1.234,5` are one thousand and more. `1,234` is a thousand and more, or one and a bit: where the decimal
    sign that the person chose does not tell, it is asked.

    Parameters
    ----------
    text
        As typed.
    decimal
        The decimal sign of who wrote it; empty for a text of nobody who chose, where a single mark is a decimal one.
        Left out, that of the display units in use.

    Raises
    ------
    NotAQuantity
        If the text is not one finite number, or can be read in two ways.
    """
    if decimal is None:
        chosen = typed_units()
        decimal = chosen.decimal if chosen is not None else ""
    cleaned = text.strip().replace("\u2212", "-")
    if len(cleaned) > LONGEST:
        raise NotAQuantity(f"'{shortened(cleaned)}' is not a number.", f"A number has at most {LONGEST} characters.")
    if decimal and _TWO_WAYS[decimal].fullmatch(cleaned):
        small, large = re.sub("[.,]", decimal, cleaned), re.sub("[.,]", "", cleaned)
        raise NotAQuantity(f"'{cleaned}' can be read as {small} or as {large}.", f"Write {small} or {large}, whichever is meant.")
    if _GROUPED.fullmatch(cleaned):
        cleaned = re.sub(r"[ '\u00a0\u202f]", "", cleaned)
    elif _THOUSANDS.fullmatch(cleaned) and len(re.findall(r"[.,]", cleaned)) > 1:
        last = max(cleaned.rfind(","), cleaned.rfind("."))
        mark = cleaned[last]
        repeated = cleaned.count(mark) > 1
        whole = re.sub(r"[.,]", "", cleaned if repeated else cleaned[:last])
        cleaned = whole if repeated else f"{whole}.{cleaned[last + 1 :]}"
    if not _PLAIN.fullmatch(cleaned):
        raise NotAQuantity(f"'{text}' is not a number.", "Write digits with at most one decimal point or comma.")
    value = float(cleaned.replace(",", "."))
    if not math.isfinite(value):
        raise NotAQuantity(f"'{text}' is too large.", "Check the number of digits and the exponent.")
    return value


def whole_numbers(text: str) -> tuple[int, ...]:
    """Whole numbers with spaces between, such as `3 1 1`.

    Raises
    ------
    NotAQuantity
        If one is none, or has more digits than anybody counts.
    """
    words = text.split()
    if not all(re.fullmatch(r"[+-]?[0-9]{1,9}", word) for word in words):
        raise NotAQuantity(f"'{shortened(text)}' are no whole numbers.", "Write them with spaces between: 3 1 1.")
    return tuple(int(word) for word in words)


def shortened(text: str, most: int = 60) -> str:
    """A text as a message can quote it."""
    return text if len(text) <= most else f"{text[:most]}..."


def number(value: float, digits: int = 3) -> str:
    """A value with so many significant digits, without an exponent where a person can read it."""
    if not math.isfinite(value):
        return "unbounded" if math.isinf(value) else "unknown"
    if value == 0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if size >= 7 or size < -4:
        return f"{value:.{digits - 1}e}"
    rounded = round(value, digits - 1 - size)
    return f"{rounded:.{max(0, digits - 1 - size)}f}"


def given(value: float) -> str:
    """A number that a person gave, as given where it has up to six digits (`20`, `1203.5`); one out of other units in four."""
    if not math.isfinite(value) or abs(value) >= 1e5:
        return f"{value:.0f}" if math.isfinite(value) else number(value)
    exact = f"{value:.6g}"
    text = exact if float(exact) == value else f"{value:.4g}"
    return text if "e" not in text else number(value)


def amount(value: float) -> str:
    """An amount of money in a sentence: `450 in your currency`, which shows as `450 EUR` where that was chosen."""
    return f"{given(round(value) if abs(value) >= 100.0 else round(value, 2))} {IN_MONEY}"


def percent(share: float, places: int = 0) -> str:
    """A part of a whole as `47 %`."""
    return f"{100.0 * share:.{places}f} %"


def with_uncertainty(value: float, low: float, high: float) -> str:
    """`3.2 (2.6 to 4.0)`: as many digits as the width of the interval supports."""
    width = abs(high - low)
    if not math.isfinite(width) or width == 0:
        return f"{number(value)} ({number(low)} to {number(high)})"
    places = max(0, 1 - math.floor(math.log10(width)))
    if max(abs(value), abs(low), abs(high)) >= 1e7:
        return f"{number(value, 2)} ({number(low, 2)} to {number(high, 2)})"
    if places == 0:
        step = 10.0 ** max(0, math.floor(math.log10(width)) - 1)
        value, low, high = (round(item / step) * step for item in (value, low, high))
    return f"{value:.{places}f} ({low:.{places}f} to {high:.{places}f})"


def ratio_of(log: float) -> float:
    """The ratio with this natural logarithm, held where a computer can still write it: 1e-304 to 1e304.

    Parameters
    ----------
    log
        Natural logarithm of the ratio. [-]
    """
    return math.exp(min(700.0, max(-700.0, log)))


def ratio_words(value: float, low: float, high: float) -> str:
    """`1.8 (0.60 to 5.4)`: a ratio with its interval, each end with digits of its own, for ratios are compared by their logs."""
    digits = 3 if low > 0.0 and high < 1.5 * low else 2
    return f"{number(value, digits)} ({number(low, digits)} to {number(high, digits)})"


def span(low: float, high: float, unit: str = "") -> str:
    """`2.6 to 4.0 mg/L`."""
    tail = f" {unit}" if unit else ""
    return f"{number(low)} to {number(high)}{tail}"
