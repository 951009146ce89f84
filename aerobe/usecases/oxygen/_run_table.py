"""A re-aeration run or air steps as a logger wrote them: text to times, oxygen, temperature."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import ImportFault, NotAQuantity
from aerobe.oxygen import oxygen_from_percent
from aerobe.units import ELAPSED, OXYGEN, OXYGEN_PERCENT, parse_number

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLog:
    """A logger's run in house units."""

    times_h: Array  # [h]
    oxygen_mg_per_l: Array  # [mg/L]


def read_run(
    text: str, *, time_unit: str = "", oxygen_unit: str = "", temperature_degc: float | None = None, altitude_m: float = 0.0
) -> RunLog:
    """A run from pasted or exported text: two columns, time and oxygen, with a head that names the units or without.

    Parameters
    ----------
    text
        Rows with commas, semicolons, tabs or spaces between. A head such as `time [s]; oxygen [mg/L]` gives the units.
    time_unit, oxygen_unit
        Used where the head names none. [-]
    temperature_degc, altitude_m
        To turn percent of saturation into mg/L. [degC, m]

    Raises
    ------
    ImportFault
        If rows or units cannot be read.
    """
    lines = [line for line in text.strip().splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if len(lines) < 3:
        raise ImportFault("The run has fewer than three rows.", "Paste two columns: time and dissolved oxygen.")
    rows = [_cells(line) for line in lines]
    head = rows.pop(0) if not _is_number(rows[0][0]) else []
    time_unit, oxygen_unit = _unit(head, 0) or time_unit, _unit(head, 1) or oxygen_unit
    if not time_unit or not oxygen_unit:
        raise ImportFault(
            "The units of the run are not named.",
            "Start the text with a head such as 'time [s], oxygen [mg/L]', or choose the units.",
        )
    # Where commas stand between the columns, a meter wrote its decimals with a point, whichever sign the person types.
    decimal = "." if any(_between(line) == "," for line in lines) else None
    numbered = enumerate(rows, start=1 + bool(head))
    pairs = [(_value(row, 0, place, decimal), _value(row, 1, place, decimal)) for place, row in numbered]
    times = np.array([ELAPSED.convert(time, time_unit) for time, _ in pairs])
    if _is_percent(oxygen_unit):
        if temperature_degc is None:
            raise ImportFault("Percent of saturation is mg/L only at a temperature.", "Give the temperature of the water.")
        shown = [OXYGEN_PERCENT.convert(value, oxygen_unit) for _, value in pairs]
        oxygen = np.array([oxygen_from_percent(value, temperature_degc, altitude_m=altitude_m) for value in shown])
    else:
        oxygen = np.array([OXYGEN.convert(value, oxygen_unit) for _, value in pairs])
    return RunLog(times_h=times, oxygen_mg_per_l=oxygen)


def _between(line: str) -> str:
    """What stands between the columns; empty for blanks."""
    return next((mark for mark in ("\t", ";", ",") if mark in line), "")


def _cells(line: str) -> list[str]:
    mark = _between(line)
    if mark in ("\t", ";"):
        return [cell.strip() for cell in line.split(mark)]
    if mark:
        try:
            return [cell.strip() for cell in next(csv.reader(io.StringIO(line)))]
        except csv.Error as fault:
            raise ImportFault(f"A row of the run cannot be read: {fault}.", "Save the run as CSV and try again.") from None
    return line.split()


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+\-\u2212]?\d[\d.,eE+\-]*", text.strip()) is not None


def _unit(head: list[str], place: int) -> str:
    """The unit in brackets, or after an underscore-free space, of a heading."""
    if place >= len(head):
        return ""
    found = re.search(r"[\[(]([^\])]+)[\])]", head[place])
    return found[1].strip() if found else ""


def _is_percent(unit: str) -> bool:
    return unit.replace(" ", "").lower() in {item.replace(" ", "").lower() for item in OXYGEN_PERCENT.accepts}


def _value(row: list[str], column: int, place: int, decimal: str | None) -> float:
    try:
        return parse_number(row[column], decimal=decimal)
    except (IndexError, NotAQuantity) as fault:
        raise ImportFault(
            f"Row {place} of the run cannot be read: '{' '.join(row)}'.",
            "Give time and oxygen as the first two columns of each row.",
        ) from fault
