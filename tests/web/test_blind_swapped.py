"""Notebooks alike but for the arms behind closed codes: nothing that anybody can look at may tell them apart.

Helpers and viewers see pages of the owner's or none (tests/web/test_roles.py), so the owner and the blind reader look for all.
"""

from __future__ import annotations

import io
import re
import shlex
import shutil
from contextlib import redirect_stderr, redirect_stdout
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from aerobe import usecases
from aerobe.cli import run
from aerobe.usecases.brews._behind_code import BEHIND_CODE
from aerobe.web._roles import READER, READER_PAGES
from tests.web.blind_pairs import ARMS, ARRANGED, LOOKS_AT_H, OPEN, SEED, alike, difference, hold_still, served, write
from tests.web.conftest import START

KEY_OF = {"/trials/": "t", "/shelf/{shelf}": "strips", "/compost/": "heap"}
# It never ends; or it holds simulated brews, which are kept apart from the notebook.
NEVER = ("/live", "/practise", "/parts/practise", "/pictures/lessons", "/pictures/practise")


def addresses(client: TestClient, keys: list[str]) -> list[str]:
    """Every address that answers a GET, with what the notebook has put in for what stands in braces."""
    found: list[str] = []
    for path, ways in sorted(client.app.openapi()["paths"].items()):  # type: ignore[attr-defined]
        if "get" not in ways or path.startswith(NEVER):
            continue
        noun_key = next((key for part, key in KEY_OF.items() if part in path), keys[2])
        filled = (
            path.replace("{shelf}", "tests")
            .replace("{key}", noun_key)
            .replace("{brew}", keys[2])
            .replace("{reading}", f"{keys[2]}-s24")
        )
        if "{kind}" in filled:
            found += [filled.replace("{kind}", kind).replace(keys[2], key) for kind, key in (("brew", keys[2]), ("trial", "t"))]
        else:
            found.append(filled)
    found = [path.replace("{form}", "html").replace("{noun}", "brew") for path in found]
    asked = [f"/search?q={word}" for word in (*ARMS, "molasses", "barn", "which")]
    more = [f"/courses?brew={keys[0]}&brew={keys[2]}", f"/courses?brew={keys[2]}&recipe={ARMS[0]}", f"/courses?recipe={ARMS[0]}"]
    more += [f"/compare?first={ARMS[0]}&second={ARMS[1]}", f"/brews/{keys[2]}/record?what=smell", f"/brews/new?recipe={ARMS[0]}"]
    more += [f"/shelf/{noun}/{key}/edit" for noun, key in (("recipes", ARMS[0]), ("recipes", ARMS[1]), ("vessels", "a"))]
    more += [f"/safety/compost/{key}" for key in ("heap", "barn")] + [
        f"/brews/new?again={keys[2]}",
        "/trials/t/sheet?with_arms=false",
    ]
    more += [f"/{page}/{OPEN}" for page in ("brews", "safety/brews", "api/safety/brews", "oxygen/brews")]
    more += [f"/safety/use?brew={key}" for key in (keys[2], OPEN)] + ["/trials/new?arms=plain", "/evidence/weigh?recipe=plain"]
    return [*found, *asked, *more]


def seen(clients: dict[str, TestClient], keys: list[str]) -> dict[tuple[str, str], str]:
    told = {}
    for role, client in clients.items():
        for path in addresses(clients["owner"], keys):
            if role == READER and not path.startswith(READER_PAGES):
                continue
            answer = client.get(path, follow_redirects=False)
            heads = sorted(f"{name}: {value}" for name, value in answer.headers.items() if name != "set-cookie")
            told[role, path] = alike(f"{answer.status_code} {answer.text} {heads}")
    return told


@pytest.fixture(autouse=True)
def told_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    hold_still(monkeypatch)


