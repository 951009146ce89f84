"""The commands of reports and evidence: what they print, write and answer with."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from aerobe.cli import run
from aerobe.notebook import open_notebook
from tests.reports.world import NOW, invented, read_by_microscope


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> object:
    code = run([*words, "--json"])
    return code, json.loads(capsys.readouterr().out)


@pytest.fixture
def book(tmp_path: Path) -> str:
    with invented(tmp_path / "own.notebook", seed=1):
        pass
    return str(tmp_path / "own.notebook")


def test_a_report_is_written_and_checked(book: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = answer(capsys, "report", "trial", "kelp", "-n", book, "--to", str(tmp_path / "out"))
    assert code == 0
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert written == {"trial-kelp-data.zip", "trial-kelp.html", "trial-kelp.pdf"}
    assert said["numbers"]["headline"] == said["headline"]
    code, said = answer(capsys, "report", "check", str(tmp_path / "out" / "trial-kelp-data.zip"))
    assert (code, said["same"]) == (0, True)
    assert run(["report", "check", str(tmp_path / "out" / "trial-kelp.html")]) == 3
    assert "zip" in capsys.readouterr().err
    assert run(["report", "check", str(tmp_path / "nothing.zip")]) == 3


def test_report_and_verdict_name_their_test_and_take_another(
    book: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_notebook(Path(book), at=NOW) as opened:
        read_by_microscope(opened)
    folders = (str(tmp_path / f"out-{n}") for n in range(9))  # a report takes no other's place
    for command in (("trial", "verdict", "kelp"), ("report", "trial", "kelp", "--to")):

        def words(command: tuple[str, ...] = command) -> tuple[str, ...]:
            return (*command, next(folders)) if command[-1] == "--to" else command

        for more, test in (((), "Colour test"), (("--assay", "scope"), "Stain"), (("--assay", "card"), "Colour test")):
            _, said = answer(capsys, *words(), *more, "-n", book)
            assert said["rests_on"].startswith(f"The verdict rests on one test: '{test} (invented)'")
            assert f"--assay {'card' if test == 'Stain' else 'scope'}" in said["rests_on"]
        run([*words(), "-n", book])
        assert "'Stain (invented)' (direct microscopy" in capsys.readouterr().out
        assert run([*words(), "--assay", "none", "-n", book]) == 3


def test_evidence_is_taken_listed_weighed_and_pooled(book: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "papers.csv"
    table.write_text(
        "key,recipe,against,ratio,low,high,brews,brews_against\n"
        "p1,kelp (invented),plain (invented),1.7,1.2,2.4,4,4\n"
        "p2,kelp (invented),plain (invented),1.9,1.4,2.6,4,4\n"
    )
    code, said = answer(capsys, "evidence", "take", str(table), "-n", book)
    assert (code, len(said["new"])) == (0, 2)
    assert run(["trial", "verdict", "kelp", "-n", book]) == 0  # a trial that nobody judged says nothing yet
    capsys.readouterr()
    code, said = answer(capsys, "evidence", "list", "-n", book)
    assert said == [{"recipe": "kelp (invented)", "against": "plain (invented)", "outcome": "biomass", "trials": 3}]
    code, said = answer(capsys, "evidence", "weigh", "kelp (invented)", "plain (invented)", "-n", book)
    assert code in (0, 4) and (code == 4) == (said["answer"] == "cannot tell")
    assert run(["evidence", "weigh", "kelp (invented)", "plain (invented)", "-n", book]) == code
    assert "Between trials" in capsys.readouterr().out
    assert run(["evidence", "brews", "-n", book]) == 3  # one trial of one's own is no pool
    assert "two trials" in capsys.readouterr().err


@pytest.mark.slow
def test_a_folder_of_pages_is_written_once_and_never_over_another(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with invented(tmp_path / "own.notebook", brews=1):
        pass
    words = ["report", "site", str(tmp_path / "public"), "-n", str(tmp_path / "own.notebook"), "--title", "Two gardens"]
    assert run(words) == 0
    assert "Two gardens" in (tmp_path / "public" / "index.html").read_text()
    assert "report.html" in (tmp_path / "public" / "trial-kelp" / "index.html").read_text()
    assert {path.name for path in (tmp_path / "public").iterdir()} == {"index.html", "trial-kelp", "brew-kelp-1", "brew-plain-1"}
    capsys.readouterr()
    assert run(words) == 3 and "overwritten" in capsys.readouterr().err
