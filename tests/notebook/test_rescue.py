"""A damaged notebook: what is whole is saved, what is not is said, the damaged file stays as it is."""

from __future__ import annotations

import random
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from aerobe.errors import NotebookFault
from aerobe.notebook import check, fingerprint, open_notebook, rescue, rows_of
from aerobe.records import SensorLog
from tests.notebook.conftest import NOW, furnish, reading

READINGS = 400


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "tea.notebook"
    with open_notebook(path, at=NOW) as book:
        furnish(book)
        with book.writing() as pen:
            for at in range(READINGS):
                pen.add(replace(reading(f"r{at}"), notes=f"note {at} " * 12), at=NOW)
        book.append_log(SensorLog(brew="b1", channel="oxygen", elapsed_h=(0.0, 1.0), values=(9.0, 8.0)), at=NOW)
        book.keep("study", "card", {"x": 1.0}, at=NOW)
    return path


def copy_of(path: Path, folder: Path, spoil: bytes | None = None) -> Path:
    folder.mkdir(exist_ok=True)
    target = folder / path.name
    target.write_bytes(path.read_bytes() if spoil is None else spoil)
    return target


def test_a_whole_notebook_comes_out_the_same(whole: Path, tmp_path: Path) -> None:
    found = rescue(whole, tmp_path / "new.notebook")
    assert found.lost == () and found.left_over is None and found.saved["readings"] == READINGS
    with open_notebook(whole, at=NOW) as old, open_notebook(tmp_path / "new.notebook", at=NOW) as new:
        assert fingerprint(new) == fingerprint(old) and rows_of(new) == rows_of(old) and check(new) == []


@pytest.mark.parametrize("seed", range(6))
def test_pages_that_are_gone_cost_their_own_rows_only(whole: Path, tmp_path: Path, seed: int) -> None:
    rng, content = random.Random(seed), bytearray(whole.read_bytes())
    size = 4096
    pages = [page for page in range(len(content) // size) if b"note " in content[page * size : (page + 1) * size]]
    for page in rng.sample(pages, 2):
        content[page * size : (page + 1) * size] = rng.randbytes(size)
    damaged = copy_of(whole, tmp_path / "damaged", bytes(content))
    found = rescue(damaged, tmp_path / "new.notebook")
    assert damaged.read_bytes() == bytes(content)
    assert found.lost and READINGS - 60 <= found.saved["readings"] < READINGS
    with open_notebook(tmp_path / "new.notebook", at=NOW) as new:
        assert check(new) == [] and len(new.readings()) == found.saved["readings"]
        new.add_reading(reading("after"), at=NOW)  # it is a notebook to go on with


def test_a_row_that_was_changed_behind_the_notebook_is_left_out_said_and_kept_beside(whole: Path, tmp_path: Path) -> None:
    damaged = copy_of(whole, tmp_path / "damaged")
    with sqlite3.connect(damaged) as raw:
        raw.execute("update readings set payload = replace(payload, 'note 7 ', 'nota 7 ') where key = 'r7'")
    raw.close()
    found = rescue(damaged, tmp_path / "new.notebook")
    assert found.saved["readings"] == READINGS - 1 and found.lost == ("readings 'r7': it is not as it was written.",)
    assert found.left_over is not None and "nota 7" in found.left_over.read_text()
    assert found.left_over.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("content", [b"", b"no notebook" * 1000, b"SQLite format 3\x00" + b"\xff" * 5000])
def test_nothing_to_save_is_refused_and_leaves_no_file(tmp_path: Path, content: bytes) -> None:
    damaged = tmp_path / "bad.notebook"
    damaged.write_bytes(content)
    with pytest.raises(NotebookFault):
        rescue(damaged, tmp_path / "new.notebook")
    assert not list(tmp_path.glob("new.notebook*"))


def test_nothing_is_written_over(whole: Path, tmp_path: Path) -> None:
    (tmp_path / "there").write_text("mine")
    with pytest.raises(NotebookFault, match="already"):
        rescue(whole, tmp_path / "there")
    assert (tmp_path / "there").read_text() == "mine"
