"""Two notebooks alike but for the arms behind closed codes: nothing that anybody can look at may tell them apart.

Helpers and viewers see pages of the owner's or none (tests/web/test_roles.py), so the owner and the blind reader look for all.
"""

from __future__ import annotations

import difflib
import io
import re
import shlex
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import replace
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from aerobe import usecases
from aerobe.cli import run
from aerobe.errors import NotEnoughData
from aerobe.inference import BrewStory
from aerobe.notebook import Notebook
from aerobe.records import (
    AirSupply,
    Arm,
    Assay,
    AssayError,
    Compost,
    FoodDose,
    Reading,
    Recipe,
    SensorLog,
    Trial,
    Vessel,
    as_plain,
)
from aerobe.trials import Controls, Starts, draw_run_sheet, plots_of
from aerobe.web import ServeSettings, create_app, open_state
from aerobe.web._roles import READER, READER_PAGES
from tests.web.conftest import START, Clock

ARMS = ("zanthoxylum", "quillwort")  # names that stand nowhere else
KILLED = Controls(roles=("killed control",), round_roles=(), tests_per_brew=1, tests_per_round=0, reasons=())
TRIAL = Trial(
    key="t",
    name="Which",
    question="two recipes",
    arms=tuple(Arm(key=f"arm-{name}", recipe=name, is_standard=i == 0) for i, name in enumerate(ARMS)),
    margin_ratio=1.5,
    planned_at=START,
)
LOOKS_AT_H = 76.0
SEED = 80211479  # it stands nowhere else: with it anybody draws the sheet again and knows the arms


def write(notebook: Notebook, *, swapped: bool) -> list[str]:
    """A blind trial of two recipes that could not be less alike, all brews begun but one; gives the brews' keys."""
    notebook.add(Compost(key="heap", name="Heap"), at=START)
    notebook.add(Compost(key="barn", name="Barn", animal_origin=True), at=START)
    foods = ((), (FoodDose(food="molasses", g_per_l=9.0), FoodDose(food="kelp", g_per_l=4.0)))
    for name, compost, amount, dose in zip(ARMS, ("heap", "barn"), (10.0, 90.0), foods, strict=True):
        notebook.add(Recipe(key=name, name=name.title(), compost=compost, compost_g_per_l=amount, foods=dose), at=START)
    for key in ("a", "b"):
        air = AirSupply(flow_l_per_min=10.0)
        notebook.add(Vessel(key=key, name=f"Bucket {key}", volume_l=20.0, depth_m=0.4, air=air), at=START)
    error = AssayError(constant_sd=1.0, proportional_cv=0.2, origin="certificate of March")
    notebook.add(Assay(key="strips", name="Strips", method="colour test", unit="ug C/mL", error=error), at=START)
    starts = Starts(first=START + timedelta(days=1))
    sheet = draw_run_sheet(
        TRIAL,
        plots_of(2, 2, 2),
        controls=KILLED,
        sample_times_h=[24.0],
        tests_per_brew=1,
        seed=SEED,
        starts=starts,
        vessels=("a", "b"),
    )
    other = {TRIAL.arms[0].key: TRIAL.arms[1].key, TRIAL.arms[1].key: TRIAL.arms[0].key}
    if swapped:
        sheet = replace(sheet, brews=tuple(replace(line, arm=other[line.arm]) for line in sheet.brews))
    notebook.add(TRIAL, at=START)
    notebook.add(sheet, at=START)
    keys = []
    for i, line in enumerate(sheet.brews[:-1]):
        begun = line.starts_at or START
        key = usecases.trials.start_planned_brew(notebook, "t", line.blind_code, now=begun).key
        keys.append(key)
        for role, hour, signal in (("sample", 2.0, 30.0 + i), ("killed control", 2.0, 4.0), ("sample", 24.0, 100.0 + 7 * i)):
            reading = Reading(
                key=f"{key}-{role[:1]}{hour:g}",
                brew=key,
                assay="strips",
                role=role,
                elapsed_h=hour,
                signal=signal,
                unit="ug C/mL",
                typed_as=f"{signal:g}",
            )
            notebook.add_reading(reading, at=begun + timedelta(hours=hour))
        hours = tuple(0.5 * n for n in range(40))
        log = SensorLog(brew=key, channel="oxygen", probe="p", elapsed_h=hours, values=tuple(8.0 - 0.02 * h for h in hours))
        notebook.append_log(log, at=begun)
    return keys


@contextmanager
def served(folder: Path, *, swapped: bool) -> Iterator[tuple[dict[str, TestClient], Notebook, list[str]]]:
    """The app over such a notebook, as each role sees it."""
    clock = Clock()
    folder.mkdir()
    with usecases.notebook.open_notebook(folder / "tea.notebook", at=START) as notebook:
        keys = write(notebook, swapped=swapped)
        clock.turn(hours=LOOKS_AT_H)
        settings = ServeSettings(
            watching=False, photos=folder / "photos", address="https://192.168.1.5:8471", burst=1e9, per_s=1e9
        )
        app = create_app(notebook, state=open_state(folder / "app.json"), clock=clock, settings=settings)
        app.state.thinker.advise = None
        app.state.hindsight.advise = None
        with TestClient(app, base_url="http://localhost") as owner:
            token = app.state.pairing.accept(app.state.pairing.offer(role=READER).code, "Phone")
            there = {"base_url": "https://192.168.1.5:8471", "client": ("192.168.1.77", 50000)}
            yield {"owner": owner, READER: TestClient(app, cookies={"aerobe_device": token}, **there)}, notebook, keys


