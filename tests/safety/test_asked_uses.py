"""Uses asked about as a person types them, each against the paragraph or the plain sense that decides it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.notebook import Notebook, open_notebook
from tests.safety.asked import START, Asked, answer, furnish, make_tea, rows

ROWS = rows()


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Notebook]:
    path: Path = tmp_path_factory.mktemp("asked") / "tea.notebook"
    with open_notebook(path, at=START) as book:
        furnish(book)
        yield book


def test_there_are_enough_cases() -> None:
    assert len({row.id for row in ROWS}) == len(ROWS) >= 120
    assert all(row.decides and row.wanted in ("may", "hold") for row in ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_the_answer_is_that_of_the_rule(garden: Notebook, row: Asked) -> None:
    found = answer(garden, row)
    shut = "; ".join(f"{gate.name}: {gate.why} {gate.how_it_opens}" for gate in found.gates if not gate.is_open)
    assert ("may" if found.advice.may_go_ahead else "hold") == row.wanted, f"{row.decides}. {shut}"


def test_each_question_has_a_field_or_a_place_where_it_is_noted(garden: Notebook) -> None:
    typed = {field.name for field in fields(usecases.safety.UseEntry)}
    for question in usecases.safety.questions():
        field = usecases.safety.FIELD_OF.get(question.fact)
        assert field in typed or (field is None and question.fact in usecases.safety.NOTED_WITH), question.fact


@pytest.mark.parametrize(("compost", "state"), [("raw", "open"), ("bag", "not shown"), ("human", "closed"), ("hot", "open")])
def test_the_harvest_of_a_raw_tea_agrees_with_its_use(garden: Notebook, compost: str, state: str) -> None:
    """A raw tea may be asked about 120 days ahead, so its harvest is not held by its compost; one of unknown making is."""
    garden.set_setting("safety place", "US", at=START)
    now = make_tea(garden, f"harvest-{compost}", compost)
    gates = {gate.name: gate for gate in usecases.safety.gates_of_brew(garden, f"harvest-{compost}", now=now)}
    found = gates["compost history"]
    assert found.state == state, found.why
