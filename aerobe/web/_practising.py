"""Practice brews of the app: where they are kept, and the worker that asks the others beside the play."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.requests import HTTPConnection

from aerobe import usecases
from aerobe.web._live import Live
from aerobe.web._state import WebState
from aerobe.web._thinker import Thinker

if TYPE_CHECKING:
    Thoughts = usecases.practice.Rivals | None


class Practising:
    """A folder of practice brews, and a thread of its own for what takes seconds: no call of a true brew waits for it.

    The folder is opened by the first page of practice: what plays takes seconds to load, and no other page waits for it.
    """

    def __init__(self, folder: Path | None, clock: Callable[[], datetime], live: Live, *, able: bool) -> None:
        self._folder = folder
        self._shelf: usecases.practice.PracticeShelf | None = None
        self._opening = threading.Lock()
        work = self._work if able else None
        self.thinker: Thinker[Thoughts] = Thinker(work, version=self._version, clock=clock, live=live, at_most=3)

    @property
    def shelf(self) -> usecases.practice.PracticeShelf:
        """The practice brews."""
        with self._opening:  # without a folder they are in memory only, and two of those would know half each
            if self._shelf is None:
                self._shelf = usecases.practice.PracticeShelf(self._folder)
            return self._shelf

    def _version(self, key: str) -> tuple[int, int]:
        return len(usecases.practice.seen_in_practice(self.shelf, key).practice.moves), 0

    def _work(self, key: str, now: datetime) -> Thoughts:
        if usecases.practice.seen_in_practice(self.shelf, key).practice.harvested_h is None:
            usecases.practice.think_ahead(self.shelf, key)
            return None
        return usecases.practice.rivals_in_practice(self.shelf, key)


def open_practising(state: WebState, clock: Callable[[], datetime], live: Live, *, able: bool) -> Practising:
    """Practice brews beside the app's memory, never in the notebook."""
    folder = state.path.parent / "practice" if state.path is not None else None
    return Practising(folder, clock, live, able=able)


def practising_of(connection: HTTPConnection) -> Practising:
    """Practice brews of this app."""
    found: Practising = connection.app.state.practising
    return found
