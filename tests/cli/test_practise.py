"""Practising in the terminal: moves by a letter, time only when it is let pass, and the word before every line."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from aerobe.cli import FAULT, run
from aerobe.practice import CallThen, OtherPlayer, Rivals

RIVAL = OtherPlayer(harvested_h=22.0, caught=0.95, tests=2, points=93.0)


def typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    left: Iterator[str] = iter(lines)

    def answer(prompt: str) -> str:
        assert prompt.startswith("PRACTICE hour")
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", answer)


def test_a_brew_is_played_left_and_gone_on_with(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    then = (CallThen(now_h=0.0, call="test at", at_h=9.0, said="Test at hour 9."),)
    monkeypatch.setattr("aerobe.usecases.practice._playing.rivals_of", lambda one: Rivals(then=then, call=RIVAL, knowing=RIVAL))
    book = ["--notebook", str(tmp_path / "tea.notebook")]
    assert run(["practise", "new", "--seed", "3", "--probe", *book]) == 0
    typed(monkeypatch, "", "8", "t", "stir", "99")
    assert run(["practise", "play", "practice-1", "--pace", "0", *book]) == 0
    first = capsys.readouterr().out
    assert (
        "PRACTICE hour 9" in first and "The test shows" in first and "'stir' is no move" in first and "'99' is no move" in first
    )
    typed(monkeypatch, "c", "p", "10", "h")
    assert run(["practise", "play", "practice-1", "--pace", "0", *book]) == 0
    second = capsys.readouterr().out
    for words in ("colour, not life", "The pump runs", "Harvested at hour 19", "hour 0: Test at hour 9.", "To learn:", "a clock"):
        assert words in second
    assert "1 brew of 10" in second and not (tmp_path / "tea.notebook").exists()
    assert run(["practise", "test", "practice-1", *book]) == FAULT


def test_a_lesson_is_told_after_the_guess(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["practise", "lesson"]) == 0 and "how-many" in capsys.readouterr().out
    assert run(["practise", "lesson", "how-many"]) == 0
    asked = capsys.readouterr().out
    assert "4: About 80" in asked and "81" not in asked and "--guess NUMBER" in asked
    assert run(["practise", "lesson", "how-many", "--guess", "2"]) == 0
    told = capsys.readouterr().out
    assert "You guessed: about 12." in told and "81 of each" in told
    folder = tmp_path / "shown"
    assert run(["practise", "lesson", "how-many", "--guess", "2", "--show", str(folder)]) == 0
    assert "Pictures to show" in capsys.readouterr().out and len(list(folder.glob("lesson-how-many-*"))) == 12
    for words in (["how-many", "--guess", "7"], ["magic"]):
        assert run(["practise", "lesson", *words]) == FAULT


def test_what_cannot_be_chosen_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = ["--notebook", str(tmp_path / "tea.notebook")]
    for words in (["new", "--molasses", "80"], ["new", "--trouble", "storm"], ["new", "--seed", "-1"], ["curtain", "practice-7"]):
        assert run(["practise", *words, *book]) == FAULT
        assert capsys.readouterr().err
