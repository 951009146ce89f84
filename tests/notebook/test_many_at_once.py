"""Notebooks begun and brought up to date at the same moment, as two reports asked for at once do."""

from __future__ import annotations

import shutil
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from threading import Barrier

import pytest
import sqlalchemy as sa

from aerobe.notebook import check, open_notebook
from aerobe.notebook._ready_made import _statements
from aerobe.notebook._store import Store

NOW = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
FROZEN = Path(__file__).parents[1] / "frozen"


def all_at_once(count: int, work) -> list:
    """`work(place)` in as many threads, let go at the same moment."""
    gate = Barrier(count)

    def one(place: int):
        gate.wait()
        return work(place)

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(one, range(count)))


@pytest.mark.parametrize("count", [2, 8, 40])
def test_many_new_notebooks_at_once_are_all_whole(tmp_path: Path, count: int) -> None:
    _statements.cache_clear()  # the very first ones of a process are the hard case

    def begin(place: int) -> list[str]:
        with open_notebook(tmp_path / f"{place}.notebook", at=NOW) as notebook:
            return check(notebook)

    assert all_at_once(count, begin) == [[]] * count


@pytest.mark.parametrize("count", [2, 8])
def test_one_new_notebook_opened_by_many_at_once_is_whole(tmp_path: Path, count: int) -> None:
    def begin(_: int) -> list[str]:
        with open_notebook(tmp_path / "one.notebook", at=NOW) as notebook:
            return check(notebook)

    assert all_at_once(count, begin) == [[]] * count


@pytest.mark.parametrize("count", [2, 8])
def test_old_notebooks_brought_up_to_date_at_once_are_all_whole(tmp_path: Path, count: int) -> None:
    old = sorted(FROZEN.glob("schema-*.sqlite"))[0]
    for place in range(count):
        shutil.copy(old, tmp_path / f"{place}.notebook")

    def bring(place: int) -> list[str]:
        with open_notebook(tmp_path / f"{place}.notebook", at=NOW) as notebook:
            return check(notebook)

    assert all_at_once(count, bring) == [[]] * count


def test_a_begun_notebook_has_the_tables_that_the_migrations_make(tmp_path: Path) -> None:
    migrated = Store(str(tmp_path / "migrated.notebook"))
    migrated.migrate()
    with open_notebook(tmp_path / "begun.notebook", at=NOW) as begun:
        found = []
        for store in (migrated, begun.store):
            with store.reading() as connection:
                rows = connection.execute(sa.text("select type, name, sql from sqlite_master where name not like 'sqlite_%'"))
                found.append(sorted(tuple(row) for row in rows))
            assert store.schema() == migrated.schema()
    migrated.close()
    assert found[0] == found[1]
