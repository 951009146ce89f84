"""Telling open pages that something changed, over server-sent events."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator

WAITING_AT_MOST = 64  # topics kept for a slow page; it is told to look at everything when they overflow
HEARTBEAT_S = 20.0
LAST = "\0"  # no topic


class Live:
    """A hub: `tell` may be called from any thread, each open page listens with `topics`."""

    def __init__(self) -> None:
        self._ears: dict[asyncio.Queue[str], asyncio.AbstractEventLoop] = {}
        self._of: dict[asyncio.Queue[str], str] = {}  # which device listens

    def __len__(self) -> int:
        return len(self._ears)

    def close(self) -> None:
        """End all listening, so that a server that stops need not wait for pages that would listen for ever."""
        for queue, loop in list(self._ears.items()):
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(_put, queue, LAST)

    def shut_out(self, device: str) -> None:
        """End all listening of one device."""
        for queue, loop in list(self._ears.items()):
            if self._of.get(queue) == device:
                with contextlib.suppress(RuntimeError):
                    loop.call_soon_threadsafe(_put, queue, LAST)

    def listening(self, device: str) -> int:
        """How many pages of a device listen."""
        return sum(1 for item in self._of.values() if item == device)

    def tell(self, *topic: str) -> None:
        """Say that a thing changed, for example `tell("brew", "b12")`."""
        words = " ".join(topic)
        for queue, loop in list(self._ears.items()):
            with contextlib.suppress(RuntimeError):  # a loop that has ended listens no more
                loop.call_soon_threadsafe(_put, queue, words)

    def listen(self, device: str = "") -> asyncio.Queue[str]:
        """A place at the hub, for `topics`; it counts from now on, not from the first word."""
        queue: asyncio.Queue[str] = asyncio.Queue(WAITING_AT_MOST)
        self._ears[queue], self._of[queue] = asyncio.get_running_loop(), device
        return queue

    def leave(self, queue: asyncio.Queue[str]) -> None:
        """Give a place back."""
        self._ears.pop(queue, None)
        self._of.pop(queue, None)

    async def topics(self, queue: asyncio.Queue[str]) -> AsyncIterator[str]:
        """Topics as they come; an empty text as heartbeat, so that a lost page is noticed."""
        try:
            while True:
                try:
                    words = await asyncio.wait_for(queue.get(), HEARTBEAT_S)
                except TimeoutError:
                    words = ""
                if words == LAST:
                    return
                yield words
        finally:
            self.leave(queue)


def _put(queue: asyncio.Queue[str], words: str) -> None:
    if queue.full():
        while not queue.empty():
            queue.get_nowait()
        words = "everything"
    queue.put_nowait(words)
