"""Words, JSON and exit codes of the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from datetime import datetime, timedelta, timezone, tzinfo
from pathlib import Path

import openpyxl
import pytest

from aerobe.cli import COMMANDS, FAULT, MISUNDERSTOOD, _common, _notebook, run
from aerobe.notebook import open_notebook
from aerobe.records import Vessel
from aerobe.units import signs
from tests.conftest import DATA
from tests.notebook.conftest import NOW, furnish

HEAVY = ("numpy", "scipy", "numba", "sqlalchemy", "alembic", "fastapi", "vl_convert", "statsmodels", "markdown_it")


@pytest.fixture(autouse=True)
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands are given some weeks after what is written down here, whatever this machine's clock says."""

    class Later(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
            return (NOW + timedelta(days=40)).astimezone(tz)

    monkeypatch.setattr(_common, "datetime", Later)


@pytest.fixture
def book(tmp_path: Path) -> str:
    path = tmp_path / "tea.notebook"
    with open_notebook(path, at=NOW) as notebook:
        furnish(notebook)
    return str(path)


def answer(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0):
    assert run([*words, "--json"]) == code
    return json.loads(capsys.readouterr().out)


def test_help_loads_no_heavy_library() -> None:
    # Help must come at once (under 0.25 s on an idle laptop); what makes it slow is what it imports.
    found = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from aerobe.cli import run\ntry: run(['--help'])\nexcept SystemExit: pass\n"
            "print([name for name in sys.modules if '.' not in name], file=sys.stderr)",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert all(name in found.stdout for name in COMMANDS)
    assert not set(HEAVY) & set(json.loads(found.stderr.strip().splitlines()[-1].replace("'", '"')))


def test_a_brew_and_its_readings_by_command(
    capsys: pytest.CaptureFixture[str], book: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    what = ("--recipe", "plain", "--vessel", "barrel", "--temperature", "68 degF")
    made = answer(capsys, "brew", "new", "Old barrel", *what, "-n", book)
    assert (made["key"], made["temperature_degc"]) == ("old-barrel", pytest.approx(20.0))
    kept = answer(capsys, "reading", "add", "old-barrel", "<3,5", "--assay", "card", "--when", "90 min", "-n", book)
    assert kept["was_new"]
    corrected = answer(capsys, "reading", "correct", kept["key"], "35", "--why", "misread", "-n", book)
    shown = answer(capsys, "reading", "list", "old-barrel", "-n", book)
    assert [(item["key"], item["signal"], item["elapsed_h"]) for item in shown] == [(corrected["key"], 35.0, 1.5)]
    assert len(answer(capsys, "reading", "list", "old-barrel", "--all", "-n", book)) == 2
    assert answer(capsys, "brew", "show", "old-barrel", "-n", book)["brew"]["name"] == "Old barrel"
    assert {item["key"] for item in answer(capsys, "brew", "list", "-n", book)} == {"b1", "old-barrel"}
    assert answer(capsys, "notebook", "changes", "--newest", "1", "-n", book)[0]["why"] == "misread"
    made_at = (NOW + timedelta(days=40)).astimezone(timezone(timedelta(hours=-11)))
    monkeypatch.setattr(_notebook, "now", lambda: made_at)
    assert run(["notebook", "changes", "--newest", "1", "-n", book]) == 0
    assert f"{made_at:%Y-%m-%d %H:%M}" in capsys.readouterr().out  # on the clock of whoever asks


def test_words_for_people_line_up(capsys: pytest.CaptureFixture[str], book: str) -> None:
    assert run(["reading", "add", "b1", "12,5", "--assay", "card", "--when", "4", "-n", book]) == 0
    assert run(["reading", "list", "b1", "-n", book]) == 0
    out = capsys.readouterr().out.splitlines()
    head = next(line for line in out if line.startswith("key"))
    row = out[out.index(head) + 1]
    assert head.index("role") == row.index("sample") and "12,5 µg C/mL" in row


LONG = [("a-very-long-key-of-a-reading-1", "a few words of text", "4.6 (1.2 to 6.7)"), ("b", "", "<3 ug C/mL")]


@pytest.mark.parametrize("columns", [60, 48, 40])
def test_a_table_fits_the_terminal_and_keeps_numbers_whole(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    monkeypatch.setattr(_common, "terminal_columns", lambda: columns)
    lines = _common.table(("key", "some notes", "lowest oxygen [mg/L]"), LONG)
    assert max(map(len, lines)) <= columns and len(lines) > 3
    assert any("4.6 (1.2 to 6.7)" in line for line in lines) and any("<3 µg C/mL" in line for line in lines)
    assert {line.index(cell) for line in lines for cell in ("4.6", "<3", "lowest") if cell in line} == {lines[0].index("lowest")}


def test_heads_are_folded_before_what_stands_under_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_common, "terminal_columns", lambda: 44)
    lines = _common.table(("way", "chance above the floor", "cost of a brew"), [("double the air at night", "92 %", "0.24")])
    assert len(lines) > 2 and lines[-1].startswith("double the air at night  92 %") and max(map(len, lines)) <= 44


def test_what_no_one_reads_on_a_terminal_is_left_whole(monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    assert len(_common.table(("key", "notes", "oxygen"), LONG)) == 3
    _common.say({}, as_json=False, text="word " * 60)
    monkeypatch.setattr(_common, "terminal_columns", lambda: 40)
    _common.say({}, as_json=False, text=["! " + "word " * 20])
    whole, *folded = capsys.readouterr().out.splitlines()
    assert len(whole) == 300 and len(folded) > 2 and max(map(len, folded)) <= 40
    assert all(line.startswith("  word") for line in folded[1:])


@pytest.mark.parametrize(
    "words",
    [
        ["reading", "add", "b1", "lots", "--assay", "card"],
        ["reading", "add", "nobody", "3", "--assay", "card"],
        ["brew", "show", "nobody"],
        ["brew", "new", "x", "--recipe", "plain", "--vessel", "barrel", "--temperature", "20"],
        ["notebook", "show", "ghost"],
        ["notebook", "restore", "nowhere.notebook"],
        ["export", "x.zip", "--trial", "none"],
        ["import", "nowhere.csv"],
        ["brew", "new", "x", "--recipe", "plain", "--vessel", "barrel", "--started", "noon"],
    ],
    ids=" ".join,
)
def test_a_fault_says_problem_and_remedy_and_exits_with_3(capsys, book: str, words: list[str]) -> None:
    assert run([*words, "-n", book, "--json"]) == FAULT
    out, err = capsys.readouterr()
    fault = json.loads(out)
    assert signs(fault["problem"]) in err and signs(fault["remedy"]) in err and fault["remedy"]
    assert "Traceback" not in err


@pytest.mark.parametrize("words", [["brw"], ["brew", "lst"], ["reading", "add"], ["brew", "list", "--jsn"]], ids=" ".join)
def test_what_is_not_understood_exits_with_2_and_says_what_was_meant(capsys, words: list[str]) -> None:
    assert run(words) == MISUNDERSTOOD
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err and (out + err).strip()


def test_reading_does_not_begin_a_notebook(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(["brew", "list", "-n", str(tmp_path / "none.notebook")]) == FAULT
    assert "no notebook at" in capsys.readouterr().err and not (tmp_path / "none.notebook").exists()


def test_the_own_notebook_is_used_if_none_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("AEROBE_HOME", str(tmp_path / "mine"))
    monkeypatch.delenv("AEROBE_NOTEBOOK", raising=False)
    recipe = tmp_path / "heap.json"
    recipe.write_text('{"key": "heap", "name": "Heap"}')
    assert answer(capsys, "notebook", "add", "compost", str(recipe))["key"] == "heap"
    assert (tmp_path / "mine" / "tea.notebook").exists()
    monkeypatch.setenv("AEROBE_NOTEBOOK", str(tmp_path / "other.notebook"))
    assert run(["notebook", "show"]) == FAULT


def test_the_kelp_file_by_command_is_shown_first_and_kept_when_agreed(capsys: pytest.CaptureFixture[str], book: str) -> None:
    path = str(DATA / "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv")
    preview = answer(capsys, "import", path, "-n", book, code=4)
    assert preview["ready"] and not preview["kept"]
    assert answer(capsys, "import", path, "--yes", "-n", book)["readings"] == 60
    assert answer(capsys, "import", path, "--yes", "-n", book)["duplicates"] == 60


def test_a_spreadsheet_by_command_with_a_column_explained(capsys: pytest.CaptureFixture[str], book: str, tmp_path: Path) -> None:
    sheet = openpyxl.Workbook()
    for row in (["hours", "DO"], [0, 9.0], [1, "wet"], [2, 8.0]):
        sheet.active.append(row)
    path = tmp_path / "probe.xlsx"
    sheet.save(path)
    assert not answer(capsys, "import", str(path), "--yes", "--brew", "b1", "-n", book, code=4)["ready"]
    taken = answer(capsys, "import", str(path), "--yes", "--brew", "b1", "--column", "DO=oxygen [mg/L]", "-n", book)
    assert taken["log_points"] == 2 and taken["faults"][0]["row"] == 3


def test_out_in_copy_check_and_restore_by_command(capsys: pytest.CaptureFixture[str], book: str, tmp_path: Path) -> None:
    package, other = tmp_path / "out.zip", str(tmp_path / "other.notebook")
    assert answer(capsys, "export", str(package), "-n", book)["bytes"] == package.stat().st_size
    assert run(["export", str(package), "-n", book]) == FAULT  # nothing is overwritten
    capsys.readouterr()
    assert answer(capsys, "import", str(package), "-n", other)["new"]["brews"] == 1
    first = answer(capsys, "notebook", "check", "-n", book)
    assert first["whole"] and first["fingerprint"] == answer(capsys, "notebook", "check", "-n", other)["fingerprint"]
    copy = answer(capsys, "notebook", "copy", "-n", book)["copy"]
    assert run(["reading", "add", "b1", "3", "--assay", "card", "--when", "1", "-n", book]) == 0
    capsys.readouterr()
    assert answer(capsys, "notebook", "copies", "-n", book) == [copy]
    answer(capsys, "notebook", "restore", copy, "-n", book)
    assert answer(capsys, "notebook", "check", "-n", book)["fingerprint"] == first["fingerprint"]


def test_a_damaged_notebook_is_said_with_exit_code_4(capsys: pytest.CaptureFixture[str], book: str) -> None:
    import sqlite3

    with sqlite3.connect(book) as connection:
        connection.execute("update recipes set payload = replace(payload, 'Plain', 'Other')")
    report = answer(capsys, "notebook", "check", "-n", book, code=4)
    assert not report["whole"] and "plain" in report["faults"][0]


def test_the_demo_by_command_is_made_once(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = str(tmp_path / "demo.notebook")
    first = answer(capsys, "demo", path)
    assert first["still_brewing"] == answer(capsys, "demo", path)["still_brewing"] == "kelp-5"


def test_a_notebook_on_a_server_without_the_driver_or_of_another_kind_is_a_fault(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["brew", "list", "-n", "mysql://localhost/x"]) == FAULT
    assert "postgresql://" in capsys.readouterr().err


def test_the_package_is_the_same_use_cases_by_name() -> None:
    import aerobe

    assert aerobe.take_in is aerobe.usecases.exchange.take_in and "open_notebook" in dir(aerobe)
    with pytest.raises(AttributeError):
        _ = aerobe.no_such_thing


def test_python_dash_m_is_the_command() -> None:
    done = subprocess.run([sys.executable, "-m", "aerobe", "--version"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip()) == (0, "0.1.0")


def test_a_brew_from_nothing_with_flags_and_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = ("--notebook", str(tmp_path / "new.notebook"))
    assert answer(capsys, "compost", "add", "Leaf mould", *own) == {"key": "leaf-mould"}
    plain = ("--compost", "leaf-mould", "--compost-amount", "500 g", "--water", "20 L", "--food", "molasses 20 g")
    assert answer(capsys, "recipe", "add", "Plain", *plain, *own) == {"key": "plain"}
    assert answer(capsys, "vessel", "add", "Bucket", "--volume", "20 L", "--air", "8 L/min", *own) == {"keys": ["bucket"]}
    assert answer(capsys, "test", "add", "Strips", "--price", "3", *own) == {"key": "strips"}
    known = ("--vessel", "bucket", "--recipe", "plain", "--test", "strips")
    brew = answer(capsys, "start", "First", *known, *own)
    assert brew["key"] == "first" and any("label" in item["what"] for item in brew["guesses"])
    (shown,) = (item for item in answer(capsys, "brew", "list", *own) if item["key"] == "first")
    assert (shown["recipe"], shown["vessel"]) == ("plain", "bucket")
    (recipe,) = answer(capsys, "recipe", "list", *own)
    assert recipe["compost_g_per_l"] == 25.0 and recipe["foods"][0]["g_per_l"] == 1.0


def test_faults_of_a_start_are_told_one_by_one_in_plain_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = ("--notebook", str(tmp_path / "new.notebook"))
    assert run(["start", "--volume", "x", "--air", "much", "--compost-amount", "a shovel", *own]) == FAULT
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 6 and [line.split(":")[0] for line in told[::2]] == ["Water in the vessel", "Air", "Amount of compost"]


def test_what_is_missing_is_asked_at_a_terminal_and_a_slip_is_asked_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter(["a lot", "500 g", "molasses 20 g", "", "20 L"])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    assert run(["start", "--notebook", str(tmp_path / "new.notebook")]) == 0
    told = capsys.readouterr().out
    assert "'a lot' is no volume" in told and "runs." in told and "Air, from the size alone" in told
    assert next(answers, None) is None


@pytest.mark.parametrize("content", ["{", "[1, 2]", '{"key": "x"}', '{"key": "x", "name": 3, "volume_l": 1, "air": {}}'])
def test_a_file_that_is_no_record_is_refused_without_words_of_the_language(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: str
) -> None:
    file = tmp_path / "vessel.json"
    file.write_text(content, encoding="utf-8")
    assert run(["notebook", "add", "vessel", str(file), "--notebook", str(tmp_path / "new.notebook")]) == FAULT
    told = capsys.readouterr().err
    for word in ("__init__", "Errno", "Expecting", "keyword", "NoneType", "'str'", "float", "dict"):
        assert word not in told


def test_a_vessel_is_asked_for_alike_whether_it_is_written_in_or_started_in(tmp_path: Path) -> None:
    book, other = str(tmp_path / "a.notebook"), str(tmp_path / "b.notebook")
    words = ["--volume", "25 L", "--air", "6 L/min", "--air-is", "measured", "--depth", "0.35 m", "--altitude", "900 m"]
    words += ["--diffuser", "open pipe"]
    assert run(["vessel", "add", "Tub", *words, "-n", book]) == 0
    assert run(["start", "First", *words, "-n", other]) == 0
    with open_notebook(book, at=NOW) as one, open_notebook(other, at=NOW) as two:
        (added,), (started,) = one.find(Vessel), two.find(Vessel)
    assert (added.volume_l, added.depth_m, added.altitude_m, added.air.flow_l_per_min) == (25.0, 0.35, 900.0, 6.0)
    assert replace(started, key=added.key, name=added.name) == added
