"""The decision tables as a person reads them: each cell with its paragraph, each rule with its edition and age."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from aerobe.safety import RuleCell, editions, rule_places, table_of, tables_for

END_WORDS = {
    "food": "eaten",
    "breath": "smoked or steeped",
    "graze": "grazed",
    "people": "people on it",
    "nothing": "none of these",
}
# The axes of the tables and their values in words.
WORDS: Mapping[str, Mapping[str, str]] = {
    "end": END_WORDS,
    "material": {"raw": "untreated", "b": "meets 112.55(b)", "a": "meets 112.55(a)", "plants": "plants only"},
    "status": {"b": "meets 112.55(b)", "a": "meets 112.55(a)", "plants": "plants only"},
    "origin": {"waste": "food waste, fish or animal", "mixed": "manure and plants", "other": "sludge or human waste"},
    "soiled": {"yes": "soiled again", "no": "not soiled again"},
    "additive": {"none": "nothing added", "plant": "food added", "animal": "animal food added"},
    "water": {"ok": "water shown good", "bad": "water fails"},
    "held": {"hour": "held an hour at most", "longer": "held longer"},
    "test": {"pass": "test passed", "fail": "test failed", "none": "no test"},
    "crop": {"sprout": "eaten as seedling", "raw": "eaten raw", "cooked": "cooked", "listed": "cooked, on the list rarely raw"},
    "soil": {"off": "off the soil", "on": "on the soil", "in": "in the soil"},
    "at": {
        "none": "no contact now",
        "least": "soil at it wetted",
        "soaked": "soil around it drenched",
        "direct": "wetted itself",
    },
    "after": {"none": "no contact later", "possible": "contact possible later"},
    "there": {"yes": "part is there", "no": "part is not there yet"},
    "way": {"spray": "sprayed", "pour": "poured"},
    "medium": {"water": "into plant water", "ground": "onto ground"},
    "fish": {"yes": "fish in it", "no": "no fish"},
    "garden": {"yes": "private garden", "no": "field"},
    "pigs": {"yes": "pigs", "no": "no pigs"},
    "weak": {"yes": "weak immunity", "no": "no weak immunity"},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TableView:
    """One table: its cells as rows, read from the top."""

    key: str
    title: str
    organic: bool
    missing: str
    rows: tuple[tuple[str, str, str, str, str], ...]  # cell, for which uses, answer, what it says, rule and paragraph


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleBook:
    """What is on file for a place: the tables that count there, and every rule they cite with its edition and age."""

    place: str
    places: tuple[str, ...]
    tables: tuple[TableView, ...]
    editions: tuple[tuple[str, str, str, str, str], ...]  # title, edition, amended, read and age, standing and note


def rule_book(place: str, *, now: datetime) -> RuleBook:
    """The tables of a place.

    Parameters
    ----------
    place
        One of the places on file; "" shows what counts in every place not on file.
    now
        The day from which the age of a reading counts.

    Raises
    ------
    NotFound
        If the place is not on file.
    """
    named = place or "elsewhere"
    found = (table_of("status"), *tables_for(named))
    cited = dict.fromkeys(cell.rule for table in found for cell in table.cells)
    return RuleBook(
        place=named,
        places=rule_places(),
        tables=tuple(
            TableView(
                key=table.key,
                title=table.title,
                organic=table.organic,
                missing=table.missing,
                rows=tuple(_row(cell) for cell in table.cells),
            )
            for table in found
        ),
        editions=tuple(
            (
                item.title,
                item.edition,
                item.amended,
                f"{item.read}. {item.age(now.date())}",
                f"{item.standing}. {item.note}".strip(),
            )
            for item in (editions()[key] for key in cited)
        ),
    )


def edition_title(key: str) -> str:
    """The title and edition of a rule that a cell cites."""
    item = editions()[key]
    return f"{item.title} ({item.edition})"


def edition_age(key: str, *, now: datetime) -> str:
    """How old our reading of a rule is, in words."""
    return editions()[key].age(now.date())


def _row(cell: RuleCell) -> tuple[str, str, str, str, str]:
    answer = WORDS["status"].get(cell.answer, cell.answer)
    answer = f"{answer}, {cell.days:g} d" if cell.days else answer
    return cell.id, when_words(cell), answer, cell.says, f"{editions()[cell.rule].title}: {cell.paragraph}"


def when_words(cell: RuleCell) -> str:
    """For which uses a cell is, in words."""
    parts = []
    for axis, values in cell.when.items():
        words = WORDS.get(axis.removeprefix("organic_"), {})
        parts.append(" or ".join(words.get(value, value) for value in sorted(values)))
    return "; ".join(parts) or "everything else"
