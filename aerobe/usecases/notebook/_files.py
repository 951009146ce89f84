"""Files that a person asks for: whole, or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from aerobe.errors import NotAllowed


def write_whole(path: Path, content: bytes | str) -> None:
    """Write a file under its name only when all of it is on the disk: half a report must not pass for one.

    Raises
    ------
    NotAllowed
        If it cannot be written.
    """
    half = path.with_name(path.name + ".half")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # What a notebook holds is the person's own: other accounts of the machine need not read it.
        with contextlib.suppress(FileNotFoundError):
            half.unlink()  # a link that somebody laid there must not lead elsewhere
        handle = os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content.encode() if isinstance(content, str) else content)
            stream.flush()
            os.fsync(stream.fileno())
        half.replace(path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        raise NotAllowed(f"{path} cannot be written: {fault.strerror}.", "Free some space, or choose another folder.") from None
