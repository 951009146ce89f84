"""What was read once is kept while nothing is written: of a thousand brews, a probe's point costs the reading of one log."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from aerobe.notebook import Notebook
from aerobe.records import Brew, Harvest, Recipe, RunSheet, Vessel

WORKED_OUT = ("advice", "summary", "hindsight")  # kept results that are made from a brew
LOGGED = "log"  # what the audit trail calls the points of a probe
SHARED = ("recipes", "vessels", "composts", "assays")  # by several brews
ALL_AT_ONCE = ("import", "restore")

T = TypeVar("T")

# Under the engine and not the notebook: where a damaged file gives way to what is whole of it, nothing read before counts.
_CACHE: WeakKeyDictionary[object, dict[tuple[object, ...], tuple[object, Any]]] = WeakKeyDictionary()
_LOCK = threading.Lock()
_CACHED_AT_MOST = 4096


def cached(notebook: Notebook, name: tuple[object, ...], version: object, make: Callable[[], T]) -> T:
    """`make()`, or what it gave for the same name and version before. `version` is the notebook's count of changes."""
    with _LOCK:
        mine = _CACHE.setdefault(notebook.store.engine, {})
        found = mine.get(name)
    if found is not None and found[0] == version:
        kept: T = found[1]
        return kept
    made = make()
    with _LOCK:
        mine.pop(name, None)
        mine[name] = (version, made)
        while len(mine) > _CACHED_AT_MOST:
            del mine[next(iter(mine))]
    return made


class Held:
    """What lists are made of, read once and then kept up to date by the audit trail: a probe's point costs no new reading of
    a thousand brews."""

    def __init__(self, notebook: Notebook) -> None:
        self.seen = notebook.last_change()
        self.brews = {brew.key: brew for brew in notebook.find(Brew)}
        self.ends = {harvest.brew: harvest for harvest in notebook.find(Harvest)}
        self.recipes = {recipe.key: recipe.name for recipe in notebook.find(Recipe)}
        self.vessels = {vessel.key: vessel.name for vessel in notebook.find(Vessel)}
        self.sheets = {sheet.trial: sheet for sheet in notebook.find(RunSheet)}
        self._changed: dict[str, int] = {}
        self._noted: dict[str, int] = {}
        self._nouns: dict[str, int] = {}
        self._shared = self.seen  # last change of what several brews share

    def version(self, brew: str) -> int:
        """A number that grows when this brew, or what it shares with others, changes."""
        return max(self._changed.get(brew, 0), self._shared)

    def noted(self, brew: str) -> int:
        """As `version`, but a probe's points do not count."""
        return max(self._noted.get(brew, 0), self._shared)

    def version_of(self, *nouns: str) -> int:
        """A number that grows when something of these names in the audit trail is written, of whatever brew."""
        return max(self._shared, *(self._nouns.get(noun, 0) for noun in nouns))

    def take_up(self, notebook: Notebook, newest: int) -> bool:
        """Follow the audit trail up to `newest`; False if it is better to read everything anew."""
        if not 0 <= newest - self.seen <= FOLLOWED_AT_MOST:
            return False
        lines = [line for line in notebook.audit(newest=newest - self.seen) if line.id > self.seen]
        if any(line.did in ALL_AT_ONCE or line.noun in SHARED for line in lines):
            return False
        for line in lines:
            # New tables and not entries of the old: another page may be going through those just now.
            if line.noun == "brews":
                self.brews = {**self.brews, line.key: notebook.get(Brew, line.key)}
            elif line.noun == "harvests":
                self.ends = {**self.ends, line.key: notebook.get(Harvest, line.key)}
            elif line.noun == "run_sheets":
                self.sheets = {**self.sheets, line.key: notebook.get(RunSheet, line.key)}
            self._nouns[line.noun] = line.id
            # What was worked out from a brew changes nothing of it.
            if line.brew and line.noun not in WORKED_OUT:
                self._changed[line.brew] = line.id
                if line.noun != LOGGED:
                    self._noted[line.brew] = line.id
        self.seen = newest
        return True


FOLLOWED_AT_MOST = 500
_HELD: WeakKeyDictionary[object, Held] = WeakKeyDictionary()
_HELD_LOCK = threading.RLock()


class _Look:
    """What one page has looked up. It ends with the page: what the page began beside itself looks for itself."""

    def __init__(self) -> None:
        self.is_open = True
        self.found: tuple[object, int, Held] | None = None  # of which store, after how many writes of ours


_LOOK: ContextVar[_Look | None] = ContextVar("look", default=None)


@contextmanager
def one_look() -> Iterator[None]:
    """Inside, the notebook is asked once whether anything changed, and again only after a write of this program."""
    look = _Look()
    token = _LOOK.set(look)
    try:
        yield
    finally:
        look.is_open = False
        _LOOK.reset(token)


def held_by(notebook: Notebook) -> Held:
    """The lists of a notebook, up to date."""
    look = _LOOK.get()
    if look is None or not look.is_open:
        return _up_to_date(notebook)
    now = notebook.store.engine, notebook.store.writes
    if look.found is None or look.found[:2] != now:
        look.found = (*now, _up_to_date(notebook))
    return look.found[2]


def _up_to_date(notebook: Notebook) -> Held:
    with _HELD_LOCK:
        found, newest = _HELD.get(notebook.store.engine), notebook.last_change()
        if found is None or (found.seen != newest and not found.take_up(notebook, newest)):
            with _LOCK:  # numbers of changes may begin anew, as after a restore: what has the same number is not the same
                _CACHE.pop(notebook.store.engine, None)
            found = _HELD[notebook.store.engine] = Held(notebook)
        return found
