"""Parts of a row: time since the start, dose, dilution, and the spread behind a value."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from aerobe.errors import AerobeError
from aerobe.tables._cells import Cell, read_cell
from aerobe.tables._clock import duration_h
from aerobe.tables._columns import Column
from aerobe.tables._results import BadCell
from aerobe.tables._units import split_header, unit_of
from aerobe.tables._way import ABOVE_WORDS, BELOW_WORDS
from aerobe.tables._wide import hour_of
from aerobe.tables._words import folded_name
from aerobe.units import ELAPSED, dilution_factor

SPREADS = ("sd", "se", "cv", "lower", "upper", "n")
_N_IN_NAME = re.compile(r"\bn\s*=\s*(\d{1,4})\b", re.IGNORECASE)
_SE_IN_NAME = re.compile(r"\b(SEM?|std\.? ?err(or)?|standard error)\b", re.IGNORECASE)


def spread_columns(columns: Sequence[Column], place: int) -> dict[str, int]:
    """The sd, se and n columns that belong to a column of values: of the same name, else the nearest to its right."""
    values = [at for at, column in enumerate(columns) if column.field == "value"]
    end = next((other for other in values if other > place), len(columns))
    words = folded_name(columns[place].header).split(" ")
    found: dict[str, int] = {}
    for field in SPREADS:
        every = [at for at, column in enumerate(columns) if column.field == field]
        near = [at for at in every if place < at < end]
        alike = [at for at in every if words[0] and words[0] in folded_name(columns[at].header).split(" ")]
        chosen = near or alike or (every if len(values) == 1 else [])
        if chosen:
            found[field] = chosen[0]
    return found


def errors_of(
    row: tuple[str, ...], columns: Sequence[Column], near: dict[str, int], cell: Cell, header: str = ""
) -> tuple[float | None, float | None, int]:
    """Standard deviation of one test, standard uncertainty of the value, and how many tests it is the mean of.

    A name such as `mean +- SE, n = 3` says what stands behind the sign. Limits on both sides are read as those of a scatter of
    logarithms, which is what limits of counts and of most probable numbers are.
    """
    sd, se, cv, low, high, count = (_spread(row, columns, near.get(field)) for field in SPREADS)
    said = _N_IN_NAME.search(header)
    n = int(count) if count is not None and count >= 1 else int(said[1]) if said else 1
    if cell.sd is not None and se is None and sd is None:
        sd, se = (None, cell.sd) if _SE_IN_NAME.search(header) else (cell.sd, None)
    if se is not None:
        return (se * n**0.5 if n > 1 else None), se, n
    if sd is None and cv is not None:
        sd = abs(cell.value) * cv / (1.0 if 0.0 < cv <= 1.0 and "%" not in columns[near["cv"]].header else 100.0)
    if sd is not None:
        return sd, sd / n**0.5, n
    if low and high and high > low and cell.value > 0.0:
        return None, cell.value * math.log(high / low) / (2.0 * _width(columns[near["lower"]].header)), n
    return None, None, n


def _width(header: str) -> float:
    """Half the width of an interval in standard deviations, by the percent in its name; of 95 % where it has none."""
    said = re.search(r"\b(80|90|95|98|99)\b", header)
    return {"80": 1.2816, "90": 1.6449, "98": 2.3263, "99": 2.5758}.get(said[1] if said else "95", 1.96)


def _spread(row: tuple[str, ...], columns: Sequence[Column], place: int | None) -> float | None:
    if place is None or not row[place]:
        return None
    cell = read_cell(row[place], columns[place].decimal)
    return abs(cell.value) if cell.kind == "number" else None


def elapsed_of(typed: str, column: Column) -> float:
    """Hours since the start of a cell: a number in the column's unit, `6 h`, `T6`, or `30:15`. [h]"""
    try:
        cell = read_cell(typed, column.decimal)
        if cell.kind == "number" and not cell.bound and (not cell.unit or unit_of(cell.unit)):
            known = unit_of(cell.unit) if cell.unit else None
            return ELAPSED.convert(cell.value, known.name if known else column.unit, typed=typed)
        duration = duration_h(typed)
        if duration is not None:
            return ELAPSED.convert(duration, "h", typed=typed)
        named = hour_of(typed)
        if named is not None:
            return ELAPSED.convert(named[0], named[1] or column.unit or "h", typed=typed)
        raise BadCell(column.header, typed, f"'{typed[:60]}' is no time since the start.", "Write hours, such as 6 or 6.5.")
    except AerobeError as fault:
        raise BadCell(column.header, typed, fault.problem, fault.remedy) from None


def dose_of(typed: str, column: Column) -> str:
    """A dose as a label: its food, the number and the unit."""
    cell = read_cell(typed, column.decimal)
    words = split_header(column.header)[0].replace("_", " ")
    name = re.sub(r"(?i)\b(dose|dosis|conc(entration)?|rate|amount|level)\b", "", words).strip()
    amount = f"{cell.value:g} {column.unit}".strip() if cell.kind == "number" and not cell.unit else typed
    return f"{name} {amount}".strip()


def dilution_of(typed: str, column: Column) -> float:
    """A dilution in a cell, read with the decimal mark of its column. [-]"""

    def number(text: str) -> float:
        cell = read_cell(text, column.decimal)
        return cell.value if cell.kind == "number" else 0.0

    try:
        return dilution_factor(typed, number)
    except AerobeError as fault:
        raise BadCell(column.header, typed, fault.problem, fault.remedy) from None


def unit_for(written: str, column: Column, cell: Cell) -> tuple[str, float, bool]:
    """Unit of a result, the factor before it, and whether values are logarithms: of its row, its cell, else its column."""
    said = written or (cell.unit if cell.unit and unit_of(cell.unit) else "")
    if not said:
        return column.unit, column.factor, column.log10
    known = unit_of(said)
    return (known.name, known.factor, known.log10) if known and "value" in known.kinds else (said, 1.0, False)


def bound_of(qualifier: str) -> str:
    """`<` or `>` by the word of a flag, or empty."""
    text = qualifier.strip().lower()
    word = text if text in BELOW_WORDS | ABOVE_WORDS else folded_name(text)
    return "<" if word and word in BELOW_WORDS else ">" if word and word in ABOVE_WORDS else ""
