"""Dilutions as people write them."""

from __future__ import annotations

import re
from collections.abc import Callable

from aerobe.errors import NotAQuantity
from aerobe.units._writing import parse_number

_ONE_TO = re.compile(r"1\s*(?::|/|in)\s*([\d.,]+)")
_POWER = re.compile(r"10\s*\^?\s*[-\u2212]\s*(\d{1,2})|1[eE]-0?(\d{1,2})")


def dilution_factor(text: str, number: Callable[[str], float] = parse_number) -> float:
    """Final volume over sample volume, from `10`, `1:10` (one part made up to ten), `1 in 10` or `10^-3`. [-]

    Parameters
    ----------
    text
        As typed. [-]
    number
        Reads a number, where a file has a decimal mark of its own. [-]

    Raises
    ------
    NotAQuantity
        If it cannot be read, or would concentrate the sample.
    """
    typed = text.strip()
    ratio, power = _ONE_TO.fullmatch(typed), _POWER.fullmatch(typed)
    value = 10.0 ** int(power[1] or power[2]) if power else number(ratio[1] if ratio else typed)
    if value < 1.0:
        raise NotAQuantity(
            f"A dilution of {typed[:30]} would concentrate the sample.", "Write final volume over sample volume: 10, or 1:10."
        )
    return value
