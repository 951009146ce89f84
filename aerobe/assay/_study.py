"""A characterisation study: readings made to learn about the test itself, as a table that a person can type."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.errors import ImportFault, NotEnoughData, UnusableReading
from aerobe.units import numbers_of_table, parse_number, same_unit

STUDY_ROLES = ("sample", "water blank", "filtered blank", "killed control", "colourant", "spike", "standard")
_ALIASES = {
    "blank": "water blank",
    "tea": "sample",
    "killed": "killed control",
    "filtered": "filtered blank",
    "colorant": "colourant",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyReading:
    """One reading of a characterisation study, as read: nothing subtracted, nothing multiplied back."""

    role: str  # one of STUDY_ROLES
    signal: float  # [unit of the study]
    unit: str
    what: str = ""  # recipe of the tea, name of the colourant or of the standard
    colour: float = 0.0  # of the liquid as tested, any one unit; nan if not measured
    added: float = 0.0  # spike or standard: known content of the liquid as tested [unit of the study]
    dilution: float = 1.0  # final volume over sample volume [-]
    sample: str = ""  # portion of the tea; repeats of one portion share it
    day: str = ""
    operator: str = ""
    kit_lot: str = ""
    below_detection: bool = False
    above_range: bool = False
    line: int = 0  # of the table it came from

    def __post_init__(self) -> None:
        at = f"Line {self.line}: " if self.line else ""
        if self.role not in STUDY_ROLES:
            raise UnusableReading(f"{at}'{self.role}' is no role in a study.", f"Use one of: {', '.join(STUDY_ROLES)}.")
        if not math.isfinite(self.signal) or self.signal < 0:
            raise UnusableReading(
                f"{at}a reading of {self.signal:g} is below zero or not a number.",
                "Enter the number as read, before any blank is taken off; the blank is taken off here, with its uncertainty.",
            )
        if not 1.0 <= self.dilution <= 1e12:
            raise UnusableReading(
                f"{at}a dilution of {self.dilution:g} would concentrate the sample.",
                "Enter final volume over sample volume: 1 mL made up to 10 mL is 10.",
            )
        if self.below_detection and self.above_range:
            raise UnusableReading(f"{at}a reading cannot lie below and above the range.", "Mark one of the two.")
        if self.colour < 0:
            raise UnusableReading(
                f"{at}a colour of {self.colour:g} is below zero.", "Zero the meter with clear water and read again."
            )
        if self.added < 0 or (self.role == "spike" and self.added == 0):
            raise UnusableReading(f"{at}an addition of {self.added:g}.", "Give how much was added, in the unit of the readings.")
        if self.role not in ("water blank", "standard") and not self.what:
            raise UnusableReading(f"{at}a {self.role} without a name.", "Name the recipe of the tea, or the colourant.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """All readings made to characterise one test."""

    name: str
    method: str
    readings: tuple[StudyReading, ...]
    price: float = 0.0  # of one test [money]
    scale_low: float | None = None  # what the kit calls 'below' [unit of the study]
    scale_high: float | None = None  # top of its scale

    def __post_init__(self) -> None:
        units = sorted({item.unit for item in self.readings})
        if not self.readings:
            raise NotEnoughData("The study has no readings.", "Enter water blanks and repeated readings of at least one tea.")
        if not all(same_unit(unit, units[0]) for unit in units):
            raise UnusableReading(
                f"The readings have mixed units: {', '.join(units)}.",
                "Give all readings of a study in one unit; convert before entering them.",
            )

    @property
    def unit(self) -> str:
        """The one unit of all readings."""
        return self.readings[0].unit

    def of(self, *roles: str) -> list[StudyReading]:
        """Readings of these roles."""
        return [item for item in self.readings if item.role in roles]


MOST_READINGS = 3000  # far beyond what a person tests; keeps the fit within seconds
COLUMNS = ("role", "signal", "unit", "what", "colour", "added", "dilution", "sample", "day", "operator", "kit_lot", "mark")


def study_from_table(
    text: str, *, name: str, method: str, price: float = 0.0, scale_low: float | None = None, scale_high: float | None = None
) -> Study:
    """A study from a table with a header line: comma, semicolon or tab between columns, decimal comma allowed with the last two.

    Columns are named in `COLUMNS`; role, signal and unit are needed. `mark` is empty, `below` or `above`. A signal
    written `<5` or `>200` sets the mark itself.

    Raises
    ------
    ImportFault
        If a column is unknown or missing, or a line has too many cells.
    UnusableReading
        If a line cannot mean what it says; the message names the line.
    """
    lines = [line for line in text.lstrip("\ufeff").splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if len(lines) < 2:
        raise ImportFault("The table is empty.", f"Start with a header line: {','.join(COLUMNS)}, then one reading a line.")
    if len(lines) > MOST_READINGS + 1:
        raise ImportFault(
            f"The table has {len(lines) - 1} readings.", f"Give at most {MOST_READINGS}: a study needs a hundred or two."
        )
    mark = max("\t;,", key=lines[0].count)
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=mark))
    except csv.Error as fault:
        raise ImportFault(f"The table cannot be read: {fault}.", "Save it as CSV and try again.") from None
    header = [cell.strip().lower().replace(" ", "_") for cell in rows[0]]
    header = ["colour" if cell == "color" else cell for cell in header]
    unknown, missing = [cell for cell in header if cell not in COLUMNS], [cell for cell in COLUMNS[:3] if cell not in header]
    if unknown or missing:
        problem = f"Unknown columns: {', '.join(unknown)}." if unknown else f"Missing columns: {', '.join(missing)}."
        raise ImportFault(problem, f"Use the columns {', '.join(COLUMNS)}.")
    with numbers_of_table(mark):
        readings = tuple(
            _reading(dict(zip(header, (cell.strip() for cell in row), strict=False)), place, len(row) > len(header))
            for place, row in enumerate(rows[1:], start=2)
        )
    return Study(name=name, method=method, readings=readings, price=price, scale_low=scale_low, scale_high=scale_high)


def _reading(row: dict[str, str], line: int, too_long: bool) -> StudyReading:
    if too_long:
        raise ImportFault(
            f"Line {line} has more cells than the header.", "Use a semicolon between columns when numbers have a decimal comma."
        )

    def number_of(name: str, default: float) -> float:
        text = row.get(name, "")
        try:
            return parse_number(text) if text else default
        except Exception as fault:
            raise UnusableReading(
                f"Line {line}: {name} '{text}' is not a number.", "Write digits with one decimal point or comma."
            ) from fault

    signal, mark = row.get("signal", ""), row.get("mark", "").lower()
    if mark not in ("", "below", "above"):
        raise UnusableReading(f"Line {line}: the mark '{mark}' is unknown.", "Leave it empty, or write below or above.")
    if signal[:1] in "<>" and signal:
        mark, row = ("below" if signal[0] == "<" else "above"), {**row, "signal": signal[1:].strip()}
    if not row.get("signal"):
        raise UnusableReading(
            f"Line {line} has no reading.", "Enter the number read; for 'below the scale' write < and the lowest number."
        )
    role = row.get("role", "").lower().replace("_", " ")
    if not row.get("unit"):
        raise UnusableReading(f"Line {line} has no unit.", "Give the unit of the reading, for example ug C/mL.")
    return StudyReading(
        role=_ALIASES.get(role, role),
        signal=number_of("signal", math.nan),
        unit=row["unit"],
        what=row.get("what", ""),
        colour=number_of("colour", 0.0 if role in ("water blank", "blank", "standard") else math.nan),
        added=number_of("added", 0.0),
        dilution=number_of("dilution", 1.0),
        sample=row.get("sample", ""),
        day=row.get("day", ""),
        operator=row.get("operator", ""),
        kit_lot=row.get("kit_lot", ""),
        below_detection=mark == "below",
        above_range=mark == "above",
        line=line,
    )


def replicate_groups(readings: Sequence[StudyReading]) -> dict[tuple[object, ...], list[StudyReading]]:
    """Repeats at once of the same liquid: everything but the reading is equal. Readings above the scale are left out."""
    groups: dict[tuple[object, ...], list[StudyReading]] = {}
    for item in readings:
        if not item.above_range:
            colour = None if math.isnan(item.colour) else item.colour
            key = (
                item.role,
                item.what,
                item.dilution,
                item.added,
                colour if item.role != "sample" else None,
                item.sample,
                item.day,
                item.operator,
                item.kit_lot,
            )
            groups.setdefault(key, []).append(item)
    return groups
