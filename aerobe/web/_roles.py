"""What each kind of device may do. This machine is the owner; a paired device is what the owner made it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

OWNER, HELPER, READER, VIEWER = "owner", "helper", "blind reader", "viewer"
ROLES: dict[str, str] = {
    HELPER: "records and reads; no settings, no devices",
    VIEWER: "reads only",
    READER: "records results under their codes; sees no recipe and no brew",
    OWNER: "everything, as on this machine",
}
READING = ("GET", "HEAD")
ANYBODY = ("/settings/look", "/app.webmanifest", "/service-worker.js", "/offline", "/static/", "/pair")
# A blind reader is kept from whatever could tell which brew is which, so only this is open to one.
READER_PAGES = ("/blind", *ANYBODY)
OWNER_CHANGES = ("/settings", "/demo", "/trials/key")
OWNER_PAGES = ("/data/export",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """Who asks.

    Parameters
    ----------
    role
        One of `ROLES`.
    device
        The device's id; empty on this machine itself.
    """

    role: str
    device: str = ""

    @property
    def is_owner(self) -> bool:
        """Whether settings, devices and exports of people are open."""
        return self.role == OWNER

    @property
    def sees_brews(self) -> bool:
        """Whether brews, their names and what is wrong with them may be shown; a stranger at the pairing page may not."""
        return self.role in (OWNER, HELPER, VIEWER)


def may(access: Access, method: str, path: str, query: Mapping[str, str]) -> bool:
    """Whether a request is open to who asks.

    Parameters
    ----------
    access
        Who asks.
    method, path, query
        What is asked; `query` as it was sent.
    """
    if access.is_owner or _under(path, ANYBODY):
        return True
    if access.role == READER:
        return _under(path, READER_PAGES)
    reads = method in READING
    if _under(path, OWNER_PAGES) or query.get("people", "") not in ("", "0", "false", "no", "off"):
        return False  # who did what is told to the owner only
    if reads:
        return access.sees_brews
    return access.role == HELPER and not _under(path, OWNER_CHANGES)


def _under(path: str, places: tuple[str, ...]) -> bool:
    return any(path == place.rstrip("/") or path.startswith(place.rstrip("/") + "/") for place in places)
