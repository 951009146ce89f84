"""The table of use cases, written from the published rules: what a paragraph closes is held, what it opens passes."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from aerobe.safety import (
    MistFacts,
    RuleCell,
    Table,
    UseFacts,
    advise_use,
    all_tables,
    clearances,
    table_of,
    use_gates,
)
from tests.safety.test_gates import GOOD_BREW
from tests.safety.use_cases import Row, rows

BREW = GOOD_BREW  # nothing of the brew stands against it: the tables decide
# The table from the rules, and cases that somebody set on finding holes would try.
ROWS = [*rows("use_cases.csv"), *rows("hostile_uses.csv")]


def answer(row: Row) -> str:
    return "may" if advise_use(BREW, row.use).may_go_ahead else "hold"


def test_there_are_enough_cases() -> None:
    assert len({row.id for row in ROWS}) == len(ROWS) >= 150
    assert all(row.paragraph and row.reason and row.wanted in ("may", "hold") for row in ROWS)


def broken(row: Row) -> str:
    """What a row that is not answered as it asks goes against, and what held it; empty if it is."""
    if answer(row) == row.wanted:
        return ""
    held = "; ".join(f"{gate.name}: {gate.why} {gate.how_it_opens}" for gate in advise_use(BREW, row.use).held_back_by)
    return f"{row.id}, wanted {row.wanted}: {row.paragraph}: {row.reason}. {held}"


def test_the_rules_are_kept() -> None:
    assert [said for row in ROWS if (said := broken(row))] == []
    turned = replace(ROWS[0], wanted={"may": "hold", "hold": "may"}[ROWS[0].wanted])
    assert broken(turned).startswith(f"{turned.id}, wanted {turned.wanted}")  # and a broken one is noticed


# -- each closed cell, opened one at a time, is caught by the table ----------------------------------------------------

HELD = [row for row in ROWS if row.wanted == "hold"]
TABLES, STATUS = all_tables(), table_of("status")
OTHERS = ("wind and still air", "spray drift", "people and breathing", "rules chosen", "disease germs", "answers", "own rule")
# Rows that only the tables hold: the other gates stand open.
BY_TABLES = [row for row in HELD if all(gate.is_open for gate in use_gates(BREW, row.use) if gate.name in OTHERS)]


def is_cleared(row: Row, tables: tuple[Table, ...], status: Table) -> bool:
    return all(found.state == "open" for found in clearances(row.use, tables, status))


def opened(table: Table, cell: RuleCell, **change: object) -> Table:
    return replace(table, cells=tuple(replace(item, **change) if item is cell else item for item in table.cells))  # type: ignore[arg-type]


def mutants() -> list[tuple[str, tuple[Table, ...], Table]]:
    """Every table with one closed cell open, every interval one day short of nothing, every status milder."""
    found = []
    for table in TABLES:
        others = tuple(item for item in TABLES if item is not table)
        for cell in table.cells:
            if cell.answer in ("not", "only so"):
                found.append((f"{table.key}/{cell.id}", (*others, opened(table, cell, answer="may", days=0.0)), STATUS))
    for cell in STATUS.cells:
        if cell.answer in ("untreated", "human", "sludge-b"):
            found.append((f"status/{cell.id}", TABLES, opened(STATUS, cell, answer="a")))
    return found


def test_each_closed_cell_that_opens_is_caught() -> None:
    tried = mutants()
    assert len(tried) > 80
    unseen = [name for name, tables, status in tried if not any(is_cleared(row, tables, status) for row in BY_TABLES)]
    assert unseen == [], "no row of the table notices these"


def test_without_a_mutation_nothing_is_cleared() -> None:
    assert not [row.id for row in BY_TABLES if is_cleared(row, TABLES, STATUS)]


# -- an empty answer never counts as a yes -----------------------------------------------------------------------------

EMPTY = UseFacts()
# Findings against a tea and stricter rules of one's own: to leave them out is to know less against it, not to answer a question.
AGAINST = {
    "organic_tea",
    "e_coli",
    "enterococci",
    "salmonella",
    "listeria",
    "e_coli_o157",
    "own_days",
    "own_test",
    "tea_why",
    "crop",
}
MIST = {field.name for field in fields(MistFacts)} - {"sprayed"}
QUESTIONS = [field.name for field in fields(UseFacts) if field.name not in AGAINST | MIST]


@pytest.mark.parametrize("fact", QUESTIONS)
def test_an_answer_left_empty_never_opens_what_was_held(fact: str) -> None:
    """Whatever holds with an answer holds without it; rows whose answers contradict each other are left aside."""
    for row in HELD:
        if (row.use.edible is False and row.use.seedling) or not answers_agree(row):
            continue
        empty = replace(row.use, **{fact: getattr(EMPTY, fact)})
        assert not advise_use(BREW, empty).may_go_ahead, f"{row.id} opens when {fact} is left empty"


def answers_agree(row: Row) -> bool:
    """Whether no answer goes against the name; one that does is asked again, and left empty it is simply not known."""
    return all(gate.is_open for gate in use_gates(BREW, row.use) if gate.name == "answers")


def test_every_question_is_asked_somewhere() -> None:
    """No field is there for show: for each question some use is held until it is answered."""
    asked = {fact for row in ROWS for name in QUESTIONS for fact in asks_without(row, name)}
    unasked = set(QUESTIONS) - asked - {"jurisdiction", "names_checked"}
    assert not unasked, unasked


def asks_without(row: Row, fact: str) -> set[str]:
    return {name for found in clearances(replace(row.use, **{fact: getattr(EMPTY, fact)})) for name in found.asks}