def test_no_page_of_any_role_tells_which_arm_is_behind_a_closed_code(tmp_path: Path) -> None:
    told = []
    for how in (ARRANGED[0], ARRANGED[2]):  # commands look at all
        with served(tmp_path / how, how) as (clients, _, keys):
            told.append(seen(clients, keys))

    first, second = told
    different = [where for where in first if first[where] != second[where]]
    lines = [f"{role} {path}: {difference(first[role, path], second[role, path])}" for role, path in different]
    assert not lines, "\n".join(lines)
    assert not [where for where, text in first.items() if str(SEED) in text]
    brew = next(path.rsplit("/", 1)[1] for _, path in first if re.fullmatch(r"/brews/t-\w+", path))
    assert all(BEHIND_CODE in first["owner", f"/{place}/{brew}"] for place in ("safety/brews", "api/safety/brews"))
    assert sum(text.startswith("200") for (role, _), text in first.items() if role == "owner") > 60


COMMANDS = """
brew list
brew show {brew}
brew events {brew}
reading list {brew} --all
call {brew}
call beliefs {brew}
call replay {brew} --every 24 --until 24
notebook show
notebook show brew
notebook show brew {brew}
notebook show run-sheet t
notebook changes
notebook changes --brew {brew}
oxygen uptake {brew}
oxygen feed-now {brew}
safety gates {brew}
safety ask --brew {brew} --crop beans --edible yes --touches no --days 100
report brew {brew} --to {home}/reports
report trial t --to {home}/reports
trial list
trial show t
trial show t --picture {home}/t.svg
trial sheet t {home}/sheet.html
trial calendar t {home}/t.ics
trial protocol t {home}
trial next t
trial compare zanthoxylum quillwort
trial compare zanthoxylum plain
trial compare plain quillwort
trial power t --scatter 0.3 --simulations 20 --workers 1
trial plan --name Next --arms "plain, zanthoxylum" --money 200
trial plan --name Next --arms "plain, zanthoxylum" --money 200 --scatter "own brews"
trial verdict t --outcome ratio
trial verdict t --assay nothing
safety gates open-1
safety gates open-3
brew show open-1
recipe list
report site {home}/site
evidence brews
export {home}/all.zip
export {home}/t.zip --trial t
notebook check
doctor
"""


def commanded(folder: Path, how: str) -> dict[str, str]:
    """What every command says and writes, as text and as JSON."""
    folder.mkdir()
    home = folder / "home"
    told = {}
    with usecases.notebook.open_notebook(folder / "tea.notebook", at=START) as notebook:
        brew = write(notebook, how)[2]
    for line in COMMANDS.strip().splitlines():
        for flag in ([], ["--json"]):
            home.mkdir()
            out = io.StringIO()
            words = shlex.split(line.format(brew=brew, home=home))
            with redirect_stdout(out), redirect_stderr(out):
                code = run([*words, "--notebook", str(folder / "tea.notebook"), *flag])
            files = [path for path in sorted(home.rglob("*")) if path.is_file()]
            written = [(path.name, path.read_text(encoding="utf-8", errors="replace")) for path in files]
            told[" ".join([line, *flag])] = alike(f"{code} {out.getvalue()} {written}".replace(str(folder), ""))
            shutil.rmtree(home)
    return told


class Stopped(datetime):
    """A clock of the command line that stands."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:
        return START + timedelta(hours=LOOKS_AT_H)


def test_no_command_tells_which_arm_is_behind_a_closed_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("aerobe.cli._common.datetime", Stopped)
    first, *others = (commanded(tmp_path / how.split()[0], how) for how in ARRANGED)
    lines = [f"{key}: {difference(text, other[key])}" for other in others for key, text in first.items() if text != other[key]]
    assert not lines, "\n".join(lines)
    assert not [line for line, text in first.items() if str(SEED) in text]
    assert all(BEHIND_CODE in text for line, text in first.items() if re.match(r"safety (gates|ask) (--brew )?\{brew\}", line))
    assert sum(text.startswith("0") for text in first.values()) > 20, [line for line, text in first.items() if text[0] != "0"]
