"""Photos beside readings: stored whole under their own hash, never looked into and never replaced.

The notebook holds which photo belongs to which reading, with its hash; the folder holds the pictures. A second photo of a
reading stands beside the first, and a correction keeps the photos of what it corrects.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from aerobe.errors import NotAllowed, NotFound
from aerobe.notebook import Notebook
from aerobe.records import Reading
from aerobe.usecases.notebook._files import write_whole

PHOTO_BYTES = 15_000_000
MAGIC = {b"\xff\xd8\xff": "jpg", b"\x89PNG\r\n\x1a\n": "png", b"RIFF": "webp"}
PHOTO_KINDS = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


def keep_photo(notebook: Notebook, folder: Path | None, reading: str, content: bytes, *, now: datetime) -> str:
    """Store a photo beside a reading; gives its hash. The same photo again adds nothing.

    Parameters
    ----------
    notebook, folder
        Where its hash is written down, and where the picture goes; None if the app has no such place.
    reading
        Key of the reading.
    content
        The picture. [B]
    now
        The time of the entry.

    Raises
    ------
    NotAllowed
        If it is no picture or too large; the reading itself is kept before.
    NotFound
        If there is no such reading.
    """
    notebook.reading(reading)
    kind = photo_kind(content)
    if folder is None:
        raise NotAllowed(
            "The reading is kept, its photo is not: this app was started without a place for photos.",
            "Start it with `aerobe serve`.",
        )
    mark = hashlib.sha256(content).hexdigest()
    try:
        if not (folder / f"{mark}.{kind}").exists():
            write_whole(folder / f"{mark}.{kind}", content)
    except NotAllowed as fault:
        raise NotAllowed(f"The reading is kept, its photo is not: {fault.problem}", fault.remedy) from None
    # Only what is on the disk is written down.
    notebook.keep("photo", reading, {"sha256": mark, "kind": kind}, at=now, token=f"photo-{reading}-{mark}"[:120])
    return mark


def photo_kind(content: bytes) -> str:
    """The ending that a picture's own first bytes ask for.

    Raises
    ------
    NotAllowed
        If it is no picture or too large.
    """
    kind = next((name for mark, name in MAGIC.items() if content.startswith(mark)), None)
    if kind is None or len(content) > PHOTO_BYTES:
        raise NotAllowed(
            "The reading is kept, its photo is not: it is no JPEG, PNG or WebP picture, or larger than 15 MB.",
            "Take the photo again at a smaller size.",
        )
    return kind


def photos_of(notebook: Notebook, folder: Path | None, reading: str) -> list[Path]:
    """The photos of a reading and of those that it corrects, newest first; one that is not as it was kept is left out."""
    if folder is None:
        return []
    found: list[Path] = []
    step: Reading | None = notebook.reading(reading)
    while step is not None:
        for kept in reversed(notebook.kept("photo", step.key)):
            path = folder / f"{kept.payload['sha256']}.{kept.payload['kind']}"
            if path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == kept.payload["sha256"]:
                found.append(path)
        found += _of_old(folder, step.key)
        step = notebook.reading(step.replaces) if step.replaces else None
    return found


def readings_with_photo(notebook: Notebook, readings: Iterable[str]) -> frozenset[str]:
    """Which of these readings have a photo of their own written down."""
    return frozenset(readings) & {item.subject for item in notebook.kept("photo")}


def _of_old(folder: Path, reading: str) -> list[Path]:
    """Photos that an earlier release kept under the reading's own name."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}", reading):
        raise NotFound("There is no such reading.", "Open the brew and choose a reading from its list.")
    return [path for kind in PHOTO_KINDS if (path := folder / f"{reading}.{kind}").exists()]
