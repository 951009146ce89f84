"""Heavy work one after the other: reports, packages, plans and files are made in the order in which they were asked for."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

# What takes seconds of a core. Everything else stays quick because these wait for each other and not for a free thread.
HEAVY = ("/reports/", "/evidence", "/data/import", "/data/export", "/trials/plan", "/api/trials", "/assay/paper")
AT_ONCE = 2
WAITING_AT_MOST = 100


class Busy(Exception):
    """So much waits already that this page would not come in any sensible time."""


class Turns:
    """A fair queue: first come, first served. `waiting` is how many stand in it."""

    def __init__(self, *, at_once: int = AT_ONCE, waiting_at_most: int = WAITING_AT_MOST) -> None:
        self.waiting_at_most = waiting_at_most
        self.waiting = 0
        self._places = asyncio.Semaphore(at_once)

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        """Wait for a place and hold it.

        Raises
        ------
        Busy
            If too many wait already.
        """
        if self.waiting >= self.waiting_at_most:
            raise Busy
        self.waiting += 1
        try:
            await self._places.acquire()
        finally:
            self.waiting -= 1
        try:
            yield
        finally:
            self._places.release()


def is_heavy(method: str, path: str) -> bool:
    """Whether a request has to wait for its turn."""
    if path in ("/reports", "/reports/") or (path == "/evidence" and method != "POST"):
        return False
    return path.startswith(HEAVY)
