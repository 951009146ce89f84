"""A checked copy a day, kept for a while, and a look over everything around the notebook."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.errors import NotebookFault
from aerobe.notebook import Notebook, check, copies_of, open_notebook

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)


@pytest.fixture
def book(tmp_path: Path):
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as opened:
        opened.keep("study", "card", {"x": 1.0}, at=NOW)
        yield opened


def test_one_whole_copy_a_day(book: Notebook) -> None:
    first = usecases.notebook.care_for_the_day(book, now=NOW)
    assert first.copy is not None and first.faults == ()
    with open_notebook(first.copy, at=NOW) as copy:
        assert check(copy) == [] and len(copy.kept("study")) == 1
    assert usecases.notebook.care_for_the_day(book, now=NOW + timedelta(hours=23)).copy is None
    assert usecases.notebook.care_for_the_day(book, now=NOW + timedelta(hours=24)).copy is not None


def test_copies_are_let_go_by_age_and_those_made_by_hand_stay(book: Notebook) -> None:
    by_hand = usecases.notebook.back_up_notebook(book, now=NOW - timedelta(days=400))
    for day in range(0, 120):
        usecases.notebook.care_for_the_day(book, now=NOW + timedelta(days=day))
    left = copies_of(book.store)
    assert by_hand in left
    daily = [item for item in left if item.stem.endswith("-daily")]
    # Two weeks of days, then weeks up to two months: 15 days in reach and at most 8 weeks, one of them begun.
    assert 15 <= len(daily) <= 15 + 8
    assert daily[-1].name.startswith("2026-08-28")


def test_a_second_folder_gets_the_copy_too(book: Notebook, tmp_path: Path) -> None:
    done = usecases.notebook.care_for_the_day(book, now=NOW, second=tmp_path / "stick")
    assert done.copy is not None and (tmp_path / "stick" / done.copy.name).exists()


def test_a_flipped_byte_is_said_and_not_copied(book: Notebook, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "tea.notebook") as raw:
        raw.execute("update kept set payload = replace(payload, '1.0', '9.0')")
    done = usecases.notebook.care_for_the_day(book, now=NOW)
    assert done.copy is None and done.faults
    looked = {item.what: item for item in usecases.notebook.look_over(book, now=NOW)}
    assert not looked["store"].fine and "restore" in looked["store"].remedy


def test_the_doctor_says_what_is_well_and_what_is_not(book: Notebook, tmp_path: Path) -> None:
    looked = {item.what: item for item in usecases.notebook.look_over(book, now=NOW)}
    assert looked["store"].fine and looked["clock"].fine and looked["permissions"].fine and looked["disk"].fine
    assert not looked["copies"].fine
    (tmp_path / "tea.notebook").chmod(0o644)
    app = tmp_path / "tea.notebook.app"
    app.mkdir()
    (app / "app.json").write_text('{"broker": {"host": "127.0.0.1", "port": 1}}')
    (app / "aerobe-server.pem").write_text("no certificate")
    looked = {item.what: item for item in usecases.notebook.look_over(book, now=NOW)}
    assert not looked["permissions"].fine and not looked["broker"].fine and not looked["certificate"].fine
    assert all(item.fine or item.remedy for item in looked.values())


def test_the_copy_of_a_day_goes_to_a_second_folder_that_was_named(book: Notebook, tmp_path: Path) -> None:
    with pytest.raises(NotebookFault, match="no folder"):
        usecases.notebook.copy_also_to(book, tmp_path / "nowhere", now=NOW)
    assert usecases.notebook.second_folder(book) is None
    (tmp_path / "stick").mkdir()
    usecases.notebook.copy_also_to(book, tmp_path / "stick", now=NOW)
    made = usecases.notebook.care_for_the_day(book, now=NOW, second=usecases.notebook.second_folder(book))
    assert made.copy is not None
    with open_notebook(tmp_path / "stick" / made.copy.name, at=NOW) as twin:
        assert check(twin) == [] and len(twin.kept("study")) == 1
