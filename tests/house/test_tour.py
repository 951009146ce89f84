"""The README's five minutes on the command line, word by word."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from aerobe.cli import run
from tests.house.test_docs import ROOT


def tour() -> list[list[str]]:
    """The commands of the tour, split into words; the line that sets the notebook is left to the environment."""
    text = (ROOT / "README.md").read_text(encoding="utf-8").split("## Five minutes", 1)[1]
    block = re.findall(r"```\n(.*?)```", text, flags=re.DOTALL)[0]
    return [shlex.split(line, comments=True) for line in block.splitlines() if line.startswith("aerobe ")]


def test_every_command_of_the_tour_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    commands = tour()
    assert len(commands) >= 6 and commands[0][1] == "demo"
    monkeypatch.chdir(tmp_path)
    for name, value in (("AEROBE_NOTEBOOK", "tea.notebook"), ("PYTHONPATH", str(ROOT))):
        monkeypatch.setenv(name, value)
    for words in commands:
        # The first as a program of its own, as a person starts it; the others by the same words in this one.
        code, said, complained = started(words) if words is commands[0] else answered(words[1:])
        # 4 is "it cannot be told", which is an answer.
        assert code in (0, 4), (words, said[-400:], complained[-400:])
        assert len(said) > 40, words
    assert (tmp_path / "trial-kelp-question.pdf").read_bytes().startswith(b"%PDF")


def started(words: list[str]) -> tuple[int, str, str]:
    done = subprocess.run([sys.executable, "-m", *words], capture_output=True, text=True, timeout=600, check=False)
    return done.returncode, done.stdout, done.stderr


def answered(words: list[str]) -> tuple[int, str, str]:
    said, complained = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
        code = run(words)
    return code, said.getvalue(), complained.getvalue()
