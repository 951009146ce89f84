"""Pictures to show in the app: of practice, lessons, pooled answers, food and certificates; each a zip of all sizes."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import pytest

from aerobe import usecases
from aerobe.usecases.assay import example_study
from tests.reports.test_showing import texts
from tests.reports.test_site import PAPERS
from tests.web.conftest import Shed

FILES = {f"{size}-{look}.{form}" for size in ("slide", "square", "tall") for look in ("light", "dark") for form in ("svg", "png")}


@pytest.fixture
def quick(shed: Shed, monkeypatch: pytest.MonkeyPatch) -> Shed:
    """The app without drawing dots, which takes seconds; tests/reports looks at those."""
    monkeypatch.setattr("aerobe.usecases.reports._showing.poster_png", lambda *_: b"dots")
    shed.app.state.practising.thinker.advise = None
    return shed


def shown(answer: Any, stem: str) -> str:
    """What stands on the square picture of a download that holds all of them."""
    assert answer.status_code == 200, answer.text[:300]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        assert set(packed.namelist()) == {f"{stem}-{name}" for name in FILES}
        return " ".join(texts(packed.read(f"{stem}-square-light.svg").decode()).split())


def test_practice_and_lessons_are_shown_as_practice(quick: Shed) -> None:
    address = quick.post("/practise", how="choose", molasses="1", trouble="none").headers["location"]
    key = address.rpartition("/")[2]
    assert quick.client.get(f"/pictures/practise/{key}.zip").status_code == 403
    quick.post(f"{address}/harvest", at_h="20")
    assert f"/pictures/practise/{key}.zip" in quick.client.get(address).text
    said = shown(quick.client.get(f"/pictures/practise/{key}.zip"), key)
    assert "PRACTICE" in said and "Harvested at hour 20" in said
    said = shown(quick.client.get("/pictures/lessons/how-many.zip"), "lesson-how-many")
    assert "PRACTICE" in said and "81 of each" in said
    assert quick.client.get("/pictures/lessons/magic.zip").status_code == 404
    assert quick.client.get("/pictures/practise/practice-99.zip").status_code == 404


def test_a_pooled_answer_is_shown_with_its_interval(quick: Shed) -> None:
    usecases.evidence.take_evidence(quick.notebook, PAPERS.encode(), "papers.csv", now=quick.clock())
    asked = {"recipe": "kelp (invented)", "against": "plain (invented)"}
    assert "/pictures/evidence.zip?recipe=kelp" in quick.client.get("/evidence/weigh", params=asked).text
    said = shown(quick.client.get("/pictures/evidence.zip", params=asked), "evidence")
    weighed = usecases.evidence.weigh_evidence(quick.notebook, *asked.values()).weighed
    assert "3 trials of 2 places" in said and ("Can't tell" in said) == (weighed.answer == "cannot tell")
    assert quick.client.get("/pictures/evidence.zip", params={"recipe": "a", "against": "b"}).status_code == 404


def test_food_and_a_certificate_are_shown_as_they_are_told(quick: Shed) -> None:
    assert "/pictures/food.zip?" in quick.client.get("/oxygen").text
    assert "No brew: computed" in shown(quick.client.get("/pictures/food.zip"), "food")
    sent = {"table": example_study(), "name": "My cards", "method": "colour test", "as": "pictures"}
    said = shown(quick.post("/assay/paper", **sent), "certificate")
    assert "readings of one test" in said
