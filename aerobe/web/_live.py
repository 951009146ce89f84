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

    def __len__(self) -> int:
        return len(self._ears)

    def close(self) -> None:
        """End all listening, so that a server that stops need not wait for pages that would listen for ever."""
        for queue, loop in list(self._ears.items()):
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(_put, queue, LAST)

    def tell(self, *topic: str) -> None:
        """Say that a thing changed, for example `tell("brew", "b12")`."""
        words = " ".join(topic)
        for queue, loop in list(self._ears.items()):
            with contextlib.suppress(RuntimeError):  # a loop that has ended listens no more
                loop.call_soon_threadsafe(_put, queue, words)

    async def topics(self) -> AsyncIterator[str]:
        """Topics as they come; an empty text as heartbeat, so that a lost page is noticed."""
        queue: asyncio.Queue[str] = asyncio.Queue(WAITING_AT_MOST)
        self._ears[queue] = asyncio.get_running_loop()
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
            del self._ears[queue]


def _put(queue: asyncio.Queue[str], words: str) -> None:
    if queue.full():
        while not queue.empty():
            queue.get_nowait()
        words = "everything"
    queue.put_nowait(words)
