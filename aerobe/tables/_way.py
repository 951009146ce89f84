"""How rows are read, once everything is settled; and the words that rows use."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from aerobe.tables._columns import Column
from aerobe.tables._words import WORDS

LEAVE_OUT = "leave out"


CHANNEL_WORDS = {
    "oxygen": "oxygen",
    "dissolved oxygen": "oxygen",
    "do": "oxygen",
    "temperature": "temperature",
    "water temperature": "temperature",
    "temp": "temperature",
    "ph": "pH",
    "conductivity": "conductivity",
    "ec": "conductivity",
    "salinity": "salinity",
}


ROLE_WORDS = {
    "": "sample",
    "tea": "sample",
    "unknown": "sample",
    "negative": "blank",
    "water": "blank",
    "reagent blank": "blank",
    "filtered": "filtered blank",
    "filtrate": "filtered blank",
    "killed": "killed control",
    "autoclaved": "killed control",
    "heat killed": "killed control",
    "spiked": "spike",
    "std": "standard",
    "calibrator": "standard",
}


BELOW_WORDS, ABOVE_WORDS, PLAIN_WORDS = (frozenset(WORDS["flags"][kind]) for kind in ("below", "above", "plain"))


BAD_WORDS = re.compile(
    r"bad|err|reject|fail|suspect|discard|outlier|invalid|void|wrong|spill|contamin|fault|doubt|exclude|omit|ignore|do not use"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How rows are read once everything is settled."""

    columns: tuple[Column, ...]
    zone: str = ""
    day_first: bool | None = None
    at_h: float | None = None  # of rows without a time [h]
    date: str = ""  # of clock times without one
    durations: bool = False  # clock times are hours and minutes since the start
    limits: Mapping[tuple[str, str], float | None]  # by column and side; None: leave such cells out
    sentinels: frozenset[tuple[str, float]] = frozenset()  # column and number that mean no reading
    mixed: frozenset[str] = frozenset()  # oxygen columns where small numbers are mg/L and large ones percent
    leave_flags: frozenset[str] = frozenset()  # words of a flag whose rows are left out
    tidy: Mapping[str, str]  # what names across mean, and the like
