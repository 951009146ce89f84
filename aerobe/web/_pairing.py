"""Letting a second device in: a code for one use, shown as a picture to scan, then a cookie for that device."""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from aerobe.errors import NotAllowed, NotFound
from aerobe.web._state import WebState, hashed

# No 0/O, 1/I/L: the code can be read aloud in a shed.
LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
CODE_LENGTH = 8  # 31^8 = 8.5e11 codes; with five tries a minute and ten minutes, guessing is hopeless
CODE_LIVES = timedelta(minutes=10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A code that one device may use once."""

    code: str
    until: datetime


class Pairing:
    """Codes given out, and devices let in. Codes live in memory only; devices are kept."""

    def __init__(self, state: WebState, clock: Callable[[], datetime]) -> None:
        self.state, self.clock = state, clock
        self._offers: list[Offer] = []
        self._used: list[tuple[Offer, tuple[str, str]]] = []
        self._lock = threading.Lock()

    def offer(self) -> Offer:
        """A new code; earlier unused ones stay valid until their time."""
        made = Offer(code="".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH)), until=self.clock() + CODE_LIVES)
        with self._lock:
            self._offers = [*[item for item in self._offers if item.until > self.clock()][-9:], made]
        return made

    def accept(self, code: str, name: str, *, entry: str = "") -> str:
        """The token of a new device, for its cookie.

        The same code from the same form (`entry`) counts once more while it lives: the answer with the first token was lost.

        Raises
        ------
        NotAllowed
            If the code is wrong, used or too old.
        """
        typed = code.upper().replace("-", "").replace(" ", "")
        with self._lock:
            found = [
                item
                for item in self._offers
                if item.until > self.clock() and hmac.compare_digest(item.code.encode(), typed.encode())
            ]
            found = found or [item for item, form in self._used if item.until > self.clock() and entry and form == (typed, entry)]
            if not found:
                raise NotAllowed(
                    "This code is wrong, was used already, or is older than ten minutes.",
                    "Show a new code under Settings on the machine that runs Aerobe, and scan or type it again.",
                )
            self._offers = [item for item in self._offers if item not in found]
            self._used = [(found[0], (typed, entry)), *self._used[:9]]
        token = secrets.token_urlsafe(32)
        device = {
            "id": secrets.token_hex(6),
            "hash": hashed(token),
            "name": name[:60] or "a device",
            "since": self.clock().isoformat(),
            "entry": entry,
        }
        self.state.change("devices", lambda kept: [*(item for item in kept if not entry or item.get("entry") != entry), device])
        return token

    def devices(self) -> list[dict[str, Any]]:
        """Devices let in, without their tokens."""
        return [{key: item[key] for key in ("id", "name", "since")} for item in self.state.get("devices")]

    def remove(self, device: str) -> None:
        """Shut a device out again."""
        if device not in {item["id"] for item in self.state.get("devices")}:
            raise NotFound("There is no such device.", "Open Settings again: it may have been removed already.")
        self.state.change("devices", lambda kept: [item for item in kept if item["id"] != device])


def picture_of(text: str) -> str:
    """A QR code as an SVG data address."""
    import segno

    made: str = segno.make(text, error="m").svg_data_uri(scale=6, border=4, dark="#20231f", light="#ffffff")
    return made


def spelled(code: str) -> str:
    """`ABCD-EFGH`."""
    return f"{code[:4]}-{code[4:]}"
