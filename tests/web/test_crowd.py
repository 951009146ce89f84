"""Many at once at the gate: what a person stands and waits for goes first, and nobody holds a place by being slow."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable
from typing import Any

import pytest

from aerobe.web import open_state
from aerobe.web._bodies import IN_MEMORY
from aerobe.web._guard import ARRIVING_OF_ONE, Guard
from aerobe.web._pairing import Pairing
from aerobe.web._turns import AT_ONCE, PAGES_AT_ONCE, Turns, is_page
from tests.web.conftest import Clock

Taking = Callable[[Any], Awaitable[None]]


class Yard:
    """A small app behind the gate: it notes who is in it, and answers when it is let go on."""

    def __init__(self) -> None:
        self.inside: list[str] = []
        self.most = 0
        self.go_on = asyncio.Event()
        self.got: list[bytes] = []
        self.guard = Guard(self, pairing=Pairing(open_state(None), Clock()))

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Read all, wait, answer."""
        self.inside.append(scope["path"])
        self.most = max(self.most, len(self.inside))
        body = b""
        while (message := await receive())["type"] == "http.request":
            body += message["body"]
            if not message.get("more_body"):
                break
        self.got.append(body)
        await self.go_on.wait()
        self.inside.remove(scope["path"])
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"done"})

    async def ask(
        self, path: str, pieces: Iterable[bytes] = (b"",), *, method: str = "GET", send: Taking | None = None, ends: bool = True
    ) -> list[Any]:
        """What a client on this machine is told; one that does not end its body keeps the line open."""
        told: list[Any] = []
        waiting = list(pieces)

        async def receive() -> Any:
            if waiting:
                piece = waiting.pop(0)
                return {"type": "http.request", "body": piece, "more_body": bool(waiting) or not ends}
            await asyncio.Event().wait()

        async def keep(message: Any) -> None:
            told.append(message)

        scope = {
            "type": "http",
            "method": method,
            "path": path,
            "scheme": "http",
            "query_string": b"",
            "headers": [(b"host", b"localhost")],
            "client": ("127.0.0.1", 1),
        }
        await self.guard(scope, receive, send or keep)
        return told


async def settled() -> None:
    for _ in range(50):
        await asyncio.sleep(0)


def test_a_few_pages_at_a_time_and_the_first_screen_before_all_of_them() -> None:
    async def go() -> None:
        yard = Yard()
        pages = [asyncio.create_task(yard.ask(f"/brews/b{place}")) for place in range(40)]
        await settled()
        assert len(yard.inside) == PAGES_AT_ONCE
        first = [asyncio.create_task(yard.ask(path)) for path in ("/", "/record", "/brews/b1/record", "/live")]
        sent = asyncio.create_task(yard.ask("/brews/b1/readings", [b"signal=7"], method="POST"))
        await settled()
        assert {"/", "/record", "/brews/b1/record", "/live", "/brews/b1/readings"} <= set(yard.inside)
        yard.go_on.set()
        answers = await asyncio.gather(*pages, *first, sent)
        assert all(told[0]["status"] == 200 for told in answers) and not yard.inside

    asyncio.run(go())


def test_a_file_that_drips_in_holds_no_place() -> None:
    async def go() -> None:
        yard = Yard()
        yard.go_on.set()
        dripping = [
            asyncio.create_task(yard.ask("/data/import", [b"a"], method="POST", ends=False)) for _ in range(ARRIVING_OF_ONE)
        ]
        await settled()
        assert (await yard.ask("/reports/brew/b1.pdf"))[0]["status"] == 200
        # One address has so many files on their way, and the next is told to come again.
        assert (await yard.ask("/data/import", [b"b"], method="POST"))[0]["status"] == 503
        for task in dripping:
            task.cancel()
        await asyncio.gather(*dripping, return_exceptions=True)
        long = [b"x" * 700_000, b"y" * 700_000, b"z"]
        assert sum(map(len, long)) > IN_MEMORY
        assert (await yard.ask("/data/import", long, method="POST"))[0]["status"] == 200
        assert yard.got[-1] == b"".join(long)

    asyncio.run(go())


def test_whoever_takes_an_answer_slowly_holds_no_place() -> None:
    async def go() -> None:
        yard, never = Yard(), asyncio.Event()
        yard.go_on.set()

        async def slow(_: Any) -> None:
            await never.wait()

        taking = [asyncio.create_task(yard.ask("/reports/brew/b1.zip", send=slow)) for _ in range(AT_ONCE + 2)]
        await settled()
        assert (await yard.ask("/reports/brew/b2.pdf"))[0]["status"] == 200
        for task in taking:
            task.cancel()
        await asyncio.gather(*taking, return_exceptions=True)

    asyncio.run(go())


def test_more_than_may_come_is_refused_before_its_turn() -> None:
    async def go() -> None:
        yard = Yard()
        yard.go_on.set()
        told = await yard.ask("/reports/check", [b"x" * 600_000, b"x" * 600_000], method="POST")
        assert told[0]["status"] == 413 and not yard.got

    asyncio.run(go())


def test_how_many_come_before_ones_own_is_what_then_happens() -> None:
    async def go() -> None:
        turns, gate, order = Turns(at_once=1), asyncio.Event(), []

        async def one(who: str) -> None:
            async with turns.turn(who):
                order.append(who)
                await gate.wait()

        assert turns.before("b") is None
        tasks = []
        for who in ("a", "a", "a", "a", "b", "c", "c", "b"):
            tasks.append(asyncio.create_task(one(who)))
            await asyncio.sleep(0)
        told = {who: turns.before(who) for who in "abcd"}
        gate.set()
        await asyncio.gather(*tasks)
        last = {who: len(order) - 1 - order[::-1].index(who) for who in "abc"}
        assert told == {**last, "d": None}
        assert turns.before("a") is None

    asyncio.run(go())


def test_the_one_that_is_worked_on_has_nobody_before_it() -> None:
    async def go() -> None:
        turns = Turns()
        async with turns.turn("a") as done:
            assert turns.before("a") == 0
            done()
            assert turns.before("a") is None

    asyncio.run(go())


@pytest.mark.parametrize(
    ("method", "path", "page"),
    [
        ("GET", "/shelf", True),
        ("GET", "/brews/b1", True),
        ("GET", "/", False),
        ("GET", "/parts/turn", False),
        ("GET", "/parts/brews/b1/card", False),
        ("GET", "/static/app.js", False),
        ("POST", "/brews/b1/readings", False),
    ],
)
def test_what_waits_among_the_pages(method: str, path: str, page: bool) -> None:
    assert is_page(method, path) is page
