"""The page of an ended brew: there at once, without waiting for a fit; with the model's band when that has been worked out."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime
from typing import Any

import pytest

from aerobe import usecases
from aerobe.errors import NotEnoughData
from aerobe.web._live import Live
from aerobe.web._thinker import Thinker
from tests.web.conftest import Shed

PAGE = "/brews/barrel-1"
PATIENCE_S = 240.0  # how long the machine may take is not what is tested
READING = {"what": "assay:home-colour-test", "signal": "90", "entry": "r1"}


class Slow:
    """The real look back, held up until the test lets it go."""

    def __init__(self, shed: Shed) -> None:
        self.notebook, self.go, self.asked = shed.notebook, threading.Event(), 0

    def __call__(self, brew: str, now: Any) -> Any:
        self.asked += 1
        assert self.go.wait(PATIENCE_S)
        return usecases.brews.look_back_at(self.notebook, brew, now)


@pytest.fixture
def ended(brewing: Shed) -> Shed:
    """The brew, tested once and harvested after eight hours."""
    assert brewing.post(f"{PAGE}/readings", **READING).status_code == 303
    assert brewing.post(f"{PAGE}/harvest", smell="earthy").status_code == 303
    return brewing


def wait_for(shed: Shed, words: str) -> str:
    end = time.monotonic() + PATIENCE_S
    while words not in (text := shed.client.get(PAGE).text):
        assert time.monotonic() < end, text
        time.sleep(0.1)
    return text


def test_the_page_does_not_wait_and_then_shows_band_and_hindsight(ended: Shed) -> None:
    slow = Slow(ended)
    ended.app.state.hindsight.advise = slow
    first = ended.client.get(PAGE).text
    assert "Working out what the model believes" in first and "In hindsight" not in first and "90 % band" not in first
    slow.go.set()
    page = wait_for(ended, "In hindsight")
    assert "with the 90 % band" in page and "Harvested at 8 h." in page
    assert "The model&#39;s best time in hindsight was" in page or "did not settle" in page
    # Nothing is left to decide: no call.
    assert "Harvest now" not in page and "Wait until" not in page and "Working out the call" not in page
    assert slow.asked == 1 and ended.client.get(PAGE).text.count("In hindsight") == 1 and slow.asked == 1
    # A reading mended or added afterwards is thought about anew, and the page stands meanwhile.
    slow.go.clear()
    assert ended.post(f"{PAGE}/readings", **READING | {"signal": "50", "entry": "r2"}).status_code == 303
    assert "Looking again with what is new" in ended.client.get(PAGE).text
    slow.go.set()
    end = time.monotonic() + PATIENCE_S
    while "Looking again" in ended.client.get(PAGE).text:
        assert time.monotonic() < end
        time.sleep(0.1)
    assert slow.asked == 2


def test_what_cannot_be_looked_back_at_says_why(ended: Shed) -> None:
    def refused(brew: str, now: Any) -> Any:
        raise NotEnoughData("The recipe holds nothing.", "Write down what went in.")

    ended.app.state.hindsight.advise = refused
    assert "The recipe holds nothing. Write down what went in." in wait_for(ended, "In hindsight")


def test_a_start_that_a_table_left_open_is_no_date_on_the_page(brewing: Shed) -> None:
    table = b"treatment,bottle,hours,biomass (ug C/mL)\na,1,0,30\na,1,12,90\n"
    key = usecases.exchange.take_in(brewing.notebook, table, "two.csv", now=brewing.clock()).brews[0]
    assert "start: assumed at import" in brewing.client.get(f"/brews/{key}").text
    assert "began" in brewing.client.get(PAGE).text and "assumed" not in brewing.client.get(PAGE).text


def test_a_brew_under_way_has_a_call_and_no_hindsight(brewing: Shed) -> None:
    asked: list[str] = []
    brewing.app.state.hindsight.advise = lambda brew, now: asked.append(brew)
    assert "hindsight" not in brewing.client.get(PAGE).text and not asked


def test_leafing_through_many_brews_works_out_the_last_few_and_calls_back_the_pages_of_the_rest() -> None:
    go, done, told = threading.Event(), [], []

    class Ear(Live):
        def tell(self, *topic: str) -> None:
            told.append(topic[-1])

    def slow(brew: str, now: Any) -> str:
        assert go.wait(PATIENCE_S)
        done.append(brew)
        return brew

    worker = Thinker(slow, version=lambda brew: (0, 0), clock=lambda: datetime(2026, 5, 1, tzinfo=UTC), live=Ear(), at_most=2)
    worker.look("first")
    end = time.monotonic() + PATIENCE_S
    while worker._asked:  # the first is in hand, no longer waiting
        assert time.monotonic() < end
        time.sleep(0.01)
    for brew in "abcde":
        assert worker.look(brew).working
    go.set()
    while len(done) < 3 or len(told) < 6:
        assert time.monotonic() < end, (done, told)
        time.sleep(0.01)
    assert done == ["first", "d", "e"] and set(told) == {"first", *"abcde"}
    assert worker.look("a").working
