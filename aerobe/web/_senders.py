"""Probes that send over HTTP: each has a token, and may only add to the log of one vessel or brew."""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import Any

from aerobe.errors import NotAllowed, NotFound, UnusableRecord
from aerobe.web._state import WebState, hashed


def add_sender(state: WebState, *, name: str, place: str, now: datetime, entry: str = "") -> str:
    """A new sender for the vessel or brew with the key `place`; gives its token, which is shown once.

    The same `entry` again takes the first token's place: its answer was lost, so nobody holds that token.

    Raises
    ------
    UnusableRecord
        If the name is missing.
    """
    if not name.strip() or len(name) > 60:
        raise UnusableRecord("A sender needs a name.", "Name it after the probe, in up to 60 letters.")
    token = secrets.token_urlsafe(24)
    sender = {
        "id": secrets.token_hex(6),
        "hash": hashed(token),
        "name": name.strip(),
        "place": place,
        "since": now.isoformat(),
        "entry": entry,
    }
    state.change("senders", lambda kept: [*(item for item in kept if not entry or item.get("entry") != entry), sender])
    return token


def senders(state: WebState) -> list[dict[str, Any]]:
    """The senders, without their tokens."""
    return [{key: item[key] for key in ("id", "name", "place", "since")} for item in state.get("senders")]


def remove_sender(state: WebState, sender: str) -> None:
    """Take a sender's token back."""
    if sender not in {item["id"] for item in state.get("senders")}:
        raise NotFound("There is no such sender.", "Open Settings again: it may have been removed already.")
    state.change("senders", lambda kept: [item for item in kept if item["id"] != sender])


def sender_of(state: WebState, authorization: str) -> dict[str, Any]:
    """The sender named by an `Authorization: Bearer ...` header.

    Raises
    ------
    NotAllowed
        If there is none.
    """
    scheme, _, token = authorization.partition(" ")
    found = [item for item in state.get("senders") if item["hash"] == hashed(token.strip())] if scheme.lower() == "bearer" else []
    if not found:
        raise NotAllowed(
            "This sender is not known.", "Make a token under Settings and send it as 'Authorization: Bearer <token>'."
        )
    sender: dict[str, Any] = found[0]
    return sender
