"""Files between upload and yes: kept in memory while the person looks at the preview."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict

from aerobe.errors import NotFound

FILES_AT_MOST = 4


class Uploads:
    """The last few files; older ones must be chosen again."""

    def __init__(self) -> None:
        self._files: OrderedDict[str, tuple[str, bytes]] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, name: str, content: bytes) -> str:
        """Keep a file; gives its ticket."""
        ticket = secrets.token_urlsafe(16)
        with self._lock:
            self._files[ticket] = (name, content)
            while len(self._files) > FILES_AT_MOST:
                self._files.popitem(last=False)
        return ticket

    def get(self, ticket: str) -> tuple[str, bytes]:
        """Name and content.

        Raises
        ------
        NotFound
            If it is no longer kept.
        """
        with self._lock:
            found = self._files.get(ticket)
        if found is None:
            raise NotFound("The file is no longer at hand.", "Choose it again.")
        return found
