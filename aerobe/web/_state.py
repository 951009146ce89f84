"""What the app itself has to remember: its secret, paired devices, senders of logs, alarms and reminders.

It is one small file beside the notebook and not in it, so that a notebook can be handed to somebody else without
handing over the keys of the house. Tokens are kept as hashes only.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from aerobe.errors import AerobeError, NotebookFault
from aerobe.web._alarm_settings import AlarmSettings
from aerobe.web._keys import Ring, hidden, shown, system_ring

LOCK_WAIT_S = 5.0  # a change takes milliseconds: a lock this old was left behind [s]
EMPTY: dict[str, Any] = {
    "version": 1,
    "secret": "",
    "devices": [],
    "senders": [],
    "alarms": {},
    "broker": {},
    "push": {},  # the key that signs notices
    "pushes": [],  # where notices of devices go
}


def hashed(token: str) -> str:
    """A token as it is kept: long random tokens need no slow hash."""
    return hashlib.sha256(token.encode()).hexdigest()


class WebState:
    """The app's memory. All changes go through `change`, which writes the whole file at once or not at all."""

    def __init__(self, path: Path | None, content: dict[str, Any], ring: Ring | None = None) -> None:
        self.path, self._ring = path, ring
        self._content = content
        self._lock = threading.Lock()
        self._stamp = _stamp_of(path) if path is not None else None

    @property
    def secret(self) -> bytes:
        """The key that signs form tokens; it outlives a restart, so a form opened before it still counts after."""
        return bytes.fromhex(self._content["secret"])

    @property
    def name(self) -> str:
        """A name of this app that stays the same, and tells nothing; brokers know it by it."""
        return f"aerobe-{hashlib.sha256(self.secret).hexdigest()[:12]}"

    def get(self, part: str) -> Any:
        """A copy of one part."""
        with self._lock:
            self._look()
            return json.loads(json.dumps(self._content.get(part, EMPTY.get(part))))

    def change(self, part: str, how: Callable[[Any], Any]) -> Any:
        """Replace one part by `how(part)` and keep it durably; returns the new part."""
        with self._lock, self._turn():
            self._look()
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
        with contextlib.suppress(FileNotFoundError):
            beside.unlink()  # a link that somebody laid there must not lead elsewhere
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            json.dump(hidden(self._content, self.path, self._ring), stream, indent=1)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(beside, self.path)
        self._stamp = _stamp_of(self.path)

    def _look(self) -> None:
        """Take up what another server on the same notebook has written meanwhile."""
        if self.path is None or (stamp := _stamp_of(self.path)) in (None, self._stamp):
            return
        try:
            content = {**EMPTY, **json.loads(self.path.read_text(encoding="utf-8"))}
            _require_usable(shown(content, self.path, self._ring))
        except Exception:
            return  # a file spoilt under a running app: what is known goes on, and the next start says it
        self._content, self._stamp = content, stamp

    @contextlib.contextmanager
    def _turn(self) -> Iterator[None]:
        """One writer at a time, also over several servers. A lock that is left behind is taken over."""
        if self.path is None:
            yield
            return
        lock = self.path.with_suffix(".lock")
        until = time.monotonic() + LOCK_WAIT_S
        while True:
            try:
                os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
                break
            except FileExistsError:
                with contextlib.suppress(OSError):
                    if time.time() - lock.stat().st_mtime > LOCK_WAIT_S or time.monotonic() > until:
                        lock.unlink(missing_ok=True)
                time.sleep(0.01)
            except OSError as fault:
                raise NotebookFault(
                    f"The app's memory cannot be written: {fault.strerror}.", "Free some space; nothing was changed."
                ) from None
        try:
            yield
        finally:
            with contextlib.suppress(OSError):
                lock.unlink(missing_ok=True)


def _stamp_of(path: Path) -> tuple[int, int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def open_state(path: Path | None) -> WebState:
    """The app's memory at `path`, made if it is not there; `None` keeps it in memory only.

    Raises
    ------
    NotebookFault
        If the file is there and cannot be read.
    """
    ring = system_ring() if path is not None else None
    if path is not None and path.exists():
        try:
            content = {**EMPTY, **json.loads(path.read_text(encoding="utf-8"))}
            _require_usable(shown(content, path, ring))
        except (OSError, ValueError, TypeError, AttributeError, KeyError, RecursionError, AerobeError) as fault:
            raise NotebookFault(
                f"The app's memory {path} cannot be read ({fault}).",
                "Put back a copy, or remove it: devices and senders must then be paired again; no reading is lost.",
            ) from None
        return WebState(path, content, ring)
    state = WebState(path, json.loads(json.dumps({**EMPTY, "secret": secrets.token_hex(32)})), ring)
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
    for part, names in (
        ("devices", ("id", "hash", "name", "since")),
        ("senders", ("id", "hash", "name", "since", "place")),
        ("pushes", ("device", "endpoint", "p256dh", "auth", "since")),
    ):
        _require_texts(part, content[part], names)
    int(content["push"].get("private") or "0", 16)
    settings = AlarmSettings()
    for name, value in content["alarms"].items():
        if type(value) is not type(getattr(settings, name)):
            raise TypeError(f"alarms: {name} is {value!r}")
    AlarmSettings(**content["alarms"])
    broker = content["broker"]
    kinds = {"host": str, "user": str, "password": str, "port": int, "tls": bool}
    if not all(type(broker.get(name, kind())) is kind for name, kind in kinds.items()):
        raise TypeError("broker")
    _require_texts("topics", broker.get("topics", []), ("topic", "place", "channel", "unit"))


def _require_texts(part: str, items: Any, names: tuple[str, ...]) -> None:
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise TypeError(f"{part} is no list of objects")
    if not all(isinstance(item.get(name), str) for item in items for name in names):
        raise TypeError(f"{part} lacks one of {', '.join(names)}")
