"""Texts and packages from outside are tried apart: what asks for too much is refused, and this process lives."""

from __future__ import annotations

import io
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest

from aerobe.cli import run
from aerobe.errors import ImportFault
from aerobe.isolation import WorkLimits
from aerobe.notebook import open_notebook
from aerobe.tables import read_table
from aerobe.usecases.exchange import export_package, require_harmless
from tests.notebook.conftest import NOW, furnish, reading

TIGHT = WorkLimits(memory_bytes=700_000_000, seconds=2.0)


def test_a_long_text_that_costs_too_much_is_refused_and_a_plain_one_is_not() -> None:
    require_harmless(b"hours,DO mg/L\n" + b"1,8\n" * 40_000, "plain.csv", package=False)
    endless = b"hours,brew,cells/mL\n" + b"".join(b"%d,b%d,%d\n" % (at % 7, at, at) for at in range(600_000))
    with pytest.raises(ImportFault, match=r"endless\.csv"):
        require_harmless(endless, "endless.csv", package=False, limits=TIGHT)


def test_a_package_is_tried_in_an_empty_notebook(tmp_path: Path) -> None:
    with open_notebook(tmp_path / "a.notebook", at=NOW) as book:
        furnish(book)
        content = export_package(book, now=NOW + timedelta(hours=1))
    require_harmless(content, "a.zip", package=True)
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = {item: packed.read(item) for item in packed.namelist()}
    spoilt = io.BytesIO()
    with zipfile.ZipFile(spoilt, "w") as packed:
        for name, text in parts.items():
            packed.writestr(f"../{name}" if name.endswith("brews.json") else name, text)
    with pytest.raises(ImportFault):
        require_harmless(spoilt.getvalue(), "a.zip", package=True)


@pytest.mark.parametrize("sign", ["(", "( ", "[a", "_ ", "log10 (", "()", " in "])
def test_a_name_of_endless_signs_is_read_through(sign: str) -> None:
    name = (sign * 20_000)[:20_000]
    reading = read_table(f'hours,"{name}",DO mg/L\n0,1,8\n1,2,7\n'.encode(), "x.csv")
    assert len(reading.columns) == 3


@pytest.mark.parametrize("payload", [{}, [], 3])
def test_a_result_that_pages_would_fail_on_for_good_is_refused(tmp_path: Path, payload: object) -> None:
    with open_notebook(tmp_path / "a.notebook", at=NOW) as book:
        furnish(book)
        book.add_reading(reading("r1"), at=NOW)
        book.keep("photo", "r1", payload, at=NOW)
        content = export_package(book, now=NOW)
    with pytest.raises(ImportFault, match="r1"):
        require_harmless(content, "package.zip", package=True)


def test_the_command_line_tries_a_package_in_a_process_of_its_own_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[str] = []

    def refused(content: bytes, name: str, *, package: bool) -> None:
        tried.append(f"{name} {package}")
        raise ImportFault(f"{name} costs too much.", "Nothing was taken in.")

    monkeypatch.setattr("aerobe.usecases.exchange.require_harmless", refused)
    package, table = tmp_path / "a.zip", tmp_path / "a.csv"
    package.write_bytes(b"PK\x03\x04")
    table.write_bytes(b"hours,DO mg/L\n0,8\n")
    for command in (
        ["import", package],
        ["import", table, "--yes"],
        ["evidence", "take", package],
        ["report", "check", package],
    ):
        where = [] if command[0] == "report" else ["--notebook", tmp_path / "b.notebook"]
        assert run([*map(str, command), *map(str, where)]) != 0
        assert "costs too much" in capsys.readouterr().err
    assert tried == ["a.zip True", "a.csv False", "a.zip True", "a.zip True"]
