"""What spoiled input once broke, each in its smallest form: now a fault with a remedy, at once."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.assay import study_from_table
from aerobe.cli import FAULT, MISUNDERSTOOD, run
from aerobe.errors import LONGEST, AerobeError, NotFound
from aerobe.evidence import contrasts_from_table
from aerobe.notebook import open_notebook
from aerobe.records import Brew, Compost, HeatLog, from_plain
from aerobe.tables import zone_of
from aerobe.trials import Budget
from aerobe.usecases.notebook import write_whole
from aerobe.usecases.notebook._moments import elapsed_from
from aerobe.usecases.oxygen._form import FoodForm
from aerobe.web._points import batches_from
from aerobe.web._state import EMPTY, open_state
from tests.notebook.conftest import NOW, furnish
from tests.reliability.files import packed_again
from tests.reliability.forms import TABLE
from tests.reliability.world import World

LONG_CELL = '"' + "x" * 200_000 + '"'  # longer than Python's reader of tables takes


@pytest.mark.parametrize(
    "read",
    [
        lambda: elapsed_from("9" * 30, None, now=NOW),
        lambda: zone_of("." * 3000),
        lambda: zone_of("../../etc/passwd"),
        lambda: usecases.exchange.preview_table(
            TABLE, "log.csv", usecases.exchange.Wishes(columns={"hours": "elapsed" + " " * 60_000 + "["})
        ),
        lambda: usecases.exchange.preview_table(b"\xff\xfe" + "hours".encode("utf-16-le") + b"\n", "log.csv"),
        lambda: study_from_table(f"role,signal,unit\n{LONG_CELL},1,ug/mL", name="x", method="y"),
        lambda: contrasts_from_table(f"key,recipe,against,ratio,low,high\n{LONG_CELL},a,b,1,1,1"),
        lambda: usecases.oxygen.read_run(f"0,9\n{LONG_CELL},8\n10,7", time_unit="s", oxygen_unit="mg/L"),
        lambda: batches_from(b"time,channel,value,unit\r1,oxygen,7,mg/L\n", "text/csv"),
        lambda: usecases.assay.count_tubes("10 1 0.1", "3 3 " + "9" * 40, "3 1 0"),
        lambda: usecases.assay.count_tubes("10 1 1e-300", "3 3 3", "3 1 0"),
        lambda: usecases.assay.count_plates("0.01:>0"),
        lambda: usecases.assay.count_fields("1e308 1e308", volume_ml=1e-4),
        lambda: usecases.assay.ratio_of_parts("12", "30", "2", "33333", "mass"),
        lambda: usecases.assay.ratio_of_parts("1e308", "30", "2", "3", "mass"),
        lambda: usecases.assay.result_on_basis("12 +- 1e308", given="per mL", wanted="per g wet", density="1"),
        lambda: usecases.assay.result_on_basis("12", given="per mL", wanted="per g wet", density="1 +- 100"),
        lambda: Budget(money=100.0, days_per_round=0.0),
        lambda: Budget(money=100.0, days_per_round=1e-320),
        lambda: Budget(money=100.0, vessels=10**20),
        lambda: from_plain(
            Brew,
            {
                "key": "b",
                "name": "b",
                "recipe": "r",
                "vessel": "v",
                "started_at": NOW.isoformat(),
                "temperature_degc": 10**400,
            },
        ),
    ],
)
def test_rubbish_is_refused_with_a_remedy_and_at_once(read: Callable[[], Any]) -> None:
    began = time.thread_time()
    with pytest.raises(AerobeError) as found:
        read()
    assert found.value.problem and found.value.remedy
    assert time.thread_time() - began < 1.0


@pytest.mark.parametrize(
    "read",
    [
        lambda: HeatLog(days=(0.0, 1e30), temperatures_degc=(60.0, 61.0)),
        lambda: HeatLog(days=(-5.0, 3.0), temperatures_degc=(60.0, 61.0)),
        lambda: Compost(key="heap", name="Heap", carbon_to_nitrogen=1e9),
        lambda: FoodForm(probability="9090").question(),
        lambda: FoodForm(probability="-5 %").question(),
    ],
    ids=["a day without end", "a day before the heap", "C:N", "a chance above one", "a chance below none"],
)
def test_what_is_a_number_but_cannot_be_is_refused(read: Callable[[], Any]) -> None:
    with pytest.raises(AerobeError) as found:
        read()
    assert found.value.remedy


def test_a_cell_of_a_thousandth_is_no_one(tmp_path: Path) -> None:
    table = b'hours,"conductivity [uS/cm]"\n1,"0,001"\n2,"1,234"\n'
    preview = usecases.exchange.preview_table(table, "log.csv", usecases.exchange.Wishes(columns={}, brew="b1"))
    # 0,001 can only have a decimal comma, so the column has.
    assert preview.rows is not None and preview.rows.probes[0].values == [0.001, 1.234]


def test_an_uncertainty_below_all_digits_is_none() -> None:
    found = usecases.assay.result_on_basis("12 +- 1e-30", given="per mL", wanted="per g wet", density="1.02 +- 1e-25").linear
    assert found.value == pytest.approx(12 / 1.02) and 0.0 <= found.uncertainty < 1e-20


def test_a_crowded_plate_that_the_others_contradict_still_has_limits() -> None:
    # 24 mL without a colony and 0.01 mL with over 300: no honest dilution series, but a likelihood with its maximum all the same.
    _, found = usecases.assay.count_plates("24:0 0.01:>300 0.001:14")
    assert found is not None and 0.0 < found.low < found.value < found.high


def test_a_message_is_short_and_can_be_shown() -> None:
    fault = NotFound("x" * 100_000, "half \ud800 a sign")
    assert len(fault.problem) <= LONGEST + 3
    assert "\ud800" not in str(fault) and str(fault).encode()


@pytest.mark.parametrize(
    ("part", "value"),
    [
        ("alarms", None),
        ("alarms", {"mail_port": "x"}),
        ("alarms", {"none": 1}),
        ("senders", 1.5),
        ("devices", [[]]),
        ("broker", []),
        ("broker", {"host": "x", "topics": [1]}),
        ("broker", {"host": "x", "port": "a"}),
        ("secret", "no hex"),
    ],
)
def test_a_spoiled_memory_of_the_app_is_named_when_it_is_opened(tmp_path: Path, part: str, value: Any) -> None:
    path = tmp_path / "app.json"
    path.write_text(json.dumps({**EMPTY, "secret": "00" * 32, part: value}), encoding="utf-8")
    with pytest.raises(AerobeError, match="memory"):
        open_state(path)


def test_a_notebook_whose_text_is_no_text_is_called_damaged(tmp_path: Path) -> None:
    path = tmp_path / "tea.notebook"
    open_notebook(path, at=NOW).close()
    content = path.read_bytes().replace(b"CREATE TABLE", b"CREATE \xd4ABLE")
    path.write_bytes(content)
    with pytest.raises(AerobeError, match="damaged"):
        open_notebook(path, at=NOW).close()


@pytest.mark.parametrize("harm", ["flip", "more cells", "nan", "about"])
def test_a_package_spoiled_anywhere_is_refused_as_a_whole(tmp_path: Path, harm: str) -> None:
    from hashlib import sha256

    from tests.reliability.files import small_package

    package = small_package(tmp_path)
    with zipfile.ZipFile(io.BytesIO(package)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    about = json.loads(files["datapackage.json"])
    if harm == "flip":
        middle = package.index(b"datapackage.json") + 60
        package = package[:middle] + bytes(255 - byte for byte in package[middle : middle + 40]) + package[middle + 40 :]
    elif harm == "about":
        about["resources"][0]["aerobe"] = 1.5
        package = packed_again({**files, "datapackage.json": json.dumps(about).encode()})
    else:
        path = next(name for name in files if ("logs/" in name if harm == "more cells" else name.endswith("results.json")))
        files[path] = files[path] + b"1,2,3\r\n" if harm == "more cells" else files[path].replace(b'"earthy"', b"NaN")
        next(entry for entry in about["resources"] if entry["path"] == path)["hash"] = f"sha256:{sha256(files[path]).hexdigest()}"
        files["datapackage.json"] = json.dumps(about).encode()
        package = packed_again(files)
    with open_notebook(tmp_path / "other.notebook", at=NOW) as book:
        if harm == "more cells":
            usecases.exchange.import_package(book, package, now=NOW)  # a cell too many says nothing and harms nothing
            assert len(book.log("b1", "oxygen")[0]) == 3
            return
        with pytest.raises(AerobeError):
            usecases.exchange.import_package(book, package, now=NOW)
        assert not any(usecases.notebook.notebook_summary(book).values())


def test_half_a_character_is_refused_where_it_would_be_kept(tmp_path: Path) -> None:
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book, pytest.raises(AerobeError, match="half"):
        book.keep("smell", "b1", {"smell": "\ud800"}, at=NOW)


def test_half_a_character_in_json_is_answered_with_a_remedy(world: World) -> None:
    headers = {"x-aerobe-form": world.token, "content-type": "application/json"}
    for wish in ('{"name": "\\ud800", "arms": "a, b"}', '{"name": "x", "scatter": "\\ud800"}'):
        answer = world.client.post("/api/trials/plan", content=wish.encode(), headers=headers)
        assert answer.status_code in (200, 422) and answer.json()


@pytest.mark.parametrize(
    "fields",
    [
        {"asked": "plates", "plates": "0.01:120", "rule": "10300"},
        {"asked": "plates", "plates": "0.01:120", "rule": "10-300-5"},
        {"asked": "plates", "plates": "0.01:120", "rule": "a-b"},
    ],
)
def test_a_countable_range_that_is_none_comes_back_with_its_remedy(world: World, fields: dict[str, str]) -> None:
    answer = world.client.post("/assay/count", data=fields, headers={"x-aerobe-form": world.token})
    assert answer.status_code == 422 and 'role="alert"' in answer.text


def test_a_count_of_tubes_with_four_hundred_digits_is_refused(world: World) -> None:
    fields = {"germ": "E. coli", "amounts": "10 1 0.1", "tubes": "9" * 400 + " 3 3", "positives": "1 0 0"}
    answer = world.client.post("/safety/brews/kelp-5/test", data=fields, headers={"x-aerobe-form": world.token})
    assert answer.status_code == 422 and "whole numbers" in answer.text


def test_a_letter_that_the_pdf_has_no_shape_for_is_named(tmp_path: Path) -> None:
    form = usecases.assay.StudyForm(table=usecases.assay.example_study(), name="\u1780", method="colour test")
    with pytest.raises(AerobeError, match="no letters"):
        usecases.reports.certificate_as_pdf(form, now=NOW)


@pytest.mark.parametrize("newest", ["9" * 40, "-1"])
def test_a_number_of_changes_that_is_none_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], newest: str) -> None:
    where = str(tmp_path / "tea.notebook")
    open_notebook(where, at=NOW).close()
    assert run(["notebook", "changes", f"--newest={newest}", "--notebook", where]) in (FAULT, MISUNDERSTOOD)
    assert "number" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ("oxygen", "hold", "7 mg/L", "nan"),
        ("oxygen", "hold", "7 mg/L", "1e308"),
        ("oxygen", "ceiling", "--draws=-5"),
        ("oxygen", "ceiling", "--draws", "1000000000"),
        ("oxygen", "splits", "2 g/L", "--draws", "100000000"),
        ("trial", "times", "kelp", "bucket-a", "--until-h", "nan"),
        ("trial", "times", "kelp", "bucket-a", "--until-h", "1e9"),
        ("trial", "times", "kelp", "bucket-a", "--samples", "100000"),
        ("trial", "power", "drawn", "--simulations", "0"),
        ("call", "replay", "kelp-1", "--every=-4"),
        ("call", "replay", "kelp-1", "--every", "0"),
        ("call", "replay", "kelp-1", "--every", "1e-9"),
        ("call", "replay", "kelp-1", "--until", "1e12"),
    ],
    ids=" ".join,
)
def test_a_number_that_means_nothing_is_refused_at_once(
    world: World, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    where = [] if words[0] == "oxygen" else ["--notebook", str(world.folder / "tea.notebook")]
    began = time.process_time()
    assert run([*words, *where]) in (FAULT, MISUNDERSTOOD)
    assert capsys.readouterr().err and time.process_time() - began < 5.0


def test_a_json_file_without_end_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "deep.json").write_text("[" * 100_000 + "]" * 100_000, encoding="utf-8")
    words = ["notebook", "add", "recipe", str(tmp_path / "deep.json"), "--notebook", str(tmp_path / "tea.notebook")]
    assert run(words) == FAULT and "no JSON file" in capsys.readouterr().err


def test_a_terminal_without_the_letters_of_a_name_gets_an_answer(tmp_path: Path) -> None:
    where = str(tmp_path / "tea.notebook")
    with open_notebook(where, at=NOW) as book:
        furnish(book)
        usecases.notebook.new_brew(
            book,
            Brew(key="draft", name="F\u00e4sschen \u2264 5 \u1780", recipe="plain", vessel="barrel", started_at=NOW),
            now=NOW,
        )
    told = subprocess.run(
        [sys.executable, "-m", "aerobe", "brew", "list", "--notebook", where],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
    )
    assert told.returncode == 0 and "F?sschen <= 5 ?" in told.stdout, told.stderr


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    target = tmp_path / "new" / "a.txt"
    write_whole(target, "all of it")
    assert target.read_text() == "all of it" and [item.name for item in target.parent.iterdir()] == ["a.txt"]
    with pytest.raises(AerobeError) as found:
        write_whole(target / "below a file", b"x")
    assert "cannot be written" in found.value.problem and found.value.remedy
