"""Heavy work one after the other: reports, packages, plans and files; whoever asks for one does not wait for another's forty.

Pages have a queue of their own, a few at a time: forty at once would share the processor so thinly that all of them come late.
The first screen and whatever is recorded go before all of that, and wait for nobody.
"""

from __future__ import annotations

import asyncio
from collections import Counter, OrderedDict, deque
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager

# What takes seconds of a core. Everything else stays quick because these wait for each other and not for a free thread.
HEAVY = (
    "/reports/",
    "/evidence",
    "/data/import",
    "/data/export",
    "/trials/plan",
    "/api/trials",
    "/assay/paper",
    "/pictures/",
    "/compare",
    "/parts/oxygen/ways",
    "/parts/oxygen/brews/",
)
# What a person stands and waits for, and what keeps the pages alive. None of it costs more than a few milliseconds.
AT_ONCE_PATHS = (
    "/",
    "/record",
    "/record/pages",
    "/live",
    "/offline",
    "/app.webmanifest",
    "/service-worker.js",
    "/pair",
    "/blind",
)
AT_ONCE_BEGINS = ("/static/", "/parts/alarms", "/parts/turn", "/log/")
AT_ONCE_ENDS = ("/card", "/record")
AT_ONCE = 2
PAGES_AT_ONCE = 3
WAITING_AT_MOST = 100
SHARE = 50  # of those, for one address: nobody keeps all others out
PAGES_WAITING = 4000  # more than all connections there can be from elsewhere: a page is waited for, not refused


class Busy(Exception):
    """So much waits already that this page would not come in any sensible time."""


class Gone(Exception):
    """Whoever asked no longer listens: the work is for nobody."""


class Turns:
    """A fair queue: addresses take turns; of one address, first come, first served. `waiting` is how many stand in it."""

    def __init__(self, *, at_once: int = AT_ONCE, waiting_at_most: int = WAITING_AT_MOST, share: int = SHARE) -> None:
        self.waiting_at_most, self.share = waiting_at_most, share
        self._waiting: Counter[str] = Counter()
        self._working: Counter[str] = Counter()
        self._free = at_once
        self._lines: OrderedDict[str, deque[asyncio.Future[None]]] = OrderedDict()  # the next address stands first

    @property
    def waiting(self) -> int:
        """How many wait, of all addresses."""
        return self._waiting.total()

    def before(self, who: str) -> int | None:
        """How many others are worked on before the last that `who` asked for; 0 once its turn has come, None if there is none."""
        if not self._lines.get(who):
            return 0 if self._working[who] else None
        lengths: Mapping[str, int] = {name: len(line) for name, line in self._lines.items()}
        order = list(lengths)
        # The addresses take turns: of each that stands before it one more goes first than of those behind.
        own, place = lengths[who], order.index(who)
        ahead = sum(min(length, own if at < place else own - 1) for at, length in enumerate(lengths.values()) if at != place)
        return self._working.total() + own - 1 + ahead

    @asynccontextmanager
    async def turn(self, who: str = "", gone: Callable[[], Awaitable[None]] | None = None) -> AsyncIterator[Callable[[], None]]:
        """Wait for a place and hold it; what is given lets go of it before the end, once the work is done.

        Parameters
        ----------
        who
            The address that asks; each has its share of the queue.
        gone
            Comes back once nobody listens any more; a place in the queue is then given up.

        Raises
        ------
        Busy
            If too many wait already.
        Gone
            If nobody listens any more before the turn has come.
        """
        if self.waiting >= self.waiting_at_most or self._waiting[who] >= self.share:
            raise Busy
        self._waiting[who] += 1
        try:
            await self._place(who, gone)
        finally:
            self._waiting[who] -= 1
            self._waiting += Counter()  # addresses with nothing waiting are forgotten
        self._working[who] += 1
        held = True

        def done() -> None:
            nonlocal held
            if held:
                held = False
                self._working[who] -= 1
                self._working += Counter()
                self._release()

        try:
            yield done
        finally:
            done()

    async def _place(self, who: str, gone: Callable[[], Awaitable[None]] | None) -> None:
        if self._free:
            self._free -= 1
            return
        place = asyncio.get_running_loop().create_future()
        self._lines.setdefault(who, deque()).append(place)
        left = asyncio.ensure_future(gone()) if gone is not None else None
        held = False
        try:
            await asyncio.wait({place} if left is None else {place, left}, return_when=asyncio.FIRST_COMPLETED)
            held = place.done() and not (left is not None and left.done())
        finally:
            if left is not None:
                left.cancel()
            if not held:
                if place.done():
                    self._release()
                place.cancel()
        if not held:
            raise Gone

    def _release(self) -> None:
        """A place is free: the next address has it, and stands last then with what else it asked for."""
        while self._lines:
            who, line = self._lines.popitem(last=False)
            place = line.popleft()
            if line:
                self._lines[who] = line
            if not place.done():
                place.set_result(None)
                return
        self._free += 1


def is_heavy(method: str, path: str) -> bool:
    """Whether a request has to wait for its turn."""
    if path in ("/reports", "/reports/") or (path == "/evidence" and method != "POST"):
        return False
    return path.startswith(HEAVY)


def is_page(method: str, path: str) -> bool:
    """Whether a request waits among the pages. What is sent in never does: it may be half of it still on its way."""
    quick = path in AT_ONCE_PATHS or path.startswith(AT_ONCE_BEGINS) or path.endswith(AT_ONCE_ENDS)
    return method in ("GET", "HEAD") and not quick
