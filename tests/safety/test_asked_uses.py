"""Uses asked about as a person types them, each against the paragraph or the plain sense that decides it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from aerobe.notebook import Notebook, open_notebook
from tests.safety.asked import START, Asked, answer, furnish, rows

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
