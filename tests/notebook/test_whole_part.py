"""A damaged notebook can still be read as far as it is whole, is never written to, and is put right by one command."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from aerobe.errors import Damaged, NotebookFault
from aerobe.notebook import Notebook, back_up, check, copies_of, open_notebook, open_whole_part, restore
from aerobe.records import SensorLog
from tests.notebook.conftest import NOW, furnish, reading

READINGS = 150


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "tea.notebook"
    with open_notebook(path, at=NOW) as book:
        furnish(book)
        with book.writing() as pen:
            for at in range(READINGS):
                pen.add(reading(f"r{at}"), at=NOW)
    return path


@pytest.fixture
def path(whole: Path, tmp_path: Path) -> Path:
    made = tmp_path / "tea.notebook"
    made.write_bytes(whole.read_bytes())
    return made


def torn(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * 0.9)])


def pages_gone(path: Path) -> None:
    rng, content, size = random.Random(4), bytearray(path.read_bytes()), 4096
    pages = [page for page in range(len(content) // size) if b'"signal"' in content[page * size : (page + 1) * size]]
    for page in pages[:2]:
        content[page * size : (page + 1) * size] = rng.randbytes(size)
    path.write_bytes(bytes(content))


def a_byte_flipped(path: Path) -> None:
    content = path.read_bytes()
    place = content.rindex(b'"signal"')
    path.write_bytes(content[:place] + b"}" + content[place + 1 :])


@pytest.mark.parametrize("harm", [torn, pages_gone, a_byte_flipped])
def test_what_is_whole_is_read_what_is_lost_is_said_and_nothing_is_written(path: Path, harm: Callable[[Path], None]) -> None:
    harm(path)
    before = path.read_bytes()
    with open_whole_part(path) as book:
        assert book.damaged and book.lost and check(book) == [*book.lost]
        assert READINGS * 0.2 < len(book.readings("b1")) < READINGS + 1
        with pytest.raises(NotebookFault, match="damaged"):
            book.add_reading(reading("after"), at=NOW)
        with pytest.raises(NotebookFault, match="damaged"):
            back_up(book.store, at=NOW)
    assert path.read_bytes() == before


def test_the_copy_that_is_read_is_private_and_gone_when_it_is_closed(path: Path) -> None:
    a_byte_flipped(path)
    book = open_whole_part(path)
    folder = book._whole
    assert folder is not None and folder.is_dir() and folder.stat().st_mode & 0o077 == 0
    book.close()
    assert not folder.exists()


def test_a_whole_notebook_is_opened_as_ever(path: Path) -> None:
    with open_whole_part(path) as book:
        assert not book.damaged and book.lost == ()
        book.add_reading(reading("after"), at=NOW)


def test_an_open_notebook_that_meets_damage_goes_on_with_what_is_whole(path: Path) -> None:
    with open_notebook(path, at=NOW) as book:
        _spoil_row(path)
        with pytest.raises(Damaged):
            book.readings("b1")
        book.show_whole_part()
        book.show_whole_part()  # a second page that met it
        assert book.damaged and len(book.readings("b1")) >= READINGS - 1


def test_a_copy_takes_the_place_of_a_damaged_notebook_which_is_kept_aside(path: Path) -> None:
    with open_notebook(path, at=NOW) as book:
        copy = back_up(book.store, at=NOW)
    torn(path)
    damaged = path.read_bytes()
    with open_whole_part(path) as book:
        assert copies_of(book.store) == [copy]
        aside = restore(book.store, copy, at=NOW)
        assert not book.damaged and aside.read_bytes() == damaged
        assert check(book) == [] and len(book.readings("b1")) >= READINGS
        book.add_reading(reading("after"), at=NOW)


def test_a_damaged_copy_is_named_and_the_notebook_left_alone(path: Path) -> None:
    with open_notebook(path, at=NOW) as book:
        copy = back_up(book.store, at=NOW)
        torn(copy)
        with pytest.raises(NotebookFault, match="The copy") as caught:
            restore(book.store, copy, at=NOW)
        assert not isinstance(caught.value, Damaged)
        assert check(book) == []


def test_damage_in_a_log_is_not_hidden_when_its_pieces_are_joined(tmp_path: Path) -> None:
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        furnish(book)
        _points(book, range(10))
        with sqlite3.connect(tmp_path / "tea.notebook") as raw:
            spoilt = np.array([99.0]).tobytes()
            raw.execute('update log_chunks set "values" = ? where id = (select min(id) from log_chunks)', (spoilt,))
        raw.close()
        assert len(check(book)) == 1
        _points(book, range(10, 1000))  # enough for the loose pieces to be joined
        assert len(check(book)) == 1


def _points(book: Notebook, numbers: range) -> None:
    with book.writing() as pen:
        for at in numbers:
            pen.append_log(SensorLog(brew="b1", channel="oxygen", elapsed_h=(at / 100,), values=(8.0,)), at=NOW)


def _spoil_row(path: Path) -> None:
    with sqlite3.connect(path) as raw:
        raw.execute("update readings set payload = substr(payload, 2) where key = 'r7'")
    raw.close()
