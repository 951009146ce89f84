"""Every block of the guide is run as it is written, page by page, from the invented notebook."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest

from aerobe.cli import FAULT, MISUNDERSTOOD, run
from tests.fewer import fewer_courses, fewer_trials
from tests.house.examples import prepare

ROOT = Path(__file__).parents[2]
PAGES = [path for path in sorted((ROOT / "docs" / "guide").glob("*.md")) if path.name not in ("commands.md", "answers.md")]
# What a line is not run for: it serves or plays until it is stopped, or its own room's tests run it for minutes.
LEFT_OUT = {
    "serve": "serves until it is stopped",
    "practise play": "is played by hand",
    "practise harvest": "asks the call anew at each hour of the brew",
    "practise curtain": "needs the harvest",
    "report site": "prints every report of a notebook",
    "evidence brews": "fits every brew",
    "evidence site": "needs the package of another shed",
    "trial stamped-at": "needs the reply of an authority to this very plan",
}
LONG = {"call replay": "asks the call many times", "report brew": "fits a brew and prints it"}  # at night
SIMULATED = ("ceiling", "splits", "air-or-food", "size")  # by day with fewer brews than they take of themselves


def blocks(text: str) -> Iterator[tuple[str, str]]:
    """Each block of a page in the order of the page: what its fence says, and what stands in it."""
    for match in re.finditer(r"^```([^\n]*)\n(.*?)^```|((?:^    aerobe [^\n]*\n)+)", text, flags=re.DOTALL | re.MULTILINE):
        yield (match[1] or "").strip(), match[2] if match[2] is not None else match[3]


def commands(block: str) -> Iterator[tuple[list[str], str]]:
    """The words of each line that is a command, and the file that its answer goes to."""
    for line in block.replace("\\\n", " ").splitlines():  # a command may go on in the next line
        bare = line.strip().removeprefix("$ ")
        if bare.startswith("aerobe "):
            words = shlex.split(bare, comments=True)[1:]
            at = words.index(">") if ">" in words else len(words)
            yield words[:at], "".join(words[at + 1 :])


def name_of(words: list[str]) -> str:
    return " ".join(words[:2]) if " ".join(words[:2]) in {*LEFT_OUT, *LONG} else words[0]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the invented notebook and the files that the guide names."""
    home = tmp_path_factory.mktemp("guide")
    with contextlib.redirect_stdout(io.StringIO()):
        assert run(["demo", str(home / "tea.notebook")]) == 0
    prepare(home)
    book = openpyxl.Workbook()
    for row in (("brew", "time [h]", "biomass [ug C/mL]"), ("plain-5", 5.0, 41.0), ("plain-5", 9.0, 77.0)):
        book.active.append(row)
    book.save(home / "readings.xlsx")
    (home / "probe.csv").write_text("time [h],DO\n0,8.4\n0.5,8.1\n1,7.9\n", encoding="utf-8")
    return home


@pytest.fixture
def home(demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "home"
    shutil.copytree(demo, folder)
    monkeypatch.chdir(folder)
    monkeypatch.setenv("AEROBE_NOTEBOOK", str(folder / "tea.notebook"))
    monkeypatch.setenv("AEROBE_HOME", str(folder))
    monkeypatch.setattr("aerobe.usecases.trials._planning.new_seed", lambda: 1)  # the guide names a code of the sheet
    return folder


def answer(words: list[str]) -> tuple[int, str, str]:
    out, wrong = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(wrong):
        code = run(words)
    return code, out.getvalue(), wrong.getvalue()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_block_of_a_page_runs_from_the_invented_notebook(page: Path, home: Path) -> None:
    with fewer_courses(), fewer_trials():
        run_blocks(page, home, by_day=True)


@pytest.mark.night
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_block_runs_word_for_word(page: Path, home: Path) -> None:
    run_blocks(page, home, by_day=False)


def run_blocks(page: Path, home: Path, *, by_day: bool) -> None:
    found = list(blocks(page.read_text(encoding="utf-8")))
    for name, table in ((fence.removeprefix("csv "), block) for fence, block in found if fence.startswith("csv ")):
        (home / name).write_text(table, encoding="utf-8")
    for fence, block in found:
        if fence == "python":
            with contextlib.redirect_stdout(io.StringIO()) as said:
                exec(compile(block, f"{page.name}", "exec"), {})
            assert said.getvalue()
        for words, to in commands(block):
            if name_of(words) in LEFT_OUT or (by_day and name_of(words) in LONG):
                continue
            fewer = ["--draws", "60"] if by_day and words[0] == "oxygen" and words[1] in SIMULATED else []
            code, out, wrong = answer([*words, *fewer])
            assert code not in (FAULT, MISUNDERSTOOD) and out, (page.name, words, code, wrong)
            if to:
                (home / to).write_text(out, encoding="utf-8")


def test_what_is_left_out_is_in_the_guide() -> None:
    shown = {
        name_of(words) for page in PAGES for _, block in blocks(page.read_text(encoding="utf-8")) for words, _ in commands(block)
    }
    assert {*LEFT_OUT, *LONG} <= shown


def test_a_block_that_cannot_run_is_noticed(home: Path) -> None:
    (words, to), (other, _) = commands('$ aerobe brew show \\\n  nobody  # a remark\naerobe brew list > "x y.txt"\n')
    assert words == ["brew", "show", "nobody"] and to == ""
    assert answer(words)[0] == FAULT and other == ["brew", "list"] and answer(["brew", "lists"])[0] == MISUNDERSTOOD
