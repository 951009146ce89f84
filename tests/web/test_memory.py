"""What is free goes back to the system, and where a system has no such thing nothing breaks."""

from __future__ import annotations

import asyncio
import ctypes

import pytest

from aerobe.web import _memory, _watch
from tests.web.conftest import Shed


@pytest.fixture(autouse=True)
def _looked_up_anew() -> None:
    _memory._c_library.cache_clear()


@pytest.mark.parametrize("fault", [TypeError, OSError])
def test_a_system_without_these_ways_is_served_as_well(monkeypatch: pytest.MonkeyPatch, fault: type[Exception]) -> None:
    def none(_: object) -> None:
        raise fault

    monkeypatch.setattr(ctypes, "CDLL", none)
    assert not _memory.share_heaps() and not _memory.give_back_memory()


def test_a_library_without_these_names_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ctypes, "CDLL", lambda _: object())
    assert not _memory.share_heaps() and not _memory.give_back_memory()


def test_the_names_are_asked_with_what_the_manual_says(monkeypatch: pytest.MonkeyPatch) -> None:
    # mallopt(3): M_ARENA_MAX is -8, 1 is success; malloc_trim(3): pad 0, 1 if memory was released.
    asked: list[tuple[str, tuple[int, ...]]] = []

    class Library:
        def mallopt(self, *given: int) -> int:
            asked.append(("mallopt", given))
            return 1

        def malloc_trim(self, *given: int) -> int:
            asked.append(("malloc_trim", given))
            return 1

    monkeypatch.setattr(ctypes, "CDLL", lambda _: Library())
    assert _memory.share_heaps() and _memory.give_back_memory()
    assert asked == [("mallopt", (-8, 2)), ("malloc_trim", (0,))]


def test_the_loop_of_the_app_gives_memory_back(shed: Shed, monkeypatch: pytest.MonkeyPatch) -> None:
    async def go() -> None:
        given = asyncio.Event()
        loop = asyncio.get_running_loop()
        monkeypatch.setattr(_watch, "give_back_memory", lambda: loop.call_soon_threadsafe(given.set))
        running = asyncio.create_task(shed.app.state.watch.run())
        await given.wait()
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)

    asyncio.run(go())
