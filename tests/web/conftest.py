"""An app over a fresh notebook, with a clock that tests turn."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from aerobe import usecases
from aerobe.web import ServeSettings, WebState, create_app, open_state

ZONE = timezone(timedelta(hours=2))
START = datetime(2026, 5, 1, 8, 0, tzinfo=ZONE)


@dataclass
class Clock:
    """A clock that stands until it is turned."""

    now: datetime = START

    def __call__(self) -> datetime:
        return self.now

    def turn(self, **by: float) -> None:
        self.now += timedelta(**by)


@dataclass
class Shed:
    """Everything around one app under test."""

    app: FastAPI
    client: TestClient
    clock: Clock
    notebook: Any
    state: WebState
    token: str = ""
    headers: dict[str, str] = field(default_factory=dict)

    def post(self, path: str, *, json_answer: bool = False, **fields: Any) -> Any:
        """Post a form as a page of the app would."""
        headers = {"x-aerobe-form": self.token, **({"accept": "application/json"} if json_answer else {})}
        files = {name: fields.pop(name) for name in list(fields) if isinstance(fields[name], tuple)}
        return self.client.post(path, data=fields, files=files or None, headers=headers, follow_redirects=False)


BREW = {
    "name": "Barrel 1",
    "temperature": "20",
    "temperature_unit": "degC",
    "tests": "4",
    "vessel": "(new)",
    "vessel_name": "Barrel",
    "volume": "100",
    "volume_unit": "L",
    "depth": "60",
    "depth_unit": "cm",
    "flow": "30",
    "flow_unit": "L/min",
    "diffuser": "coarse bubble",
    "altitude": "0",
    "altitude_unit": "m",
    "recipe": "(new)",
    "compost_name": "Leaf mould",
    "animal": "no",
    "compost_amount": "3",
    "compost_amount_unit": "kg",
    "food_1": "molasses",
    "food_1_amount": "70",
    "food_1_amount_unit": "g",
    "water": "rain",
    "assay": "(new)",
    "assay_name": "Home colour test",
    "method": "colour test",
    "assay_unit": "ug C/mL",
    "price": "10",
}


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Shed]:
    """An app with an empty notebook, and a client that sits at the machine."""
    clock = Clock()
    with usecases.notebook.open_notebook(tmp_path / "tea.notebook", at=clock()) as notebook:
        state = open_state(tmp_path / "app.json")
        settings = ServeSettings(
            watching=False, photos=tmp_path / "photos", address="https://192.168.1.5:8471", burst=5000, per_s=5000
        )
        app = create_app(notebook, state=state, clock=clock, settings=settings)
        # What finds calls is tried with the browser; here pages stand without waiting for it.
        app.state.thinker.advise = None
        app.state.hindsight.advise = None
        with TestClient(app, base_url="http://localhost") as client:
            made = Shed(app=app, client=client, clock=clock, notebook=notebook, state=state)
            made.token = form_token(client.get("/menu").text)
            yield made


@pytest.fixture
def brewing(shed: Shed) -> Shed:
    """The same with one brew under air for eight hours."""
    answer = shed.post("/brews", **BREW)
    assert answer.status_code == 303, answer.text
    shed.clock.turn(hours=8)
    return shed


@pytest.fixture
def tried_here(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Packages go in untried where a test takes in many: a process for each takes a second. Gives the names of what came."""
    seen: list[str] = []
    monkeypatch.setattr("aerobe.usecases.exchange.require_harmless", lambda content, name, *, package: seen.append(name))
    return seen


def form_token(html: str) -> str:
    """The token that a page carries for its forms."""
    found = re.search(r'name="aerobe-form" content="(\w+)"', html)
    assert found is not None
    return found[1]
