"""Telling open pages that something changed, over server-sent events, so that no word is lost.

Each word has a place in one row. A page carries the place up to which its content is known, and hears all words after it, also
those that were said while the page was on its way or its connection was gone. A row forgets what is old; whoever asks from
before that, or from before this start of the program, is told to look at everything.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import threading
from collections import deque
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

KEPT_AT_MOST = 256  # words a page may be behind
HEARTBEAT_S = 20.0
EVERYTHING = "everything"


@dataclass(eq=False, slots=True)
class Ear:
    """One open page that listens."""

    device: str
    place: int  # words heard
    loop: asyncio.AbstractEventLoop
    wake: asyncio.Event = field(default_factory=asyncio.Event)
    closed: bool = False


class Live:
    """A hub: `tell` may be called from any thread, each open page listens with `topics`."""

    def __init__(self) -> None:
        self._start = secrets.token_hex(4)  # places of an earlier start mean nothing here
        self._said = 0
        self._words: deque[str] = deque(maxlen=KEPT_AT_MOST)
        self._lock = threading.Lock()
        self._ears: set[Ear] = set()

    def __len__(self) -> int:
        return len(self._ears)

    @property
    def place(self) -> str:
        """The place after the last word; taken before a page is made, so that the page is no older than it says."""
        return self._named(self._said)

    def tell(self, *topic: str) -> None:
        """Say that a thing changed, for example `tell("brew", "b12")`."""
        with self._lock:
            self._words.append(" ".join(topic))
            self._said += 1
        for ear in list(self._ears):
            _wake(ear)

    def close(self) -> None:
        """End all listening, so that a server that stops need not wait for pages that would listen for ever."""
        self._end(list(self._ears))

    def shut_out(self, device: str) -> None:
        """End all listening of one device."""
        self._end([ear for ear in list(self._ears) if ear.device == device])

    def listening(self, device: str) -> int:
        """How many pages of a device listen."""
        return sum(1 for ear in list(self._ears) if ear.device == device)

    def listen(self, device: str = "", *, after: str = "") -> Ear:
        """A seat at the hub, for `topics`; it counts from now on, not from the first word.

        Parameters
        ----------
        device
            Key of the paired device; empty on this machine.
        after
            The `place` up to which the page's content is known; empty to hear only what is said from now on.
        """
        ear = Ear(device=device, place=self._number(after), loop=asyncio.get_running_loop())
        self._ears.add(ear)
        return ear

    def leave(self, ear: Ear) -> None:
        """Give a seat back."""
        self._ears.discard(ear)

    async def topics(self, ear: Ear) -> AsyncIterator[tuple[str, str]]:
        """Words as they come, each with its place; an empty word at first and as heartbeat, so that a lost page is noticed."""
        try:
            if ear.place >= 0:
                yield "", self._named(ear.place)
            while True:
                ear.wake.clear()
                words, ear.place = self._after(ear.place)
                for word in words:
                    yield word, self._named(ear.place)
                if ear.closed:
                    return
                try:
                    await asyncio.wait_for(ear.wake.wait(), HEARTBEAT_S)
                except TimeoutError:
                    yield "", self._named(ear.place)
        finally:
            self.leave(ear)

    def _after(self, place: int) -> tuple[tuple[str, ...], int]:
        """Words said after a place, each once, and the place after them."""
        with self._lock:
            missed = self._said - place
            if not 0 <= missed <= len(self._words):
                return (EVERYTHING,), self._said
            return tuple(dict.fromkeys(list(self._words)[len(self._words) - missed :])), self._said

    def _number(self, place: str) -> int:
        start, _, number = place.partition("-")
        if not place:
            return self._said
        return int(number) if start == self._start and number.isascii() and number.isdigit() and len(number) < 18 else -1

    def _named(self, number: int) -> str:
        return f"{self._start}-{number}"

    def _end(self, ears: list[Ear]) -> None:
        for ear in ears:
            ear.closed = True
            _wake(ear)


def _wake(ear: Ear) -> None:
    with contextlib.suppress(RuntimeError):  # a loop that has ended listens no more
        ear.loop.call_soon_threadsafe(ear.wake.set)
