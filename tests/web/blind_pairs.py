"""Notebooks alike but for the arms behind closed codes, to be looked at side by side."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from fastapi.testclient import TestClient

from aerobe import usecases
from aerobe.errors import NotEnoughData
from aerobe.inference import BrewStory
from aerobe.notebook import Notebook
from aerobe.records import (
    AirSupply,
    Arm,
    Assay,
    AssayError,
    Brew,
    Compost,
    FoodDose,
    Harvest,
    PlannedBrew,
    Reading,
    Recipe,
    SensorLog,
    Trial,
    Vessel,
    as_plain,
)
from aerobe.trials import Controls, Starts, draw_run_sheet, plots_of
from aerobe.web import ServeSettings, create_app, open_state
from aerobe.web._roles import READER
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


# Other arms behind the same codes: all exchanged, or those of the second round, so that other brews belong together.
ARRANGED = ("as drawn", "exchanged", "otherwise paired")
OPEN = "open-1"  # a brew that nobody blinded, of a recipe of the trial


def arranged(brews: tuple[PlannedBrew, ...], how: str) -> tuple[PlannedBrew, ...]:
    """The lines of a sheet with their arms in another order."""
    arms = [line.arm for line in brews]
    if how == "exchanged":
        arms = [next(arm.key for arm in TRIAL.arms if arm.key != name) for name in arms]
    elif how == "otherwise paired":
        arms[2], arms[3] = arms[3], arms[2]
    return tuple(replace(line, arm=arm) for line, arm in zip(brews, arms, strict=True))


def write(notebook: Notebook, how: str) -> list[str]:
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
    sheet = replace(sheet, brews=arranged(sheet.brews, how))
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
    usecases.safety.note_germ(notebook, keys[2], "Salmonella", "found", now=START + timedelta(days=1))
    _write_in_the_open(notebook)
    return keys


def _write_in_the_open(notebook: Notebook) -> None:
    """Brews that nobody blinded, of a recipe of the trial and of another."""
    notebook.add(Recipe(key="plain", name="Plain", compost="heap", compost_g_per_l=15.0), at=START)
    for key, recipe in ((OPEN, ARMS[0]), ("open-2", ARMS[0]), ("open-3", "plain"), ("open-4", "plain")):
        begun = START + timedelta(hours=len(key) + int(key[-1]))
        notebook.add(Brew(key=key, name=key.title(), recipe=recipe, vessel="a", started_at=begun), at=begun)
        signal = 80.0 + 9 * int(key[-1])
        shared = {"brew": key, "assay": "strips", "elapsed_h": 24.0, "unit": "ug C/mL"}
        for role, value in (("sample", signal), ("killed control", 4.0)):
            reading = Reading(key=f"{key}-{role[:1]}", role=role, signal=value, typed_as=f"{value:g}", **shared)
            notebook.add_reading(reading, at=begun + timedelta(hours=24))
        notebook.add(Harvest(brew=key, elapsed_h=30.0), at=begun + timedelta(hours=30))


# What differs between any two notebooks: marks, tokens and hashes of a content that nobody can guess.
ONCE = re.compile(
    r'[0-9a-f]{12,}|[0-9,]+ MB are free|<meta name="aerobe-place"[^>]*>|name="entry" value="[^"]*"|[A-Za-z0-9_-]{40,}'
)


def alike(text: str) -> str:
    """A text without what differs between any two notebooks."""
    return ONCE.sub("~", text)


@contextmanager
def served(folder: Path, how: str) -> Iterator[tuple[dict[str, TestClient], Notebook, list[str]]]:
    """The app over such a notebook, as each role sees it."""
    clock = Clock()
    folder.mkdir()
    with usecases.notebook.open_notebook(folder / "tea.notebook", at=START) as notebook:
        keys = write(notebook, how)
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


def only_told(story: BrewStory, *args: object, past: Sequence[object] = (), **kwargs: object) -> None:
    """What the model would be asked about a brew: whatever went in alike comes out alike, and nothing takes time here.

    Raises NotEnoughData always, with what it was asked.
    """
    raise NotEnoughData(f"Asked of {as_plain(story)}, with {len(past)} earlier brews.", "Calls are tried elsewhere.")


def hold_still(monkeypatch: pytest.MonkeyPatch) -> None:
    """No brew is fitted, and each notebook has the same mark: files packed small would differ in length by it."""
    monkeypatch.setattr("aerobe.usecases.brews._beliefs.infer_brew", only_told)
    monkeypatch.setattr("aerobe.usecases.brews._advice.replay", only_told)
    monkeypatch.setattr("aerobe.notebook._opening.secrets", SimpleNamespace(token_hex=lambda count: "0" * 2 * count))


def difference(one: str, other: str) -> str:
    """The first lines in which two texts differ."""
    lines = difflib.unified_diff(one.splitlines(), other.splitlines(), lineterm="", n=0)
    return " | ".join([line.strip()[:160] for line in lines if line[:1] in "+-" and line[:3] not in ("+++", "---")][:4])
