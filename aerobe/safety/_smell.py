"""Smell, as a screen for missing oxygen. It proves nothing about germs."""

from __future__ import annotations

import re

from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN
from aerobe.safety._thresholds import tables


def smell_of(text: str | None) -> str:
    """What a noted smell shows: `fails`, `shown to pass` or `not shown to pass` (nothing noted, or no clear word).

    A note is read the careful way: one bad word is enough, also after "not"; a good word beside one that is not known, or after
    "not", shows nothing.

    Source
    ------
    tea-common-practice
    """
    words = re.findall(r"[a-z]+", (text or "").lower())
    smells = tables("brewing")["smells"]
    if set(words) & set(smells["bad"]):
        return FAILS
    if words in ([], ["not", "noted"]):
        return NOT_SHOWN
    if words in (["no", "smell"], ["no", "odour"], ["no", "odor"]):
        return SHOWN
    # One good word among others that are not known ("earthy but fishy") shows nothing.
    good, known = set(smells["good"]), set(smells["good"]) | set(smells["plain"])
    return SHOWN if set(words) & good and set(words) <= known else NOT_SHOWN
