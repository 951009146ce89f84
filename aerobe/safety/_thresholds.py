"""Every limit of this room stands in a data file beside it, with its source and its date; code holds none."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from aerobe.errors import NotFound

LOCAL = "local codes and licensed practice decide"
DECIDES = f"{LOCAL[0].upper()}{LOCAL[1:]}."
DECIDE = f" {DECIDES}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Threshold:
    """One limit: its value and unit, where it comes from, and which edition or day that was."""

    key: str
    value: float
    unit: str
    source: str  # key in `sources`
    date: str  # ISO date or year of the source, or of our choice
    says: str  # the rule in one line
    jurisdiction: str = ""  # "" where no law is meant
    strict: bool = False  # the value itself breaks the limit
    detects: bool = False  # presence or absence: what the method must be able to find


@cache
def tables(file: str) -> dict[str, Any]:
    """One data file of this room, as read."""
    return tomllib.loads((files(__package__) / f"{file}.toml").read_text(encoding="utf-8"))


@cache
def all_thresholds() -> dict[str, Threshold]:
    """Every single-number limit by key, from the files that hold such."""
    found: dict[str, Threshold] = {}
    for file in ("brewing", "indicators", "water", "use"):
        for key, fields in tables(file).items():
            if key in found:
                raise ValueError(f"limit {key} stands in two files")
            if "value" in fields:
                found[key] = Threshold(key=key, **fields)
    return found


def threshold(key: str) -> Threshold:
    """The limit with this key.

    Raises
    ------
    NotFound
        If no data file of this room has it.
    """
    try:
        return all_thresholds()[key]
    except KeyError:
        raise NotFound(f"There is no limit '{key}'.", f"Use one of: {', '.join(all_thresholds())}.") from None
