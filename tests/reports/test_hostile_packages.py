"""Packages and text that mean harm, or are merely broken: refused with a remedy, or harmless."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.notebook import open_notebook
from aerobe.records import Brew, Recipe
from aerobe.reports import Report, as_html, as_pdf
from tests.reports.world import EVIL, NOW, invented, packed, unpacked, with_table


def refused(content: bytes) -> str:
    """Every way in must refuse it, with a remedy, and keep nothing."""
    with pytest.raises(AerobeError) as caught:
        usecases.reports.check_package(content, now=NOW)
    assert caught.value.remedy
    return str(caught.value)


@pytest.mark.parametrize("name", ["../evil.txt", "/etc/passwd", "a/../../b", "C:\\evil.txt", "data\\..\\..\\x", ".."])
def test_path_tricks_are_refused(trial: Report, name: str) -> None:
    files = unpacked(trial.package)
    refused(packed({**files, name: b"x"}))


def test_links_in_a_package_are_refused(trial: Report) -> None:
    out = io.BytesIO(trial.package)
    with zipfile.ZipFile(out, "a") as target:
        link = zipfile.ZipInfo("data/link")
        link.external_attr = 0o120777 << 16
        target.writestr(link, "/etc/passwd")
    assert "link" in refused(out.getvalue())


def test_a_zip_bomb_is_refused_before_it_is_unpacked() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        target.writestr("datapackage.json", b"{}")
        target.writestr("data/readings.csv", b"0" * 200_000_000)
    assert len(out.getvalue()) < 1_000_000
    assert "MB" in refused(out.getvalue())


def test_a_list_of_contents_that_lies_about_sizes_is_refused() -> None:
    content = bytearray(packed({"datapackage.json": b"0" * 50_000_000}))
    for mark, offset in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        place = content.find(mark)
        content[place + offset : place + offset + 4] = struct.pack("<I", 10)
    refused(bytes(content))


def test_too_many_files_are_refused() -> None:
    refused(packed({f"data/{number}": b"" for number in range(20_100)}))


@pytest.mark.parametrize("content", [b"", b"PK", b"PK\x03\x04" + bytes(40), b"not a zip", bytes(1000)])
def test_rubbish_is_refused(content: bytes) -> None:
    refused(content)


@pytest.mark.parametrize("value", ["1e999", "-1e999", "NaN", "1e308", "-50", "0x10", "99999999999999999999", "=1+1", ""])
def test_huge_and_strange_numbers_are_refused_or_harmless(trial: Report, value: str) -> None:
    def change(table: bytes) -> bytes:
        lines = table.decode().splitlines()
        place = lines[0].split(",").index("signal")
        cells = lines[1].split(",")
        cells[place] = value
        return "\r\n".join([lines[0], ",".join(cells), *lines[2:]]).encode() + b"\r\n"

    forged = with_table(trial.package, "data/readings.csv", change)
    try:
        found = usecases.reports.check_package(forged, now=NOW)
    except AerobeError as fault:
        assert fault.remedy
    else:
        assert not any(one.is_same for one in found) or value == "-50"


def test_deep_nesting_and_broken_text_are_refused(trial: Report) -> None:
    deep = b"[" * 200_000 + b"]" * 200_000
    refused(with_table(trial.package, "data/recipes.json", lambda _: deep))
    refused(with_table(trial.package, "data/recipes.json", lambda _: b"\xff\xfe\x00"))
    refused(packed({**unpacked(trial.package), "datapackage.json": deep}))
    refused(with_table(trial.package, "data/recipes.json", lambda _: b'{"a": 1e999}'))


def test_script_and_markup_in_text_stay_text(trial: Report, tmp_path: Path) -> None:
    def change(table: bytes) -> bytes:
        plain = json.loads(table)
        return json.dumps([{**item, "name": EVIL + item["key"]} for item in plain]).encode()

    forged = with_table(with_table(trial.package, "data/recipes.json", change), "data/trials.json", change)
    with open_notebook(tmp_path / "evil.notebook", at=NOW) as book:
        usecases.exchange.import_package(book, forged, now=NOW)
        assert all(item.name.startswith(EVIL) for item in book.find(Recipe))
        report = usecases.reports.report_of_trial(book, "kelp", now=NOW)
        taken = usecases.evidence.take_evidence(book, forged, "x.zip", now=NOW)
    assert "<script>" not in as_html(report)
    assert as_pdf(report)[:4] == b"%PDF"
    assert len(taken.new) == 1


def test_formula_cells_leave_and_return_as_text(tmp_path: Path) -> None:
    with invented(tmp_path / "f.notebook", notes="=cmd|' /C calc'!A0") as book:
        report = usecases.reports.report_of_trial(book, "kelp", now=NOW, wanted=usecases.reports.Wanted(with_people=True))
    rows = unpacked(report.package)["data/readings.csv"].decode()
    assert "'=cmd" in rows and ",=cmd" not in rows
    with open_notebook(tmp_path / "g.notebook", at=NOW) as other:
        usecases.exchange.import_package(other, report.package, now=NOW)
        assert {item.notes for item in other.readings("kelp-1") if item.role == "sample"} == {"=cmd|' /C calc'!A0"}


def test_a_forged_report_entry_is_refused(trial: Report) -> None:
    entry = {"kind": "report", "subject": "kelp", "at": "2026-05-01T00:00:00+00:00"}
    for forged in ([], [{**entry, "payload": {"kind": "os.system"}}], [{**entry, "payload": [1, 2]}]):
        text = json.dumps(forged).encode()
        refused(with_table(trial.package, "data/results.json", lambda _, text=text: text))


def test_a_refused_package_leaves_the_notebook_as_it_was(trial: Report, tmp_path: Path) -> None:
    with open_notebook(tmp_path / "safe.notebook", at=NOW) as book:
        forged = with_table(trial.package, "data/brews.json", lambda table: table.replace(b'degc": ', b'degc": 1e30', 1))
        with pytest.raises(AerobeError):
            usecases.exchange.import_package(book, forged, now=NOW)
        assert book.find(Brew) == [] and book.find(Recipe) == []


# -- evidence in the notebook ---------------------------------------------------------------------------------------------------
