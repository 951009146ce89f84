"""Out as an open data package and in again: the same notebook. Packages made to do harm are refused."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import frictionless
import pytest

from aerobe.errors import ImportFault
from aerobe.notebook import Notebook, check, fingerprint, open_notebook, read_package, write_package
from aerobe.records import Arm, Brew, Compost, PlannedBrew, PlannedSample, Reading, RunSheet, SensorLog, Trial
from tests.notebook.conftest import NOW, furnish, reading


@pytest.fixture
def full(notebook: Notebook) -> Notebook:
    arms = (Arm(key="a", recipe="plain", levels={"kelp": 1.5}),)
    notebook.add(Trial(key="t1", name="Trial", question="two recipes", arms=arms), at=NOW)
    notebook.add(Brew(key="in-trial", name="In", recipe="plain", vessel="barrel", started_at=NOW, trial="t1", arm="a"), at=NOW)
    notebook.add(
        RunSheet(
            trial="t1",
            seed=4,
            brews=(
                PlannedBrew(
                    brew="in-trial",
                    arm="a",
                    block="1",
                    vessel="barrel",
                    starts_at=NOW,
                    blind_code="T1",
                    samples=(PlannedSample(elapsed_h=4.0, controls=("blank",)),),
                ),
            ),
        ),
        at=NOW,
    )
    for item in (
        reading("z-old", brew="in-trial", signal=0.1 + 0.2),
        reading("a-new", brew="in-trial", signal=1e-7, replaces="z-old"),
        reading("odd", notes="=1+1", operator="'quoted", typed_as="<3", below_detection=True, entered_at=NOW),
        reading("study", brew="", role="standard", notes='two\nlines, "quoted"; ümlaut'),
    ):
        notebook.add_reading(item, at=NOW)
    log = SensorLog(brew="in-trial", channel="oxygen", elapsed_h=(0.0, 0.1, 0.1), values=(9.0, 8.123456789, 8.0))
    notebook.append_log(log, at=NOW)
    notebook.append_log(SensorLog(brew="b1", channel="pH", elapsed_h=(1.0,), values=(6.8,), probe="left"), at=NOW)
    notebook.add_advice("in-trial", {"call": "wait", "seed": 9, "versions": {"aerobe": "0.1.0"}}, at=NOW)
    notebook.keep("study", "card", {"points": [1, 2.5]}, at=NOW)
    return notebook


@pytest.fixture
def empty(tmp_path: Path):
    with open_notebook(tmp_path / "empty.notebook", at=NOW) as book:
        yield book


def test_importing_an_export_gives_the_same_notebook(full: Notebook, empty: Notebook) -> None:
    came = read_package(empty, write_package(full, at=NOW), at=NOW)
    assert fingerprint(empty) == fingerprint(full) == came.content
    assert check(empty) == []
    assert empty.readings(with_corrected=True) == full.readings(with_corrected=True)
    assert empty.get(RunSheet, "t1") == full.get(RunSheet, "t1")


def test_exporting_twice_gives_the_same_bytes_and_importing_twice_adds_nothing(full: Notebook, empty: Notebook) -> None:
    content = write_package(full, at=NOW)
    assert content == write_package(full, at=NOW)
    read_package(empty, content, at=NOW)
    again = read_package(empty, content, at=NOW)
    assert again.new == {} and again.known["readings"] == 4
    assert fingerprint(empty) == fingerprint(full)


def test_a_trial_goes_out_with_all_it_needs_and_nothing_else(full: Notebook, empty: Notebook) -> None:
    read_package(empty, write_package(full, at=NOW, trial="t1"), at=NOW)
    assert check(empty) == []
    assert [brew.key for brew in empty.find(Brew)] == ["in-trial"]
    assert [item.key for item in empty.readings(with_corrected=True)] == ["a-new", "z-old"]
    assert [log[0] for log in empty.logged()] == ["in-trial"]
    assert empty.kept("advice")[0].payload["seed"] == 9


def test_frictionless_itself_finds_the_package_valid(full: Notebook, tmp_path: Path) -> None:
    # The reference program of the standard: specs.frictionlessdata.io.
    path = tmp_path / "out.zip"
    path.write_bytes(write_package(full, at=NOW))
    report = frictionless.Package(str(path)).validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    rows = frictionless.Package(str(path)).get_resource("readings").read_rows()
    assert {row["key"]: row["signal"] for row in rows}["z-old"] == Decimal("0.30000000000000004")


def test_the_protocol_of_results_travels_with_versions_and_seed(full: Notebook) -> None:
    with zipfile.ZipFile(io.BytesIO(write_package(full, at=NOW, versions={"aerobe": "0.1.0", "numpy": "2"}))) as packed:
        about = json.loads(packed.read("datapackage.json"))
        results = json.loads(packed.read("data/results.json"))
    assert about["aerobe"]["versions"] == {"aerobe": "0.1.0", "numpy": "2"}
    assert {item["kind"] for item in results} == {"advice", "study"}


def test_text_that_a_spreadsheet_would_run_is_made_harmless(full: Notebook) -> None:
    with zipfile.ZipFile(io.BytesIO(write_package(full, at=NOW))) as packed:
        text = packed.read("data/readings.csv").decode()
    assert ",'=1+1" in text and ",=1+1" not in text


def test_a_package_that_contradicts_the_notebook_changes_nothing(full: Notebook, empty: Notebook) -> None:
    empty.add(Compost(key="heap", name="Quite another heap"), at=NOW)
    before = fingerprint(empty)
    with pytest.raises(ImportFault, match="contradicts"):
        read_package(empty, write_package(full, at=NOW), at=NOW)
    assert fingerprint(empty) == before


def rezip(content: bytes, change: Callable[[dict[str, bytes]], None]) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    change(files)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name, data)
    return out.getvalue()


def _bomb(files: dict[str, bytes]) -> None:
    files["data/readings.csv"] = b"0" * 60_000_000


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda files: files.update({"../../etc/x": b""}), "outside itself"),
        (lambda files: files.update({"/abs": b""}), "outside itself"),
        (lambda files: files.update({"C:\\x": b""}), "outside itself"),
        (_bomb, "would unpack to"),
        (lambda files: files.pop("data/readings.csv"), "lacks the file"),
        (
            lambda files: files.update({"data/readings.csv": files["data/readings.csv"].replace(b"1e-07", b"2e-07")}),
            "hash differs",
        ),
        (lambda files: files.pop("datapackage.json"), "no datapackage.json"),
        (lambda files: files.update({"datapackage.json": b"[1]"}), "not written by"),
        (lambda files: files.update({"datapackage.json": b"{"}), "cannot be read"),
    ],
    ids=["climbs", "absolute", "drive", "bomb", "missing", "tampered", "bare", "strange", "broken"],
)
def test_a_harmful_or_damaged_package_is_refused(full: Notebook, empty: Notebook, change, said: str) -> None:
    before = fingerprint(empty)
    with pytest.raises(ImportFault, match=said):
        read_package(empty, rezip(write_package(full, at=NOW), change), at=NOW)
    assert fingerprint(empty) == before


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 and no more", b"hours,value\n1,2\n"])
def test_something_that_is_no_zip_is_refused(empty: Notebook, content: bytes) -> None:
    with pytest.raises(ImportFault):
        read_package(empty, content, at=NOW)


def test_every_field_of_a_reading_survives(empty: Notebook, tmp_path: Path) -> None:
    furnish(empty)
    odd = Reading(
        key="all",
        brew="b1",
        assay="card",
        role="spike",
        elapsed_h=-0.25,
        signal=-1.5,
        unit="ug C/mL",
        typed_as="-1,5",
        dilution=10.5,
        replicate=3,
        sample="s",
        above_range=True,
        operator="@x",
        kit_lot="+1",
        entered_at=NOW,
        notes="\t'",
    )
    empty.add_reading(odd, at=NOW)
    with open_notebook(tmp_path / "other.notebook", at=NOW) as other:
        read_package(other, write_package(empty, at=NOW), at=NOW)
        assert other.reading("all") == odd
