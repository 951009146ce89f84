"""Photos beside readings: stored whole, and never looked into."""

from __future__ import annotations

import re
from pathlib import Path

from aerobe import usecases
from aerobe.errors import NotAllowed, NotFound

PHOTO_BYTES = 15_000_000
MAGIC = {b"\xff\xd8\xff": "jpg", b"\x89PNG\r\n\x1a\n": "png", b"RIFF": "webp"}
MEDIA = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


def keep_photo(folder: Path | None, reading: str, content: bytes) -> None:
    """Store a photo beside a reading. It is never looked into.

    Raises
    ------
    NotAllowed
        If it is no picture or too large; the reading itself is kept before.
    """
    if folder is None:
        raise NotAllowed(
            "The reading is kept, its photo is not: this app was started without a place for photos.",
            "Start it with `aerobe serve`.",
        )
    kind = next((name for mark, name in MAGIC.items() if content.startswith(mark)), None)
    if kind is None or len(content) > PHOTO_BYTES:
        raise NotAllowed(
            "The reading is kept, its photo is not: it is no JPEG, PNG or WebP picture, or larger than 15 MB.",
            "Take the photo again at a smaller size.",
        )
    target = folder / f"{_safe(reading)}.{kind}"
    try:
        usecases.notebook.write_whole(target, content)
    except NotAllowed as fault:
        raise NotAllowed(f"The reading is kept, its photo is not: {fault.problem}", fault.remedy) from None


def photo_of(folder: Path | None, reading: str) -> Path | None:
    """The photo of a reading, if there is one."""
    if folder is None:
        return None
    return next((path for kind in MEDIA if (path := folder / f"{_safe(reading)}.{kind}").exists()), None)


def _safe(reading: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}", reading):
        raise NotFound("There is no such reading.", "Open the brew and choose a reading from its list.")
    return reading
