"""The register of hazards: complete, sourced, and each line stands where the register says."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from aerobe import cli
from aerobe.notebook import Notebook
from aerobe.safety import Hazard, advise_use, all_cautions, all_hazards
from aerobe.sources import all_sources
from aerobe.web import ServeSettings, create_app
from tests.safety.garden import NOW, notebook  # noqa: F401  (a fixture)
from tests.safety.test_gates import GOOD_BREW, ON_LETTUCE

# The hazards that every register of this trade must hold; common practice, no source.
ASKED = {"regrowth", "mist", "legionella-water", "legionella-compost", "electricity", "bleach", "peroxide-ozone", "pressure"}
ASKED |= {"weak-immunity", "children", "animals", "runoff", "lifting", "glass", "sulphite", "cobalt"}
PLACES = [(hazard, place) for hazard in all_hazards() for place in hazard.shown]
PAGES = sorted({place for _, place in PLACES if place.startswith("/")})
COMMANDS = sorted({place for _, place in PLACES if not place.startswith("/")})


def named(place: str) -> str:
    return place.replace("{brew}", "clean").replace("{compost}", "heap")


def holds(text: str, hazard: Hazard) -> bool:
    return " ".join(hazard.line.split()) in " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


@pytest.fixture
def phone(notebook: Notebook) -> Iterator[TestClient]:  # noqa: F811
    app = create_app(notebook, clock=lambda: NOW, settings=ServeSettings(watching=False), advise=lambda *_: None)
    with TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5000)) as client:
        yield client


def test_each_page_shows_the_lines_that_the_register_names(phone: TestClient) -> None:
    shown = {page: phone.get(named(page)) for page in PAGES}
    assert {page for page, answer in shown.items() if answer.status_code != 200} == set()
    missing = [(hazard.key, place) for hazard, place in PLACES if place in shown and not holds(shown[place].text, hazard)]
    assert missing == []


def test_each_command_shows_the_lines_that_the_register_names(
    notebook: Notebook,  # noqa: F811
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("AEROBE_NOTEBOOK", str(tmp_path / "tea.notebook"))
    monkeypatch.setenv("COLUMNS", "4000")
    shown = {}
    for command in COMMANDS:
        cli.run(shlex.split(named(command)))
        shown[command] = capsys.readouterr().out
    missing = [(hazard.key, place) for hazard, place in PLACES if place in shown and not holds(shown[place], hazard)]
    assert missing == []


def test_a_line_that_is_not_there_is_noticed(phone: TestClient) -> None:
    assert not any(holds(phone.get("/safety/limits").text, hazard) for hazard in all_hazards())


def test_the_register_names_what_can_hurt_with_who_and_where() -> None:
    assert {hazard.key for hazard in all_hazards()} >= ASKED
    for hazard in all_hazards():
        assert hazard.who.endswith(".") and hazard.harm.endswith(".") and hazard.shown and hazard.source in all_sources()
    # No caution without a hazard that it answers.
    assert {hazard.caution.key for hazard in all_hazards()} == {item.key for item in all_cautions()}


def test_gates_that_the_register_names_are_gates() -> None:
    gates = {gate.name for gate in advise_use(GOOD_BREW, ON_LETTUCE).gates}
    assert {name for hazard in all_hazards() for name in hazard.gates} <= gates


def test_one_page_and_one_command_hold_all(phone: TestClient, capsys: pytest.CaptureFixture[str]) -> None:
    page = phone.get("/safety/hazards").text
    cli.run(["safety", "hazards"])
    said = " ".join(capsys.readouterr().out.split())
    for hazard in all_hazards():
        assert holds(page, hazard) and hazard.name in said and " ".join(hazard.line.split()) in said
