"""What is answered to forms, and what is sent without being asked for, with other arms behind the same closed codes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from aerobe.web._roles import READER
from tests.reliability.forms import USE, WISH
from tests.web.blind_pairs import ARMS, ARRANGED, OPEN, SEED, alike, difference, hold_still, served
from tests.web.conftest import form_token

LAST = "the last"  # stands for the code of the brew that has not begun
# A form after the other, each by the owner: address and fields.
FORMS: tuple[tuple[str, Mapping[str, str]], ...] = (
    ("/trials/plan", {**WISH, "arms": f"plain, {ARMS[0]}", "scatter": "own brews", "vessel_names": "a, b", "money": "200"}),
    ("/compare", {"first": "plain", "second": ARMS[1], "outcome": "biomass", "margin": "1.5"}),
    ("/compare", {"first": ARMS[0], "second": ARMS[1], "outcome": "biomass", "margin": "1.5"}),
    ("/brews/{brew}/readings", {"what": "assay:strips", "signal": "55", "when": "30 h"}),
    ("/brews/{brew}/readings", {"what": "oxygen", "signal": "1.2", "signal_unit": "mg/L"}),
    ("/brews/{brew}/readings/{brew}-s24/correct", {"signal": "90", "when": "24 h", "why": "a slip"}),
    ("/brews/{brew}/readings/{brew}-s24/take-back", {}),
    ("/brews/{brew}/events", {"event": "water added", "amount": "1 L", "when": "1 h"}),
    ("/brews/{brew}/edit", {"recipe": ARMS[0], "why": "a guess"}),
    ("/brews/{brew}/test", {"assay": "strips", "tests": "2"}),
    ("/brews/{brew}/away", {}),
    ("/brews/{brew}/away", {"back": "yes"}),
    ("/shelf/recipes/quillwort/copy", {}),
    ("/shelf/recipes/quillwort/edit", {"name": "Quillwort, put right", "why": "a slip"}),
    ("/shelf/recipes/quillwort/away", {}),
    ("/shelf/recipes/quillwort/away", {"back": "yes"}),
    ("/safety/brews/{brew}/smell", {"smell": "earthy"}),
    ("/safety/brews/{brew}/air", {"unbroken": "yes"}),
    ("/safety/brews/{brew}/germ", {"disease_germ": "Listeria", "outcome": "not found"}),
    ("/safety/water/quillwort", {"e_coli": "none", "brew": "{brew}"}),
    ("/safety/use", {**USE, "brew": "{brew}", "do": "keep"}),
    ("/safety/use", {**USE, "brew": OPEN, "do": "keep"}),
    ("/trials/t/begin", {"code": "zzz"}),
    ("/trials/t/begin", {"code": LAST}),
    ("/trials/t/judge", {"outcome": "ratio"}),
    ("/trials/t/judge", {"outcome": "biomass", "assay": "none"}),
    ("/trials/t/protocol", {"form": "json"}),
    ("/blind/readings", {"code": "t:{code}", "assay": "strips", "signal": "<5"}),
    ("/blind/readings", {"code": "t:{code}", "assay": "none", "signal": "5"}),
    ("/brews/{brew}/harvest", {"smell": "earthy", "volume": "15", "volume_unit": "L"}),
    ("/api/trials/plan", {}),
)
AFTER = (
    "/",
    "/trials/t",
    "/trials/t/sheet",
    "/reminders",
    "/reminders.ics",
    "/parts/alarms",
    "/brews/{brew}",
    "/safety/brews/{brew}",
)


def sent_and_told(folder: Path, how: str) -> dict[str, str]:
    """Answers to all forms, pages afterwards, and what live pages, alarms and notices are told meanwhile."""
    told: dict[str, str] = {}
    with served(folder, how) as (clients, _, keys):
        owner, reader = clients["owner"], clients[READER]
        app, brew = owner.app, keys[2]
        codes = {"brew": brew, "code": brew.removeprefix("t-")}
        waiting = next(part[:3] for part in owner.get("/trials/t").text.split('name="code" value="')[1:])
        token, readers_token = form_token(owner.get("/trials/new").text), form_token(reader.get("/blind").text)
        app.state.watch.look()  # type: ignore[attr-defined]
        for place, (path, fields) in enumerate(FORMS):
            typed = {name: waiting if value == LAST else value.format(**codes) for name, value in fields.items()}
            client, mark = (reader, readers_token) if path.startswith("/blind") else (owner, token)
            told[f"{place} {path} {typed}"] = posted(client, path.format(**codes), typed, mark)
        app.state.watch.look()  # type: ignore[attr-defined]
        for path in AFTER:
            told[path] = alike(owner.get(path.format(**codes)).text)
        told["alarms"] = str([asdict(alarm) for alarm in app.state.watch.alarms()])  # type: ignore[attr-defined]
        told["live words"] = str(list(app.state.live._words))  # type: ignore[attr-defined]
    return told


def posted(client: TestClient, path: str, fields: Mapping[str, str], token: str) -> str:
    """Status, text, heads and length of an answer to a form."""
    if path.startswith("/api"):
        answer = client.post(path, content=json.dumps({**WISH, "arms": f"plain, {ARMS[0]}", "scatter": "own brews"}))
    else:
        answer = client.post(path, data={**fields, "form_token": token}, follow_redirects=False)
    heads = sorted(f"{name}: {value}" for name, value in answer.headers.items() if name not in ("set-cookie", "content-length"))
    return alike(f"{answer.status_code} {answer.text} {heads}")


def test_no_answer_to_a_form_and_nothing_sent_tells_which_arm_is_behind_a_closed_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hold_still(monkeypatch)
    first, *others = (sent_and_told(tmp_path / how.split()[0], how) for how in ARRANGED)
    lines = [f"{key}: {difference(text, other[key])}" for other in others for key, text in first.items() if text != other[key]]
    assert not lines, "\n".join(lines)
    assert not [what for what, text in first.items() if str(SEED) in text]
    assert "oxygen" in first["alarms"] and "t-" in first["live words"]
    assert sum(text[:3] in ("200", "303") for text in first.values()) > 15, [(what, text[:3]) for what, text in first.items()]
