"""A notebook that somebody else made: what works by itself in it is refused, its rows can be had, and rings end."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from aerobe.errors import NotebookFault
from aerobe.notebook import back_up, open_notebook, rescue, restore
from aerobe.notebook._package import _in_order
from aerobe.notebook._store import Store
from aerobe.web.pages.record import _standing
from tests.notebook.conftest import NOW, furnish, reading

TRAPS = {
    "trigger": "create trigger trap after insert on readings begin delete from readings where key = new.key; end",
    "view": "create view trap as with recursive n(i) as (select 1 union all select i + 1 from n) select i from n",
    "virtual table": "create virtual table trap using fts5(text)",
}


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plain") / "tea.notebook"
    with open_notebook(path, at=NOW) as book:
        furnish(book)
        book.add_reading(reading("r1"), at=NOW)
    return path


def trapped(plain: Path, folder: Path, sql: str) -> Path:
    path = folder / "strange.notebook"
    path.write_bytes(plain.read_bytes())
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(sql)
        connection.commit()
    return path


@pytest.mark.parametrize("kind", TRAPS)
def test_what_works_by_itself_is_refused_and_the_rows_can_be_had(plain: Path, tmp_path: Path, kind: str) -> None:
    strange = trapped(plain, tmp_path, TRAPS[kind])
    with pytest.raises(NotebookFault, match=f"holds a {kind} named 'trap") as refused:
        open_notebook(strange, at=NOW)
    assert "rescue" in refused.value.remedy
    assert rescue(strange, tmp_path / "new.notebook").saved["readings"] == 1
    with open_notebook(tmp_path / "new.notebook", at=NOW) as new:
        new.add_reading(reading("r2"), at=NOW)
        assert {item.key for item in new.readings()} == {"r1", "r2"}


def test_a_copy_that_works_by_itself_is_not_put_in_a_notebooks_place(plain: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.notebook"
    own.write_bytes(plain.read_bytes())
    strange = trapped(plain, tmp_path, TRAPS["trigger"])
    store = Store(str(own))
    with pytest.raises(NotebookFault, match="trigger"):
        restore(store, strange, at=NOW)
    assert restore(store, back_up(store, at=NOW), at=NOW).exists()
    store.close()


@pytest.mark.parametrize("version", ["5", "'none'", "x'00ff'", "null", "'0000'"])
def test_a_version_that_no_release_wrote_is_said_in_words(plain: Path, tmp_path: Path, version: str) -> None:
    sql = "drop table alembic_version"
    strange = trapped(plain, tmp_path, sql)
    with closing(sqlite3.connect(strange)) as connection:
        connection.execute("create table alembic_version (version_num)")
        connection.execute(f"insert into alembic_version values ({version})")
        connection.commit()
    with pytest.raises(NotebookFault):
        open_notebook(strange, at=NOW)


def test_corrections_that_form_a_ring_come_to_an_end() -> None:
    ring = [replace(reading("a"), replaces="b"), replace(reading("b"), replaces="a"), replace(reading("c"), replaces="c")]
    book: Any = SimpleNamespace(readings=lambda *_, **__: ring)
    assert {_standing(cast(Any, book), "b1", key) for key in "abc"} <= {"a", "b", "c"}
    assert len(_in_order(ring)) == 3
