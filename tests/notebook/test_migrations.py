"""A notebook of any age opens, after a copy of it has been made."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from aerobe.errors import NotebookFault
from aerobe.notebook import Notebook, brew_history, check, copies_of, open_notebook
from aerobe.notebook import _schema as schema
from aerobe.notebook import _store as store
from tests.frozen.freeze import freeze
from tests.notebook.conftest import NOW

FROZEN = sorted((Path(__file__).parents[1] / "frozen").glob("schema-*.sqlite"))
MIGRATIONS = ScriptDirectory(str(Path(store.__file__).parent / "_migrations"))


def test_the_schema_we_name_is_the_newest_migration() -> None:
    assert next(script.revision for script in MIGRATIONS.walk_revisions()) == schema.SCHEMA
    assert MIGRATIONS.get_heads() == [schema.SCHEMA]


def test_migrations_lead_to_the_tables_that_the_program_uses(notebook: Notebook) -> None:
    with notebook.store.reading() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), schema.metadata)
        columns = {
            table: {column["name"]: bool(column["nullable"]) for column in sa.inspect(connection).get_columns(table)}
            for table in schema.metadata.tables
        }
    assert [item for item in differences if "index" in str(item[0]) or "table" in str(item[0]) or "column" in str(item[0])] == []
    for name, table in schema.metadata.tables.items():
        assert columns[name] == {column.name: bool(column.nullable) for column in table.columns}, name


def test_there_is_a_frozen_notebook_of_every_schema() -> None:
    assert [path.stem.removeprefix("schema-") for path in FROZEN] == sorted(item.revision for item in MIGRATIONS.walk_revisions())


@pytest.mark.parametrize("path", FROZEN, ids=lambda path: path.stem)
def test_opens_every_notebook_we_ever_had(path: Path, tmp_path: Path) -> None:
    mine = tmp_path / "old.notebook"
    shutil.copy(path, mine)
    with open_notebook(mine, at=NOW) as book:
        assert book.store.schema() == schema.SCHEMA
        assert check(book) == []
        history = brew_history(book, "b1")
        assert [item.key for item in history.readings] == ["r2", "r3"]
        assert len(history.logs[0].values) == 120 and history.harvest is not None
        assert book.setting("currency") == "EUR"
        old = path.stem != f"schema-{schema.SCHEMA}"
        assert [item.name for item in copies_of(book.store)] == (["2026-05-01T080000Z-before-0002.notebook"] if old else [])


def test_the_copy_made_before_a_migration_is_the_notebook_as_it_was(tmp_path: Path) -> None:
    mine = tmp_path / "old.notebook"
    shutil.copy(FROZEN[0], mine)
    with open_notebook(mine, at=NOW) as book:
        assert book.migrated_from_copy is not None
        with sqlite3.connect(book.migrated_from_copy) as copy, sqlite3.connect(FROZEN[0]) as frozen:
            assert list(copy.iterdump()) == list(frozen.iterdump())


def test_a_failed_migration_leaves_the_notebook_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mine = tmp_path / "old.notebook"
    shutil.copy(FROZEN[0], mine)
    from alembic import op

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("the power went out")

    monkeypatch.setattr(op, "create_index", broken)  # the table of 0002 is made by then, its index is not
    with pytest.raises(RuntimeError):
        open_notebook(mine, at=NOW)
    with sqlite3.connect(mine) as after, sqlite3.connect(FROZEN[0]) as frozen:
        assert list(after.iterdump()) == list(frozen.iterdump())


def test_a_notebook_of_a_newer_program_is_not_touched(where: str) -> None:
    with open_notebook(where, at=NOW) as book, book.store.writing() as connection:
        connection.execute(sa.text("update alembic_version set version_num = '9999'"))
    with pytest.raises(NotebookFault, match="newer Aerobe"):
        open_notebook(where, at=NOW)


def test_freezing_again_gives_the_same_content(tmp_path: Path) -> None:
    freeze(tmp_path / "again.sqlite", schema.SCHEMA)
    with sqlite3.connect(tmp_path / "again.sqlite") as again, sqlite3.connect(FROZEN[-1]) as frozen:
        assert list(again.iterdump()) == list(frozen.iterdump())
