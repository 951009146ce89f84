"""Files that ask for too much must end their own process, never ours."""

from __future__ import annotations

import io
import json
import os
import zipfile

import pytest

from aerobe.errors import ImportFault, UnusableReading
from aerobe.isolation import WorkLimits, run_apart
from aerobe.tables import read_table

HERE = "tests.isolation.work"


def test_an_answer_comes_back() -> None:
    assert run_apart(f"{HERE}:count", b"abc", what="x.csv", arguments={"times": 2}) == {"count": 6}


def test_a_fault_for_the_person_comes_back_as_itself() -> None:
    with pytest.raises(UnusableReading, match="too dark"):
        run_apart(f"{HERE}:person_fault", b"", what="x.csv")


@pytest.mark.parametrize("work", ["hoard", "spin", "abort", "leave", "chatter"])
def test_whatever_goes_wrong_there_is_a_fault_here(work: str) -> None:
    with pytest.raises(ImportFault, match=r"x\.csv"):
        run_apart(
            f"{HERE}:{work}", b"", what="x.csv", limits=WorkLimits(memory_bytes=600_000_000, seconds=1.0, answer_bytes=1000)
        )


def test_work_that_only_has_to_wait_for_the_machine_is_not_given_up() -> None:
    done = run_apart(f"{HERE}:wait", b"", what="x.csv", arguments={"seconds": 1.5}, limits=WorkLimits(seconds=1.0))
    assert done == "done"


def test_no_secret_of_the_environment_goes_along(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PGPASSWORD", "hush")
    found = run_apart(f"{HERE}:environment", b"", what="x")
    assert "hush" not in json.dumps(found)


def far_corner(address: str = "XFD1048576", entity: str = "") -> bytes:
    """A small XLSX with a table of two rows and one value at `address`, written by hand."""
    cells = '<row r="1"><c r="A1" t="inlineStr"><is><t>hours</t></is></c></row><row r="2"><c r="A2"><v>1</v></c></row>'
    row = address.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    sheet = f'<?xml version="1.0"?>{entity}<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    sheet += (
        f'<dimension ref="A1:B2"/><sheetData>{cells}<row r="{row}"><c r="{address}"><v>1</v></c></row></sheetData></worksheet>'
    )
    main = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    parts = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/></Types>',
        "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="r1" Type="{main}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
        f'xmlns:r="{main}"><sheets><sheet name="a" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="r1" Type="{main}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": sheet,
    }
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in parts.items():
            packed.writestr(name, text)
    return made.getvalue()


def test_a_value_in_the_far_corner_of_a_spreadsheet_is_refused_and_we_live() -> None:
    with pytest.raises(ImportFault, match="XFD1048576"):
        read_table(far_corner(), "far.xlsx")
    assert os.getpid()


def test_a_sheet_that_defines_entities_is_refused() -> None:
    with pytest.raises(ImportFault, match=r"ent\.xlsx"):
        read_table(far_corner("B2", '<!DOCTYPE a [<!ENTITY b "c">]>'), "ent.xlsx")


def test_an_ordinary_sheet_is_read() -> None:
    assert read_table(far_corner("A3"), "plain.xlsx").block.rows == (("1",), ("1",))
