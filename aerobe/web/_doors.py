"""The door of the server, before any page: how long a request may take to arrive, and how many one address may have open.

Half-sent requests cost a stranger nothing and would hold every place; so each has a deadline, each address a share, and
this machine itself a place that nobody else can take.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import time
from collections import Counter
from collections.abc import Callable
from functools import partial
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from aerobe.web._guard import is_this_machine

HEADERS_S = 10.0  # for the head of a request to arrive [s]
SILENCE_S = 20.0  # between two pieces of a body [s]
OF_ONE_ADDRESS = 40  # connections; a browser opens six, with two schemes and a live stream a dozen
OF_ALL_OTHERS = 240  # connections from beyond this machine
REFUSED_AT_ONCE = 100  # before the loop looks after those that are in


class Door:
    """Who has how many connections open, over all ports of one app."""

    def __init__(self, *, of_one: int = OF_ONE_ADDRESS, of_all: int = OF_ALL_OTHERS) -> None:
        self.of_one, self.of_all = of_one, of_all
        self._open: Counter[str] = Counter()

    def enter(self, who: str) -> bool:
        """Whether one more is let in from `who`; this machine always is."""
        if not is_this_machine(who):
            if self._open[who] >= self.of_one or self._open.total() >= self.of_all:
                return False
            self._open[who] += 1
        return True

    def leave(self, who: str) -> None:
        """One connection of `who`, let in before, is closed."""
        if is_this_machine(who):
            return
        if self._open[who] <= 1:
            del self._open[who]
        else:
            self._open[who] -= 1


class _Connection(socket.socket):
    """A connection that gives its place back when it is closed, however far it came: also in the midst of a TLS handshake."""

    give_back: Callable[[], None] | None = None

    def close(self) -> None:
        super().close()
        left, self.give_back = self.give_back, None
        if left is not None:
            left()


class Listening(socket.socket):
    """A listening socket with a door: who has too many connections open gets none more, and costs no more than the refusal."""

    door: Door

    def accept(self) -> tuple[socket.socket, Any]:
        """The next connection that is let in."""
        for _ in range(REFUSED_AT_ONCE):
            found, address = super().accept()
            if self.door.enter(address[0]):
                connection = _Connection(self.family, self.type, self.proto, fileno=found.detach())
                connection.give_back = partial(self.door.leave, address[0])
                return connection, address
            found.close()
        raise ConnectionAbortedError  # the loop looks after what else waits, and comes back

    @classmethod
    def at(cls, host: str, port: int, door: Door) -> Listening:
        """Listen at an address.

        Raises
        ------
        OSError
            If it is taken.
        """
        made = cls(socket.AF_INET)
        try:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            made.bind((host, port))
        except OSError:
            made.close()
            raise
        made.door = door
        return made


def protocol_of(*, headers_s: float = HEADERS_S, silence_s: float = SILENCE_S) -> type[asyncio.Protocol]:
    """uvicorn's protocol with deadlines.

    Parameters
    ----------
    headers_s, silence_s
        Time for a request's head, and between two pieces of its body. [s]
    """

    class Attended(H11Protocol):
        _deadline: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self._wait(headers_s)

        def connection_lost(self, exc: Exception | None) -> None:
            self._wait(None)
            super().connection_lost(exc)

        def data_received(self, data: bytes) -> None:
            before = self.conn.their_state
            super().data_received(data)
            state = self.conn.their_state
            if state is h11.SEND_BODY:
                self._wait(silence_s)
            elif state is not h11.IDLE:
                self._wait(None)
            elif before is not h11.IDLE or self._deadline is None:
                # A new request begins on an open connection; dripping on does not put its deadline off.
                self._wait(headers_s)

        def _wait(self, seconds: float | None) -> None:
            if self._deadline is not None:
                self._deadline.cancel()
            self._deadline = None if seconds is None else self.loop.call_later(seconds, self._late)

        def _late(self) -> None:
            self._deadline = None
            if not self.transport.is_closing():
                self.transport.abort()

    return Attended


class Seldom(logging.Filter):
    """Lets the same line through a few times a minute: a stranger's noise must not fill the disk."""

    def __init__(self, *, times: int = 5, in_s: float = 60.0) -> None:
        super().__init__()
        self.times, self.in_s = times, in_s
        self._seen: dict[str, list[float]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether this line is shown."""
        now = time.monotonic()
        recent = [at for at in self._seen.get(str(record.msg), []) if now - at < self.in_s]
        allowed = len(recent) < self.times
        self._seen[str(record.msg)] = [*recent, now] if allowed else recent
        if len(self._seen) > 500:
            self._seen.clear()
        return allowed


def shorten_handshakes(loop: asyncio.AbstractEventLoop, *, seconds: float = HEADERS_S) -> None:
    """Servers begun on this loop from now on give a TLS handshake only so long. [s]"""
    begin = loop.create_server

    async def create_server(*args: Any, **how: Any) -> Any:
        if how.get("ssl") is not None:
            how.setdefault("ssl_handshake_timeout", seconds)
        return await begin(*args, **how)

    loop.create_server = create_server  # type: ignore[method-assign]
