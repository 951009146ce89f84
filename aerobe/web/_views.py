"""What several pages ask for: the call of a brew, its pictures, its photos."""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import Request

from aerobe import desk
from aerobe.errors import NotAllowed, NotFound
from aerobe.records import Brew
from aerobe.web._frame import clock_of, notebook_of
from aerobe.web._thinker import Thinker, Thought

PHOTO_BYTES = 15_000_000
MAGIC = {b"\xff\xd8\xff": "jpg", b"\x89PNG\r\n\x1a\n": "png", b"RIFF": "webp"}
MEDIA = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


@dataclass(frozen=True, slots=True, kw_only=True)
class CallView:
    """The call as a page shows it."""

    thought: Thought
    call: Any  # desk.Call or None
    able: bool


def thinker_of(request: Request) -> Thinker:
    """The worker that finds calls."""
    found: Thinker = request.app.state.thinker
    return found


def call_of(request: Request, brew: Brew, *, urgent: bool = False) -> CallView:
    """What is known of a brew's call now. The one place where advice reaches the pages."""
    thinker = thinker_of(request)
    thought = thinker.look(brew.key, urgent=urgent)
    call = desk.call_in_words(brew, thought.advice, now=clock_of(request)) if thought.advice is not None else None
    return CallView(thought=thought, call=call, able=thinker.able)


def troubles_of(request: Request, brew: Brew) -> Any:
    """What is wrong with the probes of a brew."""
    return desk.live_troubles(notebook_of(request), brew, now=clock_of(request))


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
    half = target.with_name(target.name + ".half")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        half.write_bytes(content)
        half.replace(target)
    except OSError as fault:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        raise NotAllowed(
            f"The reading is kept, its photo is not: {fault.strerror}.", "Free some space, then send the photo with a correction."
        ) from None


def photo_of(folder: Path | None, reading: str) -> Path | None:
    """The photo of a reading, if there is one."""
    if folder is None:
        return None
    return next((path for kind in MEDIA if (path := folder / f"{_safe(reading)}.{kind}").exists()), None)


def _safe(reading: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}", reading):
        raise NotFound("There is no such reading.", "Open the brew and choose a reading from its list.")
    return reading
