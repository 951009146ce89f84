"""What leaves a notebook as a file is for its owner, runs nowhere as a formula, and drives no terminal."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from aerobe.cli._common import shown
from aerobe.notebook import open_notebook
from aerobe.reports import _page, _recompute
from aerobe.units import runs_as_formula
from aerobe.usecases.notebook import write_whole

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize("text", ["=1", " =1", "\n=1", "\u200b=1", "\uff1d1", "\u3000\uff20x", "+1", "-1", "@x", "\t=1", "'=1"])
def test_a_cell_that_some_spreadsheet_would_run_is_known(text: str) -> None:
    assert runs_as_formula(text)


@pytest.mark.parametrize("table", [_page._table, _recompute._table])
def test_no_table_of_a_report_holds_a_cell_that_runs(table: Callable[..., bytes]) -> None:
    names = ["=1", " =1", "\u200b=1", "\uff1dSUM(A1)", "-cmd", "@x", "kelp"]
    content = table(("name", "value"), [[name, number] for name in names for number in (-0.5, "-0.5", "1e-05")])
    rows = list(csv.reader(io.StringIO(content.decode())))[1:]
    assert not any(runs_as_formula(row[0]) and row[0][0] != "'" for row in rows)
    assert {row[1] for row in rows} == {"-0.5", "1e-05"} and ["kelp", "-0.5"] in rows


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
