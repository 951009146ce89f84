"""Practice brews of the app: where they are kept, and the worker that asks the others beside the play."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from starlette.requests import HTTPConnection

from aerobe import usecases
from aerobe.web._live import Live
from aerobe.web._state import WebState
from aerobe.web._thinker import Thinker

Thoughts = usecases.practice.Rivals | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Practising:
    """A folder of practice brews, and a thread of its own for what takes seconds: no call of a true brew waits for it."""

    shelf: usecases.practice.PracticeShelf
    thinker: Thinker[Thoughts]


def open_practising(state: WebState, clock: Callable[[], datetime], live: Live, *, able: bool) -> Practising:
    """Practice brews beside the app's memory, never in the notebook."""
    shelf = usecases.practice.PracticeShelf(state.path.parent / "practice" if state.path is not None else None)

    def version(key: str) -> tuple[int, int]:
        return len(usecases.practice.seen_in_practice(shelf, key).practice.moves), 0

    def work(key: str, now: datetime) -> Thoughts:
        if usecases.practice.seen_in_practice(shelf, key).practice.harvested_h is None:
            usecases.practice.think_ahead(shelf, key)
            return None
        return usecases.practice.rivals_in_practice(shelf, key)

    return Practising(shelf=shelf, thinker=Thinker(work if able else None, version=version, clock=clock, live=live, at_most=3))


def practising_of(connection: HTTPConnection) -> Practising:
    """Practice brews of this app."""
    found: Practising = connection.app.state.practising
    return found
