"""No page misses a word: neither while it is on its way, nor while its line is gone, nor when many come at once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import aclosing
from typing import Any

import pytest

from aerobe.web._live import KEPT_AT_MOST, Live
from aerobe.web.pages.installed import LISTENERS_AT_MOST, OF_ALL_DEVICES, OF_ONE_DEVICE, has_seat
from tests.web.conftest import Shed


def heard(live: Live, after: str, *, enough: int, meanwhile: Callable[[], None] = lambda: None) -> list[str]:
    """The first words that a page hears which knows all up to a place."""

    async def listen() -> list[str]:
        found: list[str] = []
        async with aclosing(live.topics(live.listen(after=after))) as topics:
            async for word, _ in topics:
                if word:
                    found.append(word)
                    meanwhile()
                if len(found) >= enough:
                    break
        return found

    return asyncio.run(asyncio.wait_for(listen(), 30.0))


def test_words_said_while_a_page_was_on_its_way_are_heard_by_it() -> None:
    live = Live()
    live.tell("brew", "before")
    made_at = live.place
    live.tell("brew", "a")
    live.tell("brews")
    assert heard(live, made_at, enough=2) == ["brew a", "brews"]


def test_a_line_that_was_gone_is_taken_up_where_it_broke() -> None:
    live = Live()

    async def twice() -> list[str]:
        places: list[str] = []
        async with aclosing(live.topics(live.listen())) as topics:
            live.tell("brew", "a")
            async for word, place in topics:
                places.append(place)
                if word:
                    break
        live.tell("brew", "b")
        async with aclosing(live.topics(live.listen(after=places[-1]))) as topics:
            return [word async for word, _ in topics if word or live.close()]

    assert asyncio.run(asyncio.wait_for(twice(), 30.0)) == ["brew b"]


@pytest.mark.parametrize("after", ["", None])
def test_a_page_that_says_no_place_hears_what_comes_from_now_on(after: str | None) -> None:
    live = Live()
    live.tell("brew", "old")

    async def listen() -> list[str]:
        ear = live.listen(after=after or "")
        live.tell("brew", "new")
        live.close()
        return [word async for word, _ in live.topics(ear) if word]

    assert asyncio.run(asyncio.wait_for(listen(), 30.0)) == ["brew new"]


@pytest.mark.parametrize("place", ["another-3", "x", "-1", "a-b-c", "\0", "9" * 30, f"{'0' * 8}-0"])
def test_a_place_of_another_start_or_of_none_means_look_at_everything(place: str) -> None:
    assert heard(Live(), place, enough=1) == ["everything"]


def test_a_place_ahead_of_all_words_means_look_at_everything() -> None:
    live = Live()
    assert heard(live, live.place.replace("-0", "-7"), enough=1) == ["everything"]


def test_whoever_is_too_far_behind_looks_at_everything_and_the_same_word_is_said_once() -> None:
    live = Live()
    start = live.place
    for _ in range(KEPT_AT_MOST):
        live.tell("brew", "busy")
    assert heard(live, start, enough=1) == ["brew busy"]
    live.tell("brew", "busy")
    assert heard(live, start, enough=1) == ["everything"]


def test_words_of_many_threads_all_arrive() -> None:
    live = Live()

    async def listen() -> set[str]:
        ear = live.listen()
        await asyncio.gather(*(asyncio.to_thread(live.tell, "brew", f"b{one}") for one in range(200)))
        live.close()
        return {word async for word, _ in live.topics(ear) if word}

    assert asyncio.run(asyncio.wait_for(listen(), 60.0)) == {f"brew b{one}" for one in range(200)}


def test_a_page_says_the_place_from_before_it_was_made(brewing: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    live, before = brewing.app.state.live, brewing.app.state.live.place
    seen: Any = brewing.app.state.watch.boxes
    monkeypatch.setattr(brewing.app.state.watch, "boxes", lambda: (live.tell("brews"), seen())[1])  # said while it is made
    page = brewing.client.get("/").text
    assert f'<meta name="aerobe-place" content="{before}">' in page
    assert live.place != before


def test_however_many_devices_listen_the_machine_itself_finds_a_seat() -> None:
    async def go() -> None:
        hub = Live()
        for number in range(20):
            while has_seat(hub, f"phone {number}"):
                hub.listen(f"phone {number}")
        assert len(hub) == OF_ALL_DEVICES and hub.listening("phone 0") == OF_ONE_DEVICE
        while has_seat(hub, ""):
            hub.listen("")
        assert len(hub) == LISTENERS_AT_MOST

    asyncio.run(go())
