"""How the app was started."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class ServeSettings:
    """How the app is started."""

    names: tuple[str, ...] = ()  # host names this machine answers to, beside localhost and bare addresses
    address: str = ""  # what a phone should open, for the pairing code; empty if not shared
    secure_port: int | None = None  # where HTTPS is served, if it is
    authority: Path | None = None  # certificate that a phone may trust, where HTTPS is served
    photos: Path | None = None  # folder for photos of samples
    watching: bool = True  # look after brews while nobody looks
    burst: float = 400.0  # requests of one address at once [-]
    per_s: float = 120.0  # and after that [1/s]
