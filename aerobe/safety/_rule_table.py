"""Decision tables of the rules on use: read from data, and decided for every answer that is still possible.

A question that is left open is no obstacle where all its answers come out alike; else the worst of them counts and it is asked.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from aerobe.errors import NotFound
from aerobe.safety._rule_axes import Axes

MAY, ONLY_SO, NOT, SILENT = "may", "only so", "not", "silent"
EVERYWHERE = "*"
FILES = (
    "us",
    "us_organic",
    "eu",
    "germany",
    "eu_organic",
    "uk",
    "uk_organic",
    "canada",
    "australia",
    "elsewhere",
    "care",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RuleCell:
    """One cell of a table: for which values of the axes, what it answers, and the paragraph that says so."""

    table: str  # key of its table
    id: str
    when: Mapping[str, frozenset[str]]  # an axis that is not named does not matter
    answer: str  # may, only so, not, silent; in the table of statuses the status
    says: str
    rule: str  # key of an edition
    paragraph: str
    days: float = 0.0  # asked before harvest, grazing or people [d]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The cells of one set of rules, read from the top; a use that fits none of them is closed."""

    key: str
    title: str
    places: tuple[str, ...]
    cells: tuple[RuleCell, ...]
    organic: bool = False  # only under an organic certificate
    missing: str = ""  # what is not on file
    heat: str = ""  # under which name the rules of heating of these places are on file

    @property
    def is_of_a_place(self) -> bool:
        """Whether it belongs to some places only."""
        return EVERYWHERE not in self.places


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleOutcome:
    """The cells that may still decide (None for a use that no cell covers), and the axes that tell them apart."""

    cells: tuple[RuleCell | None, ...]
    apart: frozenset[str]


@cache
def table_of(file: str) -> Table:
    """One table as read from its data file."""
    data = tomllib.loads((files(__package__) / "rules" / f"{file}.toml").read_text(encoding="utf-8"))
    head = data["table"]
    cells = tuple(_cell(head["key"], entry) for entry in data["cell"])
    return Table(**{**head, "places": tuple(head["places"])}, cells=cells)


def _cell(table: str, entry: Mapping[str, object]) -> RuleCell:
    fields = {name: value for name, value in entry.items() if name not in ("when", "becomes")}
    when = {axis: frozenset(values) for axis, values in entry["when"].items()}  # type: ignore[attr-defined]
    return RuleCell(table=table, when=when, **{"answer": entry.get("becomes"), **fields})  # type: ignore[arg-type]


def all_tables() -> tuple[Table, ...]:
    """The tables of the places and the one of care, in the order in which they are asked."""
    return tuple(table_of(file) for file in FILES)


def rule_places() -> tuple[str, ...]:
    """The places that have a table of their own; the last is for all others, where food stays closed."""
    return tuple(dict.fromkeys(place for table in all_tables() if table.is_of_a_place for place in table.places))


def tables_for(place: str, tables: Sequence[Table] | None = None) -> tuple[Table, ...]:
    """The tables that count at a place.

    Raises
    ------
    NotFound
        If the place is not on file; "elsewhere" is.
    """
    found = tuple(table for table in (tables or all_tables()) if place in table.places or not table.is_of_a_place)
    if not any(table.is_of_a_place for table in found):
        raise NotFound(f"No rules on use are on file for '{place}'.", f"Choose one of: {', '.join(rule_places())}.")
    return found


def decide(cells: Sequence[RuleCell], axes: Axes) -> RuleOutcome:
    """Which cells may decide, over every value that the axes still allow."""
    found, apart = _reach(tuple(cells), dict(axes))
    return RuleOutcome(cells=tuple(found), apart=frozenset(apart))


def _reach(cells: tuple[RuleCell, ...], axes: dict[str, frozenset[str]]) -> tuple[dict[RuleCell | None, None], set[str]]:
    for index, cell in enumerate(cells):
        if any(not axes[axis] & allowed for axis, allowed in cell.when.items()):
            continue
        loose = next((axis for axis, allowed in cell.when.items() if not axes[axis] <= allowed), None)
        if loose is None:
            return {cell: None}, set()
        allowed = cell.when[loose]
        inside, asked_in = _reach(cells[index:], {**axes, loose: axes[loose] & allowed})
        outside, asked_out = _reach(cells[index + 1 :], {**axes, loose: axes[loose] - allowed})
        # Only where the answers differ does the question matter.
        apart = asked_in | asked_out | ({loose} if _kinds(inside) != _kinds(outside) else set())
        return inside | outside, apart
    return {None: None}, set()


def _kinds(cells: Mapping[RuleCell | None, None]) -> set[tuple[str, float]]:
    """What cells answer; may and silent let pass alike."""
    return {(NOT, 0.0) if cell is None else (MAY if cell.answer == SILENT else cell.answer, cell.days) for cell in cells}
