"""Passwords of other machines in the system's keyring, where there is one; else they stay in the app's own file of mode 0600.

The library `keyring` is an extra (`pip install 'aerobe[keyring]'`): without it, or where the system has no ring that can be used
without a person, nothing changes.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any, Protocol

SERVICE = "aerobe"
IN_RING = "(in the keyring of the system)"
SECRETS = (("broker", "password"), ("alarms", "mail_password"), ("push", "private"))


class Ring(Protocol):
    """What a keyring can do."""

    def get_password(self, service: str, username: str) -> str | None:
        """The password kept under a name, or None."""

    def set_password(self, service: str, username: str, password: str) -> None:
        """Keep a password under a name."""


def system_ring() -> Ring | None:
    """The system's keyring; None where there is none that works by itself."""
    try:
        import keyring

        ring = keyring.get_keyring()
        usable: bool = float(getattr(ring, "priority", 0)) >= 1.0
    except Exception:  # a ring that cannot even be asked is none
        return None
    return ring if usable else None


def hidden(content: dict[str, Any], path: Path, ring: Ring | None) -> dict[str, Any]:
    """What is to be written: with each password put into the ring, and a mark in its place. One that the ring refuses stays."""
    told: dict[str, Any] = json.loads(json.dumps(content))
    for part, name in SECRETS:
        secret = told.get(part, {}).get(name)
        if not secret or secret == IN_RING or ring is None:
            continue
        try:
            ring.set_password(SERVICE, _name(path, part, name), secret)
            if ring.get_password(SERVICE, _name(path, part, name)) == secret:
                told[part][name] = IN_RING
        except Exception:  # a locked ring: the file keeps it, as it did before
            continue
    return told


def shown(content: dict[str, Any], path: Path, ring: Ring | None) -> dict[str, Any]:
    """What was read, with each password out of the ring; empty where the ring no longer has it, so that it is asked anew."""
    for part, name in SECRETS:
        if content.get(part, {}).get(name) != IN_RING:
            continue
        try:
            content[part][name] = (ring.get_password(SERVICE, _name(path, part, name)) if ring else None) or ""
        except Exception:
            content[part][name] = ""
    return content


def _name(path: Path, part: str, name: str) -> str:
    where = hashlib.sha256(str(path.absolute()).encode()).hexdigest()[:12]
    return f"{where}:{part}.{name}"
