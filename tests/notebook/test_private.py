"""What leaves a notebook as a file is for its owner, runs nowhere as a formula, and drives no terminal."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from aerobe.cli._common import shown
from aerobe.notebook import open_notebook
from aerobe.notebook._package import runs_as_formula
from aerobe.usecases.notebook import write_whole

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize("text", ["=1", " =1", "\n=1", "\u200b=1", "\uff1d1", "\u3000\uff20x", "+1", "-1", "@x", "\t=1", "'=1"])
def test_a_cell_that_some_spreadsheet_would_run_is_known(text: str) -> None:
    assert runs_as_formula(text)


@pytest.mark.parametrize("text", ["", "12.5", "kelp = good", "a@b", "  plain", "10-20"])
def test_an_ordinary_cell_stays_as_it_is(text: str) -> None:
    assert not runs_as_formula(text)


def test_a_note_cannot_drive_the_terminal() -> None:
    told = shown("smells\x1b[2J\x1b]0;title\x07 earthy\r overwritten\u202e")
    assert "earthy" in told and not any(ord(sign) < 32 or sign in "\x7f\u202e" for sign in told)


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_files_are_for_their_owner_also_a_notebook_of_an_earlier_release(tmp_path: Path) -> None:
    write_whole(tmp_path / "report.html", "x")
    assert (tmp_path / "report.html").stat().st_mode & 0o077 == 0
    open_notebook(tmp_path / "tea.notebook", at=NOW).close()
    (tmp_path / "tea.notebook").chmod(0o644)
    open_notebook(tmp_path / "tea.notebook", at=NOW).close()
    assert (tmp_path / "tea.notebook").stat().st_mode & 0o077 == 0
