"""The practice brew in the app: by form, by touch and by keys; its frame, its word, and nothing in the notebook."""

from __future__ import annotations

import re
from typing import Any

import pytest

from aerobe.practice import LESSONS, CallThen, OtherPlayer, Rivals
from tests.ports import free_port
from tests.web.browsing import CHROMIUM, Served, Visit, arrive, browser, go, until, violations, visit  # noqa: F401
from tests.web.conftest import Shed

RIVAL = OtherPlayer(harvested_h=22.0, caught=0.95, tests=2, points=93.0)
RIVALS = Rivals(then=(CallThen(now_h=0.0, call="test at", at_h=9.0, said="Test at hour 9."),), call=RIVAL, knowing=RIVAL)


@pytest.fixture
def quiet(shed: Shed) -> Shed:
    """The app without the worker that asks the others."""
    shed.app.state.practising.thinker.advise = None
    return shed


def test_a_brew_by_forms_alone(quiet: Shed) -> None:
    page = quiet.client.get("/practise")
    assert page.status_code == 200 and "PRACTICE" in page.text
    begun = quiet.post("/practise", how="choose", molasses="2,5", trouble="none", probe="yes")
    assert begun.status_code == 303
    address = begun.headers["location"]
    assert "2.5 g/L molasses" in quiet.client.get(address).text
    assert quiet.post(f"{address}/wait", until_h="12").status_code == 303
    told = quiet.post(f"{address}/test", json_answer=True, at_h="14").json()
    assert told["now_h"] == 14.0 and told["moves"][0]["kind"] == "test" and told["log"]["h"][-1] == 14.0 and "truth" not in told
    assert quiet.post(f"{address}/stir").status_code == 403
    assert quiet.post(f"{address}/wait", until_h="soon").status_code == 422
    quiet.post(f"{address}/harvest", at_h="24")
    behind = quiet.client.get(address).text
    assert "You caught" in behind and "PRACTICE" in behind and "A clock" in behind
    assert quiet.client.get("/practise/practice-99").status_code == 404
    assert quiet.client.get("/api/brews").text.count("practice") == 0


def test_a_value_out_of_range_comes_back_with_what_was_typed(quiet: Shed) -> None:
    refused = quiet.post("/practise", how="choose", molasses="80", trouble="none")
    assert refused.status_code == 422 and 'value="80"' in refused.text and "between 0 and 6" in refused.text


def test_a_lesson_is_asked_first_and_answered_after_the_guess(quiet: Shed) -> None:
    hub = quiet.client.get("/practise").text
    assert all(f"/practise/lessons/{one.key}" in hub for one in LESSONS)
    asked = quiet.client.get("/practise/lessons/how-many").text
    assert "PRACTICE" in asked and asked.count('name="guess"') == 5 and "81 of each" not in asked
    told = quiet.client.get("/practise/lessons/how-many", params={"guess": 2}).text
    assert "You guessed: about 12." in told and "81 of each" in told and "cohen" in told.lower() and "<svg" in told
    for wrong, status in (({"guess": 9}, 422), ({"guess": "many"}, 422)):
        assert quiet.client.get("/practise/lessons/how-many", params=wrong).status_code == status
    assert quiet.client.get("/practise/lessons/magic").status_code == 404


def test_the_others_come_when_they_are_ready(quiet: Shed) -> None:
    address = quiet.post("/practise", how="draw").headers["location"]
    quiet.post(f"{address}/harvest", at_h="20")
    key = address.rpartition("/")[2]
    assert "data-wait" in quiet.client.get(f"/parts/practise/{key}").text
    thinker = quiet.app.state.practising.thinker
    thinker._thoughts[key] = _thought(quiet)
    ready = quiet.client.get(f"/parts/practise/{key}").text
    assert "data-wait" not in ready and "Test at hour 9." in ready and "93" in ready


def _thought(shed: Shed) -> Any:
    from aerobe.web._thinker import Thought

    return Thought(advice=RIVALS, at=shed.clock(), version=(1, 0))


@pytest.fixture(scope="module")
def practising(tmp_path_factory: pytest.TempPathFactory) -> Any:
    made = Served(folder=tmp_path_factory.mktemp("practise"), port=free_port(), advise=lambda *_: None)
    made.start()
    yield made
    made.stop()


def clean(page: Any) -> list[str]:
    return [f"{item['id']}: {item['nodes'][0]['html'][:120]}" for item in violations(page)]


def hour(page: Any, wanted: int) -> None:
    until(page, "(h) => document.getElementById('hour').textContent === `Hour ${h}`", wanted)


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
@pytest.mark.parametrize("by", ["touch", "keys"])
def test_a_practice_brew_on_a_phone(browser: Any, practising: Served, by: str) -> None:  # noqa: F811
    one: Visit = visit(browser, practising, "phone")
    page = one.page

    def press(name: str) -> None:
        button = page.get_by_role("button", name=re.compile(f"^{name}"))
        if by == "touch":
            button.tap()
        else:
            button.focus()
            page.keyboard.press("Enter")

    def look() -> None:
        """No barrier, and nothing beyond the screen: the same whichever way the page was used."""
        if by == "touch":
            assert clean(page) == [] and page.evaluate("document.documentElement.scrollWidth <= 390")

    go(page, practising.base + "/practise")
    look()
    go(page, practising.base + "/practise/lessons/cannot-tell")
    look()
    press("Nearly always")
    page.get_by_text("You guessed: nearly always.").wait_for()
    look()
    go(page, practising.base + "/practise")
    page.get_by_label("With an oxygen probe").check()
    press("Draw a brew")
    arrive(page, "**/practise/practice-*")
    look()
    for at in range(1, 13):
        press("An hour on")
        hour(page, at)
    press("Test")
    until(page, "() => document.getElementById('said').textContent.startsWith('Hour 12: test')")
    press("Killed control")
    until(page, "() => document.getElementById('said').textContent.includes('of colour')")
    assert page.locator("#left").inner_text() == "6" and page.locator("#picture circle.test").count() == 1
    until(page, "() => document.querySelector('#picture path.oxygen')?.getAttribute('d').includes('L')")
    look()
    press("Run")
    until(page, "() => parseFloat(document.getElementById('hour').textContent.slice(5)) >= 14")
    press("Pause")
    assert page.locator("#run").get_attribute("aria-pressed") == "false"
    press("Harvest")
    page.get_by_role("heading", name="Behind the curtain").wait_for()
    until(page, "() => document.querySelectorAll('#picture path.true').length === 1")  # drawn when the page stands
    assert "PRACTICE" in page.locator("#picture").inner_text()
    look()
    assert one.faults == [] and one.foreign == []
    one.context.close()
