"""Smell, as a screen for missing oxygen. It proves nothing about germs."""

from __future__ import annotations

import re

from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN
from aerobe.safety._thresholds import tables


def smell_of(text: str | None) -> str:
    """What a noted smell shows: `fails`, `shown to pass` or `not shown to pass` (nothing noted, or no clear word).

    A note is read the careful way: one bad word is enough, also after "not"; a good word after "not" shows nothing.

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
    good = set(words) & set(smells["good"]) and not set(words) & set(smells["doubt"])
    return SHOWN if good else NOT_SHOWN
