"""What the app itself has to remember: its secret, paired devices, senders of logs, alarms and reminders.

It is one small file beside the notebook and not in it, so that a notebook can be handed to somebody else without
handing over the keys of the house. Tokens are kept as hashes only.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from aerobe.errors import AerobeError, NotebookFault
from aerobe.web._alarms import AlarmSettings

EMPTY: dict[str, Any] = {"version": 1, "secret": "", "devices": [], "senders": [], "alarms": {}, "broker": {}}


def hashed(token: str) -> str:
    """A token as it is kept: long random tokens need no slow hash."""
    return hashlib.sha256(token.encode()).hexdigest()


class WebState:
    """The app's memory. All changes go through `change`, which writes the whole file at once or not at all."""

    def __init__(self, path: Path | None, content: dict[str, Any]) -> None:
        self.path = path
        self._content = content
        self._lock = threading.Lock()

    @property
    def secret(self) -> bytes:
        """The key that signs form tokens; it outlives a restart, so a form opened before it still counts after."""
        return bytes.fromhex(self._content["secret"])

    def get(self, part: str) -> Any:
        """A copy of one part."""
        with self._lock:
            return json.loads(json.dumps(self._content.get(part, EMPTY.get(part))))

    def change(self, part: str, how: Callable[[Any], Any]) -> Any:
        """Replace one part by `how(part)` and keep it durably; returns the new part."""
        with self._lock:
            before = self._content.get(part, EMPTY.get(part))
            changed = how(json.loads(json.dumps(before)))
            self._content[part] = changed
            try:
                self._write()
            except OSError as fault:
                self._content[part] = before  # what is not on the disk must not look as if it were
                raise NotebookFault(
                    f"The app's memory cannot be written: {fault.strerror}.", "Free some space; nothing was changed."
                ) from None
            return json.loads(json.dumps(changed))

    def _write(self) -> None:
        if self.path is None:
            return
        beside = self.path.with_suffix(".part")
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            json.dump(self._content, stream, indent=1)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(beside, self.path)


def open_state(path: Path | None) -> WebState:
    """The app's memory at `path`, made if it is not there; `None` keeps it in memory only.

    Raises
    ------
    NotebookFault
        If the file is there and cannot be read.
    """
    if path is not None and path.exists():
        try:
            content = {**EMPTY, **json.loads(path.read_text(encoding="utf-8"))}
            _require_usable(content)
        except (OSError, ValueError, TypeError, AttributeError, KeyError, RecursionError, AerobeError) as fault:
            raise NotebookFault(
                f"The app's memory {path} cannot be read ({fault}).",
                "Put back a copy, or remove it: devices and senders must then be paired again; no reading is lost.",
            ) from None
        return WebState(path, content)
    state = WebState(path, json.loads(json.dumps({**EMPTY, "secret": secrets.token_hex(32)})))
    try:
        state._write()
    except OSError as fault:
        raise NotebookFault(
            f"The app's memory {path} cannot be written: {fault.strerror}.",
            "The app needs a folder beside the notebook: free some space, or copy the notebook to a disk that can be written to.",
        ) from None
    return state


def _require_usable(content: dict[str, Any]) -> None:
    """Raises, in whatever way comes, if a part is not as it was written: no page should be the first to notice."""
    bytes.fromhex(content["secret"])
    for part, names in (("devices", ("id", "hash", "name", "since")), ("senders", ("id", "hash", "name", "since", "place"))):
        _require_texts(part, content[part], names)
    settings = AlarmSettings()
    for name, value in content["alarms"].items():
        if type(value) is not type(getattr(settings, name)):
            raise TypeError(f"alarms: {name} is {value!r}")
    AlarmSettings(**content["alarms"])
    broker = content["broker"]
    kinds = {"host": str, "user": str, "password": str, "port": int}
    if not all(type(broker.get(name, kind())) is kind for name, kind in kinds.items()):
        raise TypeError("broker")
    _require_texts("topics", broker.get("topics", []), ("topic", "place", "channel", "unit"))


def _require_texts(part: str, items: Any, names: tuple[str, ...]) -> None:
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise TypeError(f"{part} is no list of objects")
    if not all(isinstance(item.get(name), str) for item in items for name in names):
        raise TypeError(f"{part} lacks one of {', '.join(names)}")
