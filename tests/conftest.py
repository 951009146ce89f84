"""What all tests share."""

from __future__ import annotations

import csv
import gc
import itertools
import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.stores import fresh_database, postgres, server_programs

# Workers side by side share the cores and do not fight over them: read by the libraries when they are loaded.
_THREADS = str(max(1, (os.cpu_count() or 1) // int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))))
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ.setdefault(_name, _THREADS)

# Notebooks of tests lie in memory where there is plenty: each entry would wait for a disk, and what a test wrote ends with it.
_MEMORY, _PLENTY_BYTES = Path("/dev/shm"), 4_000_000_000
if _MEMORY.is_dir() and shutil.disk_usage(_MEMORY).free > _PLENTY_BYTES:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(_MEMORY))

TRUTH = Path(__file__).parent / "truth"
DATA = Path(__file__).parent / "data"
STORES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
BEGUN = "begun"
_number = itertools.count(1)


def pytest_collection_finish() -> None:
    """What was loaded and collected stays to the end: it is looked through for rubbish no more."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """A PostgreSQL server of the tests' own, with a notebook begun from nothing in it; gives its socket folder."""
    if server_programs() is None:
        pytest.skip("no PostgreSQL server programs here; on Debian: apt install postgresql")
    from aerobe.notebook import open_notebook

    with postgres() as folder, fresh_database(folder, BEGUN) as begun:
        # Its tables are made by the migrations, once: other notebooks are copies of it.
        open_notebook(begun, at=datetime(2026, 5, 1, tzinfo=UTC)).close()
        yield folder


@pytest.fixture(params=STORES)
def where(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The address of an empty notebook: a test that asks for it runs on SQLite and on PostgreSQL."""
    monkeypatch.setenv("HOME", str(tmp_path))
    if request.param == "sqlite":
        yield str(tmp_path / "tea.notebook")
        return
    with fresh_database(request.getfixturevalue("server"), f"tea{next(_number)}", like=BEGUN) as address:
        yield address


@pytest.fixture
def few_courses() -> Iterator[None]:
    """For what hangs on the direction of an answer and not on its last digit: see `tests/fewer.py`."""
    from tests.fewer import fewer_courses

    with fewer_courses():
        yield


def truth(name: str) -> list[SimpleNamespace]:
    """The rows of a table of published numbers; numeric cells become floats."""
    with (TRUTH / name).open(newline="", encoding="utf-8") as stream:
        return [SimpleNamespace(**{key: _cell(cell) for key, cell in row.items()}) for row in csv.DictReader(stream)]


def _cell(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
