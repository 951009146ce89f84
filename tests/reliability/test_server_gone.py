"""The database server of a shared notebook goes away and comes back: said plainly, nothing acknowledged lost, and on it goes."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from aerobe.errors import NotebookFault
from aerobe.notebook import check, open_notebook
from tests.notebook.conftest import NOW, furnish, reading
from tests.stores import address, postgres, server_programs

pytestmark = pytest.mark.postgres


@pytest.fixture
def alone() -> Iterator[str]:
    """A server of this test's own, since it is stopped."""
    if server_programs() is None:
        pytest.skip("no PostgreSQL server programs here; on Debian: apt install postgresql")
    with postgres() as folder:
        yield folder


def control(folder: str, *what: str) -> None:
    """Stop or start the server, at once and without goodbye."""
    programs = server_programs()
    assert programs is not None
    as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    options = f"-k {folder} -c listen_addresses= -c fsync=off -c max_connections=60"
    words = [
        *as_user,
        str(programs / "pg_ctl"),
        "-D",
        str(Path(folder) / "data"),
        "-w",
        "-l",
        str(Path(folder) / "log"),
    ]
    words += ["-o", options] if "start" in what else []
    subprocess.run([*words, *what], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/")


def test_a_server_that_crashes_and_comes_back(alone: str) -> None:
    where = address(alone, "postgres")
    with open_notebook(where, at=NOW) as book:
        furnish(book)
        book.add_reading(reading("before"), at=NOW, token="before")
        control(alone, "-m", "immediate", "stop")
        for act in (lambda: book.add_reading(reading("during"), at=NOW, token="during"), book.readings):
            with pytest.raises(NotebookFault) as found:
                act()
            assert "server" in found.value.remedy
        with pytest.raises(NotebookFault) as found:
            open_notebook(where, at=NOW)
        assert "server" in found.value.remedy
        control(alone, "start")
        # The same open notebook goes on, and the entry that was refused is sent again.
        assert [item.key for item in book.readings()] == ["before"]
        for _ in range(2):
            book.add_reading(reading("during"), at=NOW, token="during")
        assert {item.key for item in book.readings()} == {"before", "during"}
        assert check(book) == []


def test_a_server_that_crashes_in_the_midst_of_a_write_keeps_none_of_it(alone: str) -> None:
    where = address(alone, "postgres")
    with open_notebook(where, at=NOW) as book:
        furnish(book)
        with pytest.raises(NotebookFault), book.writing() as pen:
            for number in range(20):
                pen.add(reading(f"n{number}"), at=NOW)
            control(alone, "-m", "immediate", "stop")
            pen.add(reading("last"), at=NOW)
        control(alone, "start")
        assert book.readings() == [] and check(book) == []
