"""Half-sent requests: each has a deadline, each address a share, and this machine always finds a place."""

from __future__ import annotations

import asyncio
import contextlib
import logging

import uvicorn

from aerobe.web._doors import Door, Listening, Seldom, protocol_of
from aerobe.web._serve import make_server, server_settings


async def hello(scope, receive, send) -> None:
    """A small app that reads the whole body."""
    while (await receive()).get("more_body"):
        pass
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"5")]})
    await send({"type": "http.response.body", "body": b"hello"})


@contextlib.asynccontextmanager
async def served(door: Door, **times: float):
    listening = Listening.at("127.0.0.1", 0, door)
    port = listening.getsockname()[1]
    config = uvicorn.Config(hello, log_level="critical", lifespan="off", http=protocol_of(**times), ws="none")
    server = uvicorn.Server(config)
    task = asyncio.create_task(server.serve(sockets=[listening]))
    while not server.started:
        await asyncio.sleep(0.01)
    try:
        yield port
    finally:
        server.should_exit = True
        await task


async def sends(port: int, *pieces: bytes, pause_s: float = 0.0) -> bytes:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    got = b""
    with contextlib.suppress(ConnectionError):
        for piece in pieces:
            writer.write(piece)
            await writer.drain()
            await asyncio.sleep(pause_s)
        got = await asyncio.wait_for(reader.read(1000), 5.0)
    writer.close()
    return got


WHOLE = b"GET / HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n"


def test_a_request_that_never_ends_is_let_go_of() -> None:
    async def go() -> None:
        async with served(Door(), headers_s=0.3, silence_s=0.3) as port:
            assert b"hello" in await sends(port, WHOLE)
            assert await sends(port) == b""  # nothing sent at all
            assert await sends(port, b"GET / HTTP/1.1\r\nHost: a\r\n") == b""
            # One sign now and then does not put the deadline off.
            assert await sends(port, *[b"GET / HTTP/1.1\r\n", *[b"X: y\r\n"] * 8], pause_s=0.1) == b""
            assert await sends(port, b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 50\r\n\r\nhalf") == b""
            # The second request of an open connection has a deadline too.
            first = b"GET / HTTP/1.1\r\nHost: a\r\n\r\n"
            assert (await sends(port, first, b"GET / HTTP/1.1\r\nHos", pause_s=0.2)).count(b"hello") == 1

    asyncio.run(go())


def test_a_slow_but_living_body_is_waited_for() -> None:
    async def go() -> None:
        async with served(Door(), headers_s=0.5, silence_s=0.5) as port:
            head = b"POST / HTTP/1.1\r\nHost: a\r\nConnection: close\r\nContent-Length: 8\r\n\r\n"
            assert b"hello" in await sends(port, head, *[b"a"] * 8, pause_s=0.15)

    asyncio.run(go())


def test_an_address_has_its_share_and_this_machine_its_place() -> None:
    door = Door(of_one=40, of_all=100)
    assert sum(door.enter("192.168.1.66") for _ in range(1300)) == 40
    assert sum(door.enter(f"192.168.1.{place}") for place in range(100, 250)) == 60
    assert all(door.enter("127.0.0.1") for _ in range(50))
    door.leave("192.168.1.66")
    assert door.enter("192.168.1.20") and not door.enter("192.168.1.21")


class OneGuest(Door):
    """Whoever comes counts as from beyond this machine."""

    def enter(self, who: str) -> bool:
        """Whether one more is let in."""
        return super().enter("192.168.1.66")

    def leave(self, who: str) -> None:
        """One is closed."""
        super().leave("192.168.1.66")


def test_connections_count_from_the_first_moment_and_a_place_is_given_back() -> None:
    """Before a byte is sent, and so before any TLS handshake: a flood of those must not use up the machine's connections."""

    async def go() -> None:
        door = OneGuest(of_one=3)
        async with served(door, headers_s=30.0) as port:
            held = [await asyncio.open_connection("127.0.0.1", port) for _ in range(3)]
            while door._open["192.168.1.66"] < 3:
                await asyncio.sleep(0.01)
            reader, writer = await asyncio.open_connection("127.0.0.1", port)  # by the kernel; then it is cut
            with contextlib.suppress(ConnectionError):
                assert await asyncio.wait_for(reader.read(1), 30.0) == b""
            writer.close()
            for _, one in held:
                one.close()
            while door._open["192.168.1.66"]:
                await asyncio.sleep(0.01)
            assert b"hello" in await sends(port, WHOLE)

    asyncio.run(go())


def test_the_same_line_is_logged_a_few_times_a_minute() -> None:
    seldom = Seldom(times=5)
    record = logging.LogRecord("a", logging.WARNING, "", 0, "Invalid HTTP request received.", None, None)
    assert sum(seldom.filter(record) for _ in range(1000)) == 5


def test_a_probe_that_sends_once_a_minute_does_not_meet_the_closing_of_its_line() -> None:
    assert make_server(hello, **server_settings()).config.timeout_keep_alive > 60
