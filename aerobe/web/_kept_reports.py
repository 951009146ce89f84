"""Reports that were made lately: the file that a person fetches is the report on the screen, and neither is worked out twice."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # what makes reports takes seconds to load, and no page waits for it
    from aerobe.usecases.reports import Report

AT_MOST = 6
FRESH_S = 900  # time alone moves what is believed of a brew under air [s]


class KeptReports:
    """The last few reports, each for as long as nothing was written and not much time went by."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, tuple[int, datetime, Report]] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, name: Hashable, *, version: int, now: datetime, make: Callable[[], Report]) -> Report:
        """The report kept under a name for this version of the notebook, or the one that is made now."""
        with self._lock:
            found = self._kept.get(name)
            if found is not None and found[0] == version and abs((now - found[1]).total_seconds()) < FRESH_S:
                self._kept.move_to_end(name)
                return found[2]
        made = make()
        with self._lock:
            self._kept[name] = (version, now, made)
            self._kept.move_to_end(name)
            while len(self._kept) > AT_MOST:
                self._kept.popitem(last=False)
        return made
