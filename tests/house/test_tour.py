"""The README's five minutes on the command line, word by word."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

from tests.house.test_docs import ROOT


def tour() -> list[list[str]]:
    """The commands of the tour, split into words; the line that sets the notebook is left to the environment."""
    text = (ROOT / "README.md").read_text(encoding="utf-8").split("## Five minutes", 1)[1]
    block = re.findall(r"```\n(.*?)```", text, flags=re.DOTALL)[0]
    return [shlex.split(line, comments=True) for line in block.splitlines() if line.startswith("aerobe ")]


def test_every_command_of_the_tour_answers(tmp_path: Path) -> None:
    commands = tour()
    assert len(commands) >= 6 and commands[0][1] == "demo"
    env = {**os.environ, "AEROBE_NOTEBOOK": "tea.notebook", "PYTHONPATH": str(ROOT)}
    for words in commands:
        done = subprocess.run(
            [sys.executable, "-m", *words],
            cwd=tmp_path,
            env=env,
            capture_output=True,
            text=True,
            timeout=600,
            check=False,
        )
        # 4 is "it cannot be told", which is an answer.
        assert done.returncode in (0, 4), (words, done.stdout[-400:], done.stderr[-400:])
        assert len(done.stdout) > 40, words
    assert (tmp_path / "trial-kelp-question.pdf").read_bytes().startswith(b"%PDF")
