"""One table of a sheet as text."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One table of a sheet as text. `numbers` are the rows' numbers in the file, counted from 1, for messages."""

    sheet: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...]
    above: tuple[str, ...] = ()  # lines above the names
    below: tuple[str, ...] = ()  # remarks between and under the rows
    form: str = "rows"  # rows, or plate
    counted: tuple[tuple[str, str], ...] = ()  # columns whose numbers were read as moments, and what they count
    noted: tuple[str, ...] = ()  # what was done to find it, for the person


Numbered = list[tuple[int, list[str]]]
