"""Files that a person asks for: whole, or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from aerobe.errors import NotAllowed


def require_new(paths: Iterable[Path | None]) -> None:
    """Refuse names that are taken, before any work is done for a file of that name. None stands for no file.

    Raises
    ------
    NotAllowed
        If something lies under one of the names, also a link that leads nowhere.
    """
    taken = [path for path in paths if path is not None and os.path.lexists(path)]
    if taken:
        more = f" and {len(taken) - 1} more of these files" if len(taken) > 1 else ""
        what = "is a folder" if taken[0].is_dir() else "is there already"
        raise NotAllowed(
            f"{taken[0]}{more} {what}; nothing is written over it.",
            "Name another file or folder, or move away what is there.",
        )


def write_new(files: Mapping[Path, bytes | str]) -> None:
    """Write files that a person named: all under names that are free, or none. Nothing is ever written over.

    Raises
    ------
    NotAllowed
        If one of the names is taken, or a file cannot be written.
    """
    require_new(files)
    for path, content in files.items():
        write_whole(path, content)


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
