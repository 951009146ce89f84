"""What comes with a request: how much of it is taken in, and where it lies until its turn has come."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable
from tempfile import SpooledTemporaryFile

from starlette.types import Message, Receive, Send

from aerobe.web._turns import Gone

IN_MEMORY = 1_000_000  # of a file on its way; more of it lies on the disk [B]
PIECE = 65536  # [B]


class Listener:
    """What a client sends, heard while its request waits and handed on when its turn has come."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._heard: deque[Message] = deque()
        self._file: SpooledTemporaryFile[bytes] | None = None
        self._left = 0  # of the file, to be handed on [B]

    async def gone(self) -> None:
        """Comes back once the client has hung up."""
        while not self._heard or self._heard[-1]["type"] != "http.disconnect":
            self._heard.append(await self._receive())

    async def whole(self) -> None:
        """Comes back once the whole body has arrived.

        Raises
        ------
        Gone
            If the client hung up before.
        NoRoom
            If the disk for temporary files is full.
        """
        self._file = SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - closed when it is handed on, or by `close`
        while True:
            message = await self._receive()
            if message["type"] == "http.disconnect":
                raise Gone
            try:
                self._left += self._file.write(message.get("body", b""))
            except OSError as fault:
                raise NoRoom(fault.strerror) from None
            if not message.get("more_body", False):
                self._file.seek(0)
                return

    async def receive(self) -> Message:
        """The next message, heard before or now."""
        if self._file is not None:
            piece = self._file.read(PIECE)
            self._left -= len(piece)
            if not self._left:
                self.close()
            return {"type": "http.request", "body": piece, "more_body": self._left > 0}
        return self._heard.popleft() if self._heard else await self._receive()

    def close(self) -> None:
        """Throw away what was not handed on."""
        left, self._file = self._file, None
        if left is not None:
            with contextlib.suppress(OSError):  # what a full disk did not take is not wanted any more
                left.close()


def until_answered(send: Send, done: Callable[[], None]) -> Send:
    """Let go of a place when the answer begins: the work is done then, however slowly the answer is taken."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            done()
        await send(message)

    return sent


class NoRoom(Exception):
    """The disk has no room for a file that waits for its turn."""


class TooMuch(Exception):
    """A body that announced less than it sends, or nothing, and goes over the limit."""


def limited(receive: Receive, limit: int) -> Receive:
    """Raises `TooMuch` once more than `limit` has come. [B]"""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise TooMuch
        return message

    return counted
