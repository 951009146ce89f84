"""Working out calls beside the requests: a page shows what is known and is told when more is."""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Generic, TypeVar

from aerobe.errors import AerobeError
from aerobe.web._live import Live

LOG = logging.getLogger("aerobe.web")
STALE_AFTER = timedelta(minutes=20)  # time itself moves the call
T = TypeVar("T")
NOT_SOONER = timedelta(seconds=90)  # a probe that speaks every second is no reason to think every second


@dataclass(frozen=True, slots=True, kw_only=True)
class Thought(Generic[T]):
    """What is known of one brew's call."""

    advice: T | None = None  # of usecases.brews.advise_brew; None before the first, or when the last try failed
    problem: str = ""
    remedy: str = ""
    at: datetime | None = None
    version: tuple[int, int] = (-1, -1)  # readings and log points it rests on
    working: bool = False


class Thinker(Generic[T]):
    """One thread that works out calls, in the order in which they were asked.

    For work that can wait there is a pause before each, and `at_most` so many wait; older ones are set aside.
    """

    def __init__(
        self,
        advise: Callable[[str, datetime], T] | None,
        *,
        version: Callable[[str], tuple[int, int]],
        clock: Callable[[], datetime],
        live: Live,
        at_most: int | None = None,
        pause_s: float = 0.0,
    ) -> None:
        self.advise, self.version, self.clock, self.live = advise, version, clock, live
        self.at_most, self.pause_s = at_most, pause_s
        self._thoughts: dict[str, Thought[T]] = {}
        self._asked: deque[str] = deque()
        self._waiting: set[str] = set()
        self._set_aside: set[str] = set()
        self._lock = threading.Condition()
        self._thread: threading.Thread | None = None

    @property
    def able(self) -> bool:
        """Whether there is anything to think with."""
        return self.advise is not None

    def look(self, brew: str, *, urgent: bool = False) -> Thought[T]:
        """What is known now; asks for more if that is missing or out of date. Never waits."""
        now = self.clock()
        with self._lock:
            thought: Thought[T] = self._thoughts.get(brew) or Thought()
            if self.able and brew not in self._waiting and self._wants(thought, brew, now, urgent):
                self._ask(brew)
            working = brew in self._waiting
        return replace(thought, working=working)

    def renew(self) -> None:
        """Something changed that no count shows, such as whose rules are asked: every call is worked out again when looked at."""
        with self._lock:
            self._thoughts = {brew: replace(thought, at=None) for brew, thought in self._thoughts.items()}

    def _wants(self, thought: Thought[T], brew: str, now: datetime, urgent: bool) -> bool:
        if thought.at is None or abs(now - thought.at) > STALE_AFTER:
            return True
        if self.version(brew) == thought.version:
            return False
        # A reading is what a person waits for; log points alone may wait a little.
        return urgent or self.version(brew)[0] != thought.version[0] or abs(now - thought.at) > NOT_SOONER

    def _ask(self, brew: str) -> None:
        self._waiting.add(brew)
        self._asked.append(brew)
        if self.at_most is not None and len(self._asked) > self.at_most:
            # Whoever leafs through many brews is not waiting for the first of them any more.
            oldest = self._asked.popleft()
            self._waiting.discard(oldest)
            self._set_aside.add(oldest)
        self._lock.notify()
        self._start()

    def _start(self) -> None:
        if self._thread is None or not self._thread.is_alive():
            self._thread = threading.Thread(target=self._work, name="aerobe-thinker", daemon=True)
            self._thread.start()

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._asked:
                    self._lock.wait(timeout=5.0)
                if not self._asked:
                    self._thread = None
                    return
            # Only this thread takes away what is asked, so there is still something after the pause.
            time.sleep(self.pause_s)
            with self._lock:
                brew = self._asked.popleft()
            thought = self._think(brew)
            with self._lock:
                self._thoughts[brew] = thought
                self._waiting.discard(brew)
                told = {brew} if self._asked else {brew} | self._set_aside
                self._set_aside -= told
            # A page still open on a brew that was set aside looks, and so asks, again.
            for key in told:
                self.live.tell("brew", key)

    def _think(self, brew: str) -> Thought[T]:
        assert self.advise is not None
        version, now = (0, 0), self.clock()
        try:
            version = self.version(brew)
            return Thought(advice=self.advise(brew, now), at=now, version=version)
        except AerobeError as fault:
            return Thought(problem=fault.problem, remedy=fault.remedy, at=now, version=version)
        except Exception:
            # A bug of ours must not stop the thread that serves the other brews; it is logged with its trace.
            LOG.exception("the call for %s could not be worked out", brew)
            return Thought(
                problem="The call could not be worked out: a fault of the program.",
                remedy="Readings are safe. The window in which the app was started says more.",
                at=now,
                version=version,
            )
