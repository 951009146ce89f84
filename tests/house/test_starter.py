"""The program that starts everything: what is looked at beside the tests is not forgotten when it fails."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture
def starter(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    spec = importlib.util.spec_from_file_location("starter", ROOT / "run.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setenv("CHECKS_BESIDE_TESTS_OVER", "")  # put back afterwards: it is of the run that these tests stand in
    spec.loader.exec_module(module)
    return module


def test_the_whole_run_asks_for_lint_layout_and_types(starter: ModuleType) -> None:
    assert [(name, rest[:2]) for name, rest in starter.Beside.CHECKS] == [
        ("types", ["mypy"]),
        ("lint", ["ruff", "check"]),
        ("layout", ["ruff", "format"]),
    ]


def test_what_fails_beside_the_tests_is_told_and_makes_the_run_fail(
    starter: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    checks = (("good", ["this"]), ("bad", ["no_such_module_here"]))
    monkeypatch.setattr(starter.Beside, "CHECKS", checks)
    beside = starter.Beside(sys.executable)
    assert beside.faults() == ["bad"]
    said = capsys.readouterr().out
    assert "Not clean: bad." in said and "no_such_module_here" in said and "Not clean: good" not in said


def test_that_it_is_over_is_written_down_however_it_ended(
    starter: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(starter.threading, "excepthook", lambda _: None)
    beside = starter.Beside(str(tmp_path / "no python"))
    beside.thread.join()
    assert Path(starter.os.environ["CHECKS_BESIDE_TESTS_OVER"]).exists() and not beside.ended
    assert beside.faults() and not Path(beside.over).exists()


def test_what_could_not_be_looked_at_is_not_clean(starter: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(starter.threading, "excepthook", lambda _: None)  # its fault is what is asked for
    assert starter.Beside(str(tmp_path / "no python")).faults() == ["types", "lint", "layout"]


@pytest.mark.parametrize(("tests", "wrong", "code"), [(0, [], 0), (0, ["types"], 1), (1, [], 1), (5, ["lint"], 5)])
def test_the_run_ends_well_only_if_all_did(
    starter: ModuleType, monkeypatch: pytest.MonkeyPatch, tests: int, wrong: list[str], code: int
) -> None:
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")
    monkeypatch.setattr(starter, "call", lambda _: tests)
    monkeypatch.setattr(starter, "what_is_missing", lambda: [])
    monkeypatch.setattr(starter.Beside, "CHECKS", ())
    monkeypatch.setattr(starter.Beside, "faults", lambda _: wrong)
    assert starter.test(sys.executable, []) == code
    assert "PYTHONDONTWRITEBYTECODE" not in starter.os.environ  # what was compiled is kept for the next run