# What differs between any two notebooks: marks, tokens and hashes of a content that nobody can guess.
ONCE = re.compile(
    r'[0-9a-f]{12,}|[0-9,]+ MB are free|<meta name="aerobe-place"[^>]*>|name="entry" value="[^"]*"|[A-Za-z0-9_-]{40,}'
)
# It never ends; or it holds simulated brews, which are kept apart from the notebook.
NEVER = ("/live", "/practise", "/parts/practise", "/pictures/lessons", "/pictures/practise")


def addresses(client: TestClient, keys: list[str]) -> list[str]:
    """Every address that answers a GET, with what the notebook has put in for what stands in braces."""
    found: list[str] = []
    for path, ways in sorted(client.app.openapi()["paths"].items()):  # type: ignore[attr-defined]
        if "get" not in ways or path.startswith(NEVER):
            continue
        noun_key = "t" if "/trials/" in path else keys[1]
        filled = path.replace("{key}", noun_key).replace("{brew}", keys[1]).replace("{reading}", f"{keys[1]}-s24")
        if "{kind}" in filled:
            found += [filled.replace("{kind}", kind).replace(keys[1], key) for kind, key in (("brew", keys[1]), ("trial", "t"))]
        else:
            found.append(filled)
    found = [path.replace("{form}", "html").replace("{noun}", "brew") for path in found]
    asked = [f"/search?q={word}" for word in (*ARMS, "molasses", "barn", "which")]
    more = [f"/courses?brew={keys[0]}&brew={keys[1]}", f"/courses?brew={keys[1]}&recipe={ARMS[0]}", f"/courses?recipe={ARMS[0]}"]
    more += [f"/compare?first={ARMS[0]}&second={ARMS[1]}", f"/brews/{keys[1]}/record?what=smell", f"/brews/new?recipe={ARMS[0]}"]
    return [*found, *asked, *more]


def seen(clients: dict[str, TestClient], keys: list[str]) -> dict[tuple[str, str], str]:
    told = {}
    for role, client in clients.items():
        for path in addresses(clients["owner"], keys):
            if role == READER and not path.startswith(READER_PAGES):
                continue
            answer = client.get(path, follow_redirects=False)
            told[role, path] = f"{answer.status_code} {ONCE.sub('~', answer.text)} {answer.headers.get('location', '')}"
    return told


def only_told(story: BrewStory, *args: object, past: Sequence[object] = (), **kwargs: object) -> None:
    """What the model would be asked about a brew: whatever went in alike comes out alike, and nothing takes time here.

    Raises NotEnoughData always, with what it was asked.
    """
    raise NotEnoughData(f"Asked of {as_plain(story)}, with {len(past)} earlier brews.", "Calls are tried elsewhere.")


@pytest.fixture(autouse=True)
def told_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("aerobe.usecases.brews._beliefs.infer_brew", only_told)
    monkeypatch.setattr("aerobe.usecases.brews._advice.replay", only_told)


def test_no_page_of_any_role_tells_which_arm_is_behind_a_closed_code(tmp_path: Path) -> None:
    told = []
    for swapped in (False, True):
        with served(tmp_path / f"{swapped}", swapped=swapped) as (clients, _, keys):
            told.append(seen(clients, keys))

    first, second = told
    different = [where for where in first if first[where] != second[where]]
    lines = [f"{role} {path}: {difference(first[role, path], second[role, path])}" for role, path in different]
    assert not lines, "\n".join(lines)
    assert not [where for where, text in first.items() if str(SEED) in text]
    assert sum(text.startswith("200") for (role, _), text in first.items() if role == "owner") > 60


def difference(one: str, other: str) -> str:
    """The first lines in which two texts differ."""
    lines = difflib.unified_diff(one.splitlines(), other.splitlines(), lineterm="", n=0)
    return " | ".join([line.strip()[:160] for line in lines if line[:1] in "+-" and line[:3] not in ("+++", "---")][:4])


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
export {home}/all.zip
export {home}/t.zip --trial t
doctor
"""


def commanded(folder: Path, *, swapped: bool) -> dict[str, str]:
    """What every command says and writes, as text and as JSON."""
    folder.mkdir()
    home = folder / "home"
    told = {}
    with usecases.notebook.open_notebook(folder / "tea.notebook", at=START) as notebook:
        brew = write(notebook, swapped=swapped)[1]
    for line in COMMANDS.strip().splitlines():
        for flag in ([], ["--json"]):
            home.mkdir()
            out = io.StringIO()
            words = shlex.split(line.format(brew=brew, home=home))
            with redirect_stdout(out), redirect_stderr(out):
                code = run([*words, "--notebook", str(folder / "tea.notebook"), *flag])
            written = [path.read_text(encoding="utf-8", errors="replace") for path in sorted(home.rglob("*")) if path.is_file()]
            told[" ".join([line, *flag])] = ONCE.sub("~", f"{code} {out.getvalue()} {written}".replace(str(folder), ""))
            shutil.rmtree(home)
    return told


class Stopped(datetime):
    """A clock of the command line that stands."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:
        return START + timedelta(hours=LOOKS_AT_H)


def test_no_command_tells_which_arm_is_behind_a_closed_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("aerobe.cli._common.datetime", Stopped)
    first, second = (commanded(tmp_path / f"{swapped}", swapped=swapped) for swapped in (False, True))
    lines = [f"{line}: {difference(first[line], second[line])}" for line in first if first[line] != second[line]]
    assert not lines, "\n".join(lines)
    assert not [line for line, text in first.items() if str(SEED) in text]
    assert sum(text.startswith("0") for text in first.values()) > 20, [line for line, text in first.items() if text[0] != "0"]
