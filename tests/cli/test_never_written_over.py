"""A file that is there stays as it is, whichever command is given its name: blind sheet, sealed key, last month's report."""

from __future__ import annotations

import ast
import os
import shlex
from pathlib import Path

import pytest

import aerobe.cli
from aerobe.cli import run
from aerobe.errors import NotAllowed
from aerobe.notebook import open_notebook
from aerobe.usecases.assay import example_study
from aerobe.usecases.notebook import write_new
from tests.usecases.test_blinding import DAY, blind_trial

REFUSED = 3
MINE = b"mine"
# Each command, and the file that it would write.
WRITING = [
    ("trial sheet t x.html", "x.html"),
    ("trial sheet t", "t-run-sheet.html"),
    ("trial sheet t x.html --with-arms", "x.html"),
    ("trial sheet t --with-arms", "t-with-key.html"),
    ("trial calendar t x.ics", "x.ics"),
    ("trial calendar t", "t.ics"),
    ("trial protocol t out", "out/t.protocol.html"),
    ("trial fingerprint t x.json", "x.json"),
    ("trial seal t x.key --passphrase-file pass.txt", "x.key"),
    ("trial show t --picture x.svg", "x.svg"),
    ("export x.zip --with-codes", "x.zip"),
    ("report trial t --to out", "out/trial-t-data.zip"),
    ("report brew t-01 --to out", "out/brew-t-01.pdf"),
    ("report assay study.csv --name Cards --method cards --to out", "out/assay-study.html"),
    ("report site out", "out/index.html"),
    ("assay certificate study.csv --name Cards --out out", "out/certificate-meaning.svg"),
    ('assay compare "12 30 55 80" "14 28 60 77" --picture x.svg', "x.svg"),
    ("call replay t-01 --picture x.svg", "x.svg"),
    ("oxygen ceiling --draws 20 --picture x.svg", "x.svg"),
    ("notebook copy x.notebook", "x.notebook"),
    ("notebook rescue tea.notebook x.notebook", "x.notebook"),
]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("home")
    with open_notebook(folder / "tea.notebook", at=DAY) as notebook:
        blind_trial(notebook)
    (folder / "pass.txt").write_text("correct horse")
    (folder / "study.csv").write_text(example_study())
    return folder


@pytest.mark.parametrize(("line", "name"), WRITING)
def test_no_command_writes_over_a_file(
    home: Path, line: str, name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(home)
    monkeypatch.setenv("AEROBE_NOTEBOOK", str(home / "tea.notebook"))
    path = home / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(MINE)
    before = sorted(item for item in home.rglob("*") if "notebook" not in item.name)
    assert run(shlex.split(line)) == REFUSED
    assert path.read_bytes() == MINE
    assert sorted(item for item in home.rglob("*") if "notebook" not in item.name) == before
    told = capsys.readouterr().err
    assert any(words in told for words in ("already", "not an empty folder"))
    path.unlink()


def test_a_command_that_is_free_to_write_does(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(home)
    flags = ["--notebook", str(home / "tea.notebook")]
    assert run(["trial", "sheet", "t", "once.html", *flags]) == 0
    blind = (home / "once.html").read_bytes()
    assert run(["trial", "sheet", "t", "once.html", *flags]) == REFUSED
    assert (home / "once.html").read_bytes() == blind


def test_one_name_that_is_taken_keeps_all_files_from_being_written(tmp_path: Path) -> None:
    (tmp_path / "b").write_bytes(MINE)
    with pytest.raises(NotAllowed, match="is there already"):
        write_new({tmp_path / "a": "new", tmp_path / "b": "new"})
    assert sorted(item.name for item in tmp_path.iterdir()) == ["b"]
    with pytest.raises(NotAllowed, match="is a folder"):
        write_new({tmp_path: "new"})


@pytest.mark.skipif(os.name != "posix", reason="links")
def test_a_link_that_leads_nowhere_is_a_name_that_is_taken(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(NotAllowed, match="is there already"):
        write_new({tmp_path / "a": "new"})


def test_commands_have_no_other_way_to_write_a_file() -> None:
    for path in Path(aerobe.cli.__file__).parent.glob("*.py"):
        used = {
            node.attr if isinstance(node, ast.Attribute) else node.id
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Attribute | ast.Name)
        }
        assert not used & {"write_whole", "write_text", "write_bytes"}, path.name
