"""A damaged notebook at the command line: read as far as it is whole, with what is lost said; put right by one command."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from aerobe.cli import FAULT, NOT_SETTLED, run
from aerobe.notebook import open_notebook
from tests.notebook.conftest import NOW, furnish, reading


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "tea.notebook"
    with open_notebook(made, at=NOW) as book:
        furnish(book)
        for number in range(3):
            book.add_reading(reading(f"r{number}"), at=NOW)
    with sqlite3.connect(made) as raw:
        raw.execute("update readings set payload = substr(payload, 2) where key = 'r1'")
    raw.close()
    return made


def test_it_is_read_as_far_as_it_is_whole_and_what_is_lost_is_said(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["reading", "list", "b1", "--notebook", str(path)]) == 0
    told = capsys.readouterr()
    assert "r0" in told.out and "r2" in told.out and "r1" not in told.out
    assert "damaged" in told.err and "r1" in told.err


def test_the_check_names_what_is_lost(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["notebook", "check", "--notebook", str(path)]) == NOT_SETTLED
    assert "r1" in capsys.readouterr().out


def test_one_command_goes_on_with_what_is_whole_and_keeps_the_damaged_file(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("AEROBE_NOTEBOOK", str(path))
    before = path.read_bytes()
    assert run(["notebook", "rescue"]) == NOT_SETTLED
    assert "r1" in capsys.readouterr().out
    [aside] = path.parent.glob("tea.notebook.damaged-*")
    assert aside.read_bytes() == before
    assert run(["notebook", "check"]) == 0 and run(["reading", "list", "b1"]) == 0
    assert "damaged" not in capsys.readouterr().err


def test_a_file_of_which_nothing_can_be_read_is_said_as_before(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.notebook").write_bytes(b"no notebook " * 500)
    assert run(["notebook", "check", "--notebook", str(tmp_path / "bad.notebook")]) == FAULT
    assert capsys.readouterr().err.strip()
