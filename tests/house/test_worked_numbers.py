"""Each function at the door of a science room has its number, and the page that says which is the tests' own."""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path

import pytest

from tests.house import worked_numbers
from tests.house.worked_numbers import THROUGH, found_in


@cache
def held() -> dict[str, list[worked_numbers.Test]]:
    """Read once, and by the tests only: to read it while tests are collected would cost every worker the same seconds."""
    return worked_numbers.held_by()


def test_each_function_is_held_to_a_number() -> None:
    waiting = [name for name, tests in held().items() if not tests and name not in THROUGH]
    assert waiting == [], f"add a worked number with its source to the room's tests: {waiting}"


def test_what_is_said_to_have_no_number_of_its_own_has_none() -> None:
    assert [name for name in THROUGH if held().get(name, ["gone"])] == []


def test_the_page_names_every_function_and_a_test_that_holds_it() -> None:
    rows = worked_numbers.rows(worked_numbers.PAGE.read_text(encoding="utf-8"))
    assert set(rows) == set(held()), "python -m tests.house.worked_numbers"
    for name, place in rows.items():
        assert f"tests/{place}" in {test.place for test in held()[name]} or place == THROUGH.get(name), f"{name}: {place}"


def test_a_test_without_a_number_is_not_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worked_numbers, "ROOT", tmp_path)
    (tmp_path / "test_a.py").write_text(
        "def made():\n    return seep(1)\n\n\ndef test_words():\n    assert made() == 'wet'\n\n\n"
        "def test_number():\n    # From a table.\n    assert made() == 3.5\n"
    )
    words, number = found_in(tmp_path / "test_a.py")
    assert not words.compares and number.compares and "seep" in number.reaches and number.said == "From a table."


HOW_KNOWN = r"from memory|recalled|\bread\b|as repeated in|R 4\.2|R package|metafor|worked out|recomputed|closed form|as above"


@pytest.mark.parametrize("path", sorted((worked_numbers.ROOT / "tests" / "truth").glob("*.csv")), ids=lambda path: path.stem)
def test_a_published_number_says_whether_it_was_read_run_or_remembered(path: Path) -> None:
    with path.open(encoding="utf-8", newline="") as stream:
        silent = [row for row in csv.DictReader(stream) if not re.search(HOW_KNOWN, row["source"])]
    assert silent == []
