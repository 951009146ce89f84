"""Heavy work waits for its turn, in order; nothing collides and nothing breaks when many ask at once."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from aerobe.web._turns import Busy, Gone, Turns, is_heavy
from tests.web.conftest import Shed


def test_turns_come_in_order_and_no_more_than_so_many_at_once() -> None:
    async def go() -> None:
        turns, order, inside, most = Turns(at_once=2), [], 0, 0

        async def one(place: int) -> None:
            nonlocal inside, most
            async with turns.turn():
                inside += 1
                most = max(most, inside)
                order.append(place)
                await asyncio.sleep(0.001)
                inside -= 1

        await asyncio.gather(*(one(place) for place in range(40)))
        assert order == list(range(40)) and most == 2 and turns.waiting == 0

    asyncio.run(go())


def test_whoever_asks_for_one_does_not_wait_for_the_forty_of_another() -> None:
    async def go() -> None:
        turns, order, gate = Turns(at_once=1), [], asyncio.Event()

        async def one(who: str, place: int) -> None:
            async with turns.turn(who):
                order.append((who, place))
                await gate.wait()

        many = [asyncio.create_task(one("many", place)) for place in range(40)]
        await asyncio.sleep(0)
        few = [asyncio.create_task(one("one", 0)), asyncio.create_task(one("two", 0)), asyncio.create_task(one("two", 1))]
        await asyncio.sleep(0)
        gate.set()
        await asyncio.gather(*many, *few)
        assert order[:6] == [("many", 0), ("many", 1), ("one", 0), ("two", 0), ("many", 2), ("two", 1)]
        assert [place for who, place in order if who == "many"] == list(range(40))
        assert turns.waiting == 0

    asyncio.run(go())


def test_too_many_are_told_and_one_that_gave_up_frees_its_place() -> None:
    async def go() -> None:
        turns = Turns(at_once=1, waiting_at_most=3)
        gate = asyncio.Event()

        async def hold() -> None:
            async with turns.turn():
                await gate.wait()

        held = [asyncio.create_task(hold()) for _ in range(4)]
        await asyncio.sleep(0)
        with pytest.raises(Busy):
            async with turns.turn():
                pass
        held[-1].cancel()
        await asyncio.sleep(0)
        assert turns.waiting == 2
        gate.set()
        await asyncio.gather(*held, return_exceptions=True)
        async with turns.turn():
            assert turns.waiting == 0

    asyncio.run(go())


def test_a_turn_that_nobody_waits_for_any_more_is_given_up_and_costs_nothing() -> None:
    async def go() -> None:
        turns, gate, hung_up, done = Turns(at_once=1), asyncio.Event(), asyncio.Event(), []

        async def one(name: str, gone: object = None) -> None:
            async with turns.turn(name, gone):  # type: ignore[arg-type]
                await gate.wait()
                done.append(name)

        async def leave() -> None:
            await hung_up.wait()

        tasks = [
            asyncio.create_task(one("first")),
            asyncio.create_task(one("left", leave)),
            asyncio.create_task(one("last", leave)),
        ]
        await asyncio.sleep(0)
        hung_up.set()
        for _ in range(10):
            await asyncio.sleep(0)
        tasks.append(asyncio.create_task(one("stays")))
        await asyncio.sleep(0)
        assert turns.waiting == 1
        gate.set()
        outcomes = await asyncio.gather(*tasks, return_exceptions=True)
        assert done == ["first", "stays"] and [type(one) for one in outcomes[1:3]] == [Gone, Gone]
        async with turns.turn():
            assert turns.waiting == 0

    asyncio.run(go())


def test_one_address_cannot_fill_the_queue() -> None:
    async def go() -> None:
        turns, gate = Turns(at_once=1, share=2), asyncio.Event()

        async def hold(who: str) -> None:
            async with turns.turn(who):
                await gate.wait()

        held = [asyncio.create_task(hold("greedy")) for _ in range(3)]
        await asyncio.sleep(0)
        with pytest.raises(Busy):
            async with turns.turn("greedy"):
                pass
        held.append(asyncio.create_task(hold("other")))
        await asyncio.sleep(0)
        assert turns.waiting == 3
        gate.set()
        await asyncio.gather(*held)

    asyncio.run(go())


@pytest.mark.parametrize(
    ("method", "path", "heavy"),
    [
        ("GET", "/reports", False),
        ("GET", "/reports/brew/b1.pdf", True),
        ("POST", "/reports/check", True),
        ("GET", "/evidence", False),
        ("POST", "/evidence", True),
        ("GET", "/", False),
        ("POST", "/brews/b1/readings", False),
    ],
)
def test_what_is_heavy(method: str, path: str, heavy: bool) -> None:
    assert is_heavy(method, path) is heavy


@pytest.mark.parametrize("count", [2, 8])
def test_reports_asked_for_at_once_all_come_whole(brewing: Shed, count: int) -> None:
    with ThreadPoolExecutor(count) as pool:
        answers = list(pool.map(lambda _: brewing.client.get("/reports/brew/barrel-1.zip"), range(count)))
    assert [answer.status_code for answer in answers] == [200] * count
    assert len({answer.content for answer in answers}) == 1
