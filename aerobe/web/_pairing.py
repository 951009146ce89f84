"""Letting a second device in: a code for one use, shown as a picture to scan, then a cookie for that device."""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from aerobe.errors import NotAllowed, NotFound
from aerobe.web._roles import HELPER, ROLES, Access
from aerobe.web._state import WebState, hashed

# No 0/O, 1/I/L: the code can be read aloud in a shed.
LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
CODE_LENGTH = 8  # 31^8 = 8.5e11 codes; with five tries a minute and ten minutes, guessing is hopeless
CODE_LIVES = timedelta(minutes=10)
IDLE_AT_MOST = timedelta(days=60)  # a device that stayed away longer is paired anew: a telephone lost in a drawer


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A code that one device may use once."""

    code: str
    until: datetime
    role: str  # what the device will be
    by: str  # id of the device that showed it; empty on this machine


class Pairing:
    """Codes given out, and devices let in. Codes live in memory only; devices are kept."""

    def __init__(self, state: WebState, clock: Callable[[], datetime]) -> None:
        self.state, self.clock = state, clock
        self._offers: list[Offer] = []
        self._used: list[tuple[Offer, tuple[str, str], str]] = []  # the offer, code and form, and the device that came of it
        self._lock = threading.Lock()

    @property
    def cookie(self) -> str:
        """Name of the cookie of this app's devices: browsers send cookies to every port, so two notebooks need two names."""
        return f"aerobe_device_{self.state.name.removeprefix('aerobe-')}"

    def offer(self, *, role: str = HELPER, by: str = "") -> Offer:
        """A new code; earlier unused ones stay valid until their time.

        Parameters
        ----------
        role
            What the device will be.
        by
            Id of the device that asks: when that is shut out, its codes count no more.
        """
        code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
        made = Offer(code=code, until=self.clock() + CODE_LIVES, role=role if role in ROLES else HELPER, by=by)
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
            found = found or [
                item for item, form, _ in self._used if item.until > self.clock() and entry and form == (typed, entry)
            ]
            if not found:
                raise NotAllowed(
                    "This code is wrong, was used already, or is older than ten minutes.",
                    "Show a new code under Settings on the machine that runs Aerobe, and scan or type it again.",
                )
            self._offers = [item for item in self._offers if item not in found]
            token = secrets.token_urlsafe(32)
            device = {
                "id": secrets.token_hex(6),
                "hash": hashed(token),
                "name": name[:60] or "a device",
                "role": found[0].role,
                "since": self.clock().isoformat(),
                "seen": self.clock().date().isoformat(),
                "entry": entry,
            }
            before = [item for item in self._used if item[1] != (typed, entry)]
            self._used = [(found[0], (typed, entry), device["id"]), *before[:9]]
            # Inside the lock: a device that is being shut out must not slip in between.
            self.state.change(
                "devices", lambda kept: [*(item for item in kept if not entry or item.get("entry") != entry), device]
            )
        return token

    def devices(self) -> list[dict[str, str]]:
        """Devices let in, without their tokens."""
        return [{key: item.get(key, "") for key in ("id", "name", "since", "seen", "role")} for item in self.state.get("devices")]

    def access_of(self, token: str) -> Access | None:
        """Who holds a device's token; None if nobody does, or the device was not seen for too long."""
        sought = hashed(token)
        for item in self.state.get("devices"):
            if not hmac.compare_digest(item["hash"], sought):
                continue
            if is_idle(item, self.clock()):
                return None
            return Access(role=item.get("role", HELPER), device=item["id"])
        return None

    def saw(self, device: str) -> bool:
        """Note that a device was here today; whether this is the first time, so that its cookie is to be renewed."""
        today = self.clock().date().isoformat()
        if not any(item["id"] == device and item.get("seen") != today for item in self.state.get("devices")):
            return False
        self.state.change("devices", lambda kept: [{**item, "seen": today} if item["id"] == device else item for item in kept])
        return True

    def change_role(self, device: str, role: str) -> None:
        """Make a device something else.

        Raises
        ------
        NotFound
            If there is no such device or role.
        """
        if role not in ROLES or device not in {item["id"] for item in self.state.get("devices")}:
            raise NotFound("There is no such device or role.", "Open Settings again: the device may have been removed already.")
        self.state.change("devices", lambda kept: [{**item, "role": role} if item["id"] == device else item for item in kept])

    def remove(self, device: str) -> None:
        """Shut a device out again, with every code that it showed and the code that let it in.

        Raises
        ------
        NotFound
            If there is no such device.
        """
        with self._lock:
            if device not in {item["id"] for item in self.state.get("devices")}:
                raise NotFound("There is no such device.", "Open Settings again: it may have been removed already.")
            self._offers = [item for item in self._offers if item.by != device]
            self._used = [item for item in self._used if device not in (item[0].by, item[2])]
            self.state.change("devices", lambda kept: [item for item in kept if item["id"] != device])
            self.state.change("pushes", lambda kept: [item for item in kept if item["device"] != device])


def is_idle(device: Mapping[str, str], now: datetime) -> bool:
    """Whether a device was not seen for too long."""
    return now.date() - date.fromisoformat(device.get("seen") or device["since"][:10]) > IDLE_AT_MOST


def picture_of(text: str) -> str:
    """A QR code as an SVG data address."""
    import segno

    made: str = segno.make(text, error="m").svg_data_uri(scale=6, border=4, dark="#20231f", light="#ffffff")
    return made


def spelled(code: str) -> str:
    """`ABCD-EFGH`."""
    return f"{code[:4]}-{code[4:]}"
