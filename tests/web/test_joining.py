"""A trial that several places run, in the app: handed out, joined from its file, taken back; bad files lose nothing."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.records import RunSheet, Trial
from tests.plans import keep_plans
from tests.usecases.test_protocol import NOW, WISH, package_of, run_it
from tests.usecases.test_protocol import shed as a_shed
from tests.web.conftest import Shed


@pytest.fixture
def planned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Any, str, bytes]:
    """A notebook elsewhere with a trial, its key and its protocol file."""
    keep_plans(monkeypatch)
    from aerobe.records import FoodDose, Recipe

    book = a_shed(tmp_path / "far.notebook", "leaf")
    book.add(Recipe(key="plain", name="Plain", compost="leaf", compost_g_per_l=30.0), at=NOW)
    kelp = (FoodDose(food="kelp-powder", g_per_l=1.0),)
    book.add(Recipe(key="kelp", name="Kelp", compost="leaf", compost_g_per_l=30.0, foods=kelp), at=NOW)
    key = usecases.trials.start_trial(book, WISH, now=NOW)
    content = usecases.exchange.protocol_as_file(usecases.exchange.protocol_of_trial(book, key, now=NOW))
    return book, key, content


def sent(shed: Shed, path: str, content: bytes, name: str, **fields: str) -> Any:
    return shed.post(path, file=(name, content, "application/octet-stream"), **fields)


def ticket_of(page: str) -> str:
    return re.search(r'name="ticket" value="([^"]+)"', page)[1]  # type: ignore[index]


@pytest.mark.usefixtures("tried_here")
def test_a_trial_is_joined_from_its_file_handed_on_and_taken_back(shed: Shed, planned: tuple[Any, str, bytes]) -> None:
    far, far_key, content = planned
    assert 'href="/trials/join"' in shed.client.get("/trials").text and shed.client.get("/trials/join").status_code == 200
    looked = sent(shed, "/trials/join", content, "kelp.protocol.json")
    assert looked.status_code == 200 and "Write in your compost first" in looked.text and shed.notebook.find(Trial) == []
    shed.notebook.add(a_compost(), at=NOW)
    looked = sent(shed, "/trials/join", content, "kelp.protocol.json")
    assert "1 g/L kelp-powder" in looked.text and "Own heap" in looked.text and shed.notebook.find(Trial) == []
    ticket = ticket_of(looked.text)
    wrong = shed.post("/trials/join/begin", ticket=ticket, compost="mine", vessels="north", start="someday")
    assert wrong.status_code == 422 and 'value="north"' in wrong.text and 'value="someday"' in wrong.text
    assert ticket_of(wrong.text) == ticket and shed.notebook.find(Trial) == []
    few = shed.post("/trials/join/begin", ticket=ticket, compost="mine", vessels="north")
    assert few.status_code == 422 and "vessels" in few.text and shed.notebook.find(Trial) == []
    for _ in range(2):  # sent twice: joined once
        done = shed.post("/trials/join/begin", ticket=ticket, compost="mine", vessels="north, tub", entry="once-and-only")
        assert done.status_code == 303
    (trial,), (sheet,) = shed.notebook.find(Trial), shed.notebook.find(RunSheet)
    assert done.headers["location"].startswith(f"/trials/{trial.key}") and sheet.brews
    # The plan can be handed on, as the same plan.
    page = shed.client.get(f"/trials/{trial.key}/others").text
    assert "Hand it out" in page and f"/trials/{trial.key}/others" in shed.client.get(f"/trials/{trial.key}").text
    given = shed.post(f"/trials/{trial.key}/protocol", form="json")
    assert json.loads(given.content)["fingerprint"] == json.loads(content)["fingerprint"]
    printed = shed.post(f"/trials/{trial.key}/protocol", form="html").text
    inside = re.search(r"base64,([A-Za-z0-9+/=]+)", printed)[1]  # type: ignore[index]
    assert json.loads(base64.b64decode(inside)) == json.loads(given.content)
    assert shed.post(f"/trials/{trial.key}/protocol", form="exe").status_code == 404
    # What the other place found comes back and is pooled.
    run_it(far, far_key, times=2.5, seed=4)
    package = package_of(far, far_key)
    shed.clock.turn(days=60)  # a trial comes in after it was brewed
    for told in ("1 new, 0 known", "0 new, 1 known"):
        back = sent(shed, f"/trials/{trial.key}/site", package, "far.zip", site="river")
        assert back.status_code == 303 and told in shed.client.get(back.headers["location"]).text
    assert len(usecases.evidence.kept_evidence(shed.notebook)) == 1
    far.close()


def test_bad_files_get_a_clear_word_and_nothing_is_written(shed: Shed, planned: tuple[Any, str, bytes]) -> None:
    far, _, content = planned
    shed.notebook.add(a_compost(), at=NOW)
    plain = json.loads(content)
    only = [item for item in plain["protocol"]["places"] if item["arm"] == 0]
    for made, word in (
        (b"%PDF-1.7", "no protocol"),
        (json.dumps({**plain, "version": 9}).encode(), "version 9"),
        (json.dumps({**plain, "protocol": {**plain["protocol"], "places": only}}).encode(), "has no brew"),
        (json.dumps({**plain, "protocol": {**plain["protocol"], "margin_ratio": 9.0}}).encode(), "changed after"),
    ):
        refused = sent(shed, "/trials/join", made, "x.protocol.json")
        assert refused.status_code == 422 and word in refused.text and 'type="file"' in refused.text
    assert shed.post("/trials/join").status_code == 422
    lost = shed.post("/trials/join/begin", ticket="gone", compost="mine")
    assert lost.status_code == 422 and "no longer at hand" in lost.text
    assert shed.notebook.find(Trial) == []
    # A package that is none, or of a trial that was not handed out.
    ticket = ticket_of(sent(shed, "/trials/join", content, "x.protocol.json").text)
    key = shed.post("/trials/join/begin", ticket=ticket, compost="mine").headers["location"].partition("?")[0].rpartition("/")[2]
    for made, word in ((b"a,b\n1,2\n", "no data package"), (b"PK\x03\x04broken", "")):
        refused = sent(shed, f"/trials/{key}/site", made, "x.zip", site="river")
        assert refused.status_code == 422 and word in refused.text and 'value="river"' in refused.text
    assert shed.client.get("/trials/none-such/others").status_code == 404
    assert usecases.evidence.kept_evidence(shed.notebook) == ()
    far.close()


def a_compost() -> Any:
    from aerobe.records import Compost

    return Compost(key="mine", name="Own heap (invented)")
