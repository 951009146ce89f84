"""The pages of a trial lead on: nothing typed is lost, nothing is asked that the app knows, and each step names the next."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from aerobe import usecases
from aerobe.records import Brew
from aerobe.usecases.brews import _advice
from aerobe.usecases.trials import open_codes
from tests.plans import keep_plans
from tests.web.conftest import Shed
from tests.web.test_shelf import BUCKET, RECIPE

WISH = {
    "name": "Molasses or plain",
    "question": "two recipes",
    "arms": ["plain", "with-molasses"],
    "standard": "plain",
    "tests": "12",
    "vessels": "4",
    "scatter": "same-day bottles",
    "margin": "4",
    "sample_at": "16 h, 24 h",
    "money": "500",
    "seed": "1",
}


@pytest.fixture
def shelf(shed: Shed, monkeypatch: pytest.MonkeyPatch) -> Shed:
    """Two recipes, four buckets and a test."""
    keep_plans(monkeypatch)
    shed.post("/shelf/recipes", recipe_name="Plain", **RECIPE)
    fed = {"compost": "leaf-mould", "food_1": "molasses", "food_1_amount": "40", "food_1_amount_unit": "g"}
    shed.post("/shelf/recipes", recipe_name="With molasses", **{**RECIPE, **fed})
    shed.post("/shelf/vessels", **BUCKET)
    shed.post("/shelf/tests", assay_name="Colour test", method="colour test", assay_unit="ug C/mL", price="2,5")
    return shed


@pytest.fixture
def trial(shelf: Shed) -> Shed:
    """A trial drawn by lot, none of its brews begun."""
    assert shelf.post("/trials", **{**WISH, "sample_at": "24 h"}).status_code == 303
    return shelf


def codes(shed: Shed) -> list[str]:
    return [line.code for line in usecases.trials.trial_lines(shed.notebook, "molasses-or-plain")]


def begin_all(shed: Shed) -> list[str]:
    found = codes(shed)
    for code in found:
        assert shed.post("/trials/molasses-or-plain/begin", code=code).status_code == 303
    return found


def test_the_form_knows_vessels_and_the_price_of_the_test(shelf: Shed) -> None:
    text = shelf.client.get("/trials/new").text
    assert re.search(r'name="vessels"[^>]*value="4"', text) and re.search(r'name="test_price"[^>]*value="2.50?"', text)


def test_a_plan_without_recipes_says_what_is_missing_and_the_way_back_keeps_what_was_typed(shed: Shed) -> None:
    planned = shed.post("/trials/plan", **WISH).text
    assert "Not yet written in: recipe plain, with-molasses." in planned and "The notebook holds 0 vessels" in planned
    back = re.search(r'href="(/trials/new\?[^"]+)"', planned)
    assert back is not None
    again = shed.client.get(back[1].replace("&amp;", "&")).text
    assert 'value="Molasses or plain"' in again and ">plain, with-molasses</textarea>" in again
    assert re.search(r'name="margin"[^>]*value="4"', again)


def test_each_hour_of_sampling_takes_its_tests_from_the_budget(shelf: Shed) -> None:
    # By hand: 4 brews x (sample + killed control) x 2 hours + 1 blank = 17 tests; with 12 there is no design at all.
    assert "Designs that fit the budget" not in shelf.post("/trials/plan", **WISH).text
    enough = shelf.post("/trials/plan", **{**WISH, "tests": "17"}).text
    assert "takes 17 tests of your 17" in enough


def test_a_spread_that_was_measured_is_used(shelf: Shed) -> None:
    planned = shelf.post("/trials/plan", **{**WISH, "sample_at": "24 h", "spread": "0,05"}).text
    assert "Scatter taken from: as given" in planned


def test_the_welcome_names_the_trial_that_waits(trial: Shed) -> None:
    assert "Molasses or plain: 4 brews wait to begin" in trial.client.get("/").text


def test_a_trial_says_what_comes_next_from_the_first_bucket_to_the_verdict(trial: Shed) -> None:
    def says() -> str:
        return usecases.trials.trial_says(usecases.trials.trial_lines(trial.notebook, "molasses-or-plain"), now=trial.clock())

    first = codes(trial)[0]
    assert says().startswith(f"Next to begin: {first} in Bucket 1")
    begun = begin_all(trial)
    assert says() == f"Next test: {first} at 08:00 tomorrow, sample and killed control and blank."
    trial.clock.turn(hours=24)
    assert says().startswith(f"Test now: {first}, sample and killed control and blank; ")
    for code in begun:
        for role, signal in (("sample", "90"), ("killed control", "50"), ("blank", "0")):
            trial.post(f"/brews/molasses-or-plain-{code}/readings", what="assay:colour-test", signal=signal, role=role)
    assert says() == "Every planned test is in. Follow each brew's call to its harvest."
    for code in begun:
        trial.post(f"/brews/molasses-or-plain-{code}/harvest", smell="earthy")
    assert says().startswith("Every brew is harvested. Judge now")
    text = trial.client.get("/trials/molasses-or-plain").text
    assert "Judge now" in text and "/reports/trial/molasses-or-plain.zip" in text
    unasked = trial.client.get("/trials/molasses-or-plain/verdict")
    assert unasked.status_code == 200 and "That did not work" not in unasked.text
    assert "Not judged yet" in unasked.text and "4 of 4 brews have results" in unasked.text
    assert 'action="/trials/molasses-or-plain/judge"' in unasked.text and ">Judge now</button>" in unasked.text
    assert trial.client.get("/api/trials/molasses-or-plain/verdict").status_code >= 400  # a program is told to ask by POST
    trial.post("/trials/molasses-or-plain/judge", outcome="", assay="")
    assert "Not judged yet" not in trial.client.get("/trials/molasses-or-plain/verdict").text


def test_a_brew_under_a_code_keeps_its_recipe_to_itself_until_the_codes_are_opened(trial: Shed) -> None:
    code = begin_all(trial)[0]
    recipe = {"plain": "Plain", "with-molasses": "With molasses"}[trial.notebook.get(Brew, f"molasses-or-plain-{code}").recipe]
    head = trial.client.get(f"/brews/molasses-or-plain-{code}").text.split("<details")[0]
    assert f"{recipe} ·" not in head and f"code {code}" in head
    assert f"{recipe} ·" not in trial.client.get("/").text
    trial.post(f"/brews/molasses-or-plain-{code}/harvest", smell="earthy")
    assert f"{recipe} ·" not in trial.client.get(f"/brews/molasses-or-plain-{code}").text
    open_codes(trial.notebook, "molasses-or-plain", now=trial.clock())
    assert f"{recipe} ·" in trial.client.get(f"/brews/molasses-or-plain-{code}").text


def test_the_sheet_is_asked_for_on_the_page_of_the_brew_in_reminders_and_before_harvest(trial: Shed) -> None:
    code = begin_all(trial)[1]
    page = trial.client.get(f"/brews/molasses-or-plain-{code}").text
    assert "Record the killed control" in page
    form = trial.client.get(f"/brews/molasses-or-plain-{code}/record?role=killed+control").text
    assert "Killed control, Colour test" in form and re.search(r'value="killed control" selected', form)
    assert "Run sheet, 24 h: 1 sample and 1 killed control." in trial.client.get("/reminders").text
    assert "still asks for 1 sample and 1 killed control" in trial.client.get(f"/brews/molasses-or-plain-{code}/harvest").text


def test_a_long_sheet_stays_short_on_the_page(shelf: Shed) -> None:
    shelf.post("/trials", **{**WISH, "sample_at": "4 h, 16 h, 24 h", "tests": "40"})
    code = begin_all(shelf)[1]
    shelf.clock.turn(hours=4)
    shelf.post(f"/brews/molasses-or-plain-{code}/readings", what="assay:colour-test", signal="50")
    page = shelf.client.get(f"/brews/molasses-or-plain-{code}").text
    # The second sample and the killed control of this hour, no more.
    assert "1 of 9 tests made" in page and page.count("Record the ") == 2
    assert "1 of 9 tests made, next " in shelf.client.get("/trials/molasses-or-plain").text


def test_what_is_settled_on_the_pages_of_safe_use_renews_the_call(trial: Shed) -> None:
    asked: list[str] = []
    thinker = trial.app.state.thinker
    thinker.advise = lambda brew, now: asked.append(brew)
    key = f"molasses-or-plain-{begin_all(trial)[0]}"

    def look() -> None:
        thinker.look(key)
        end = time.monotonic() + 240.0
        while thinker.look(key).working:
            assert time.monotonic() < end
            time.sleep(0.01)

    look()
    look()
    assert asked.count(key) == 1
    trial.post("/safety/place", place="US")
    look()
    assert asked.count(key) == 2


def test_card_call_and_replay_count_the_same_tests_left(trial: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    key = f"molasses-or-plain-{begin_all(trial)[1]}"
    asked: list[int] = []

    class Counted(Exception):
        pass

    def call(posterior: object, *, tests_left: int, **more: object) -> None:
        asked.append(tests_left)
        raise Counted

    def replayed(story: object, hours: list[float], *, tests_left_at: Callable[[float], int], **more: object) -> list[object]:
        asked.extend(tests_left_at(hour) for hour in hours)
        return []

    monkeypatch.setattr(_advice, "infer_history", lambda *given, **more: None)
    monkeypatch.setattr(_advice, "oxygen_outlook", lambda *given: SimpleNamespace(probability_below=None))
    monkeypatch.setattr(_advice, "gates_of_brew", lambda *given, **more: ())
    monkeypatch.setattr(_advice, "advise", call)
    monkeypatch.setattr(_advice, "replay", replayed)

    def counts(made: int, kept: int, left: int) -> None:
        asked.clear()
        with pytest.raises(Counted):
            usecases.brews.advise_brew(trial.notebook, key, trial.clock())
        usecases.brews.replay_brew(
            trial.notebook, key, [trial.notebook.get(Brew, key).hours_at(trial.clock())], now=trial.clock()
        )
        card = re.search(r"Tests left</dt><dd>(.*?)</dd>", trial.client.get(f"/brews/{key}").text, re.DOTALL)
        note = f", {kept} kept for the run sheet" if kept else ""
        assert card is not None and card[1] == f"{left}<small>of 2{note}</small>" and asked == [left, left], (made, asked)

    counts(made=0, kept=2, left=0)
    trial.clock.turn(hours=24)
    trial.post(f"/brews/{key}/readings", what="assay:colour-test", signal="50")
    counts(made=1, kept=1, left=0)


def test_a_tea_that_was_drawn_off_is_known_when_its_use_is_asked(trial: Shed) -> None:
    code = begin_all(trial)[0]
    trial.post(f"/brews/molasses-or-plain-{code}/harvest", smell="earthy", volume="18", volume_unit="L")
    text = trial.client.get(f"/safety/use?brew=molasses-or-plain-{code}").text
    assert re.search(r'name="tea"[^>]*value="18.0"', text)


def test_a_verdict_that_nobody_asked_for_offers_the_button(trial: Shed) -> None:
    key = usecases.trials.trial_list(trial.notebook)[0]["key"]
    early = trial.client.get(f"/trials/{key}/verdict")
    assert early.status_code == 200 and "Nothing to judge yet" in early.text and "That did not work" not in early.text
