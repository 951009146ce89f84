"""A small disk of the test's own, which can be filled to the last byte and write-protected."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True, slots=True)
class Disk:
    """A mounted folder."""

    folder: Path

    def fill(self) -> None:
        """Write until not one byte more goes in."""
        with (self.folder / "ballast").open("ab", buffering=0) as stream:
            for size in (4096, 1):
                try:
                    while True:
                        stream.write(b"x" * size)
                except OSError:
                    continue

    def free(self) -> None:
        """Take the ballast away."""
        (self.folder / "ballast").unlink()

    def protect(self) -> None:
        """Allow reading only, also to the machine's administrator. Nothing may be open for writing."""
        subprocess.run(["mount", "-o", "remount,ro", self.folder], check=True)

    def names(self) -> set[str]:
        """Everything that lies there, ballast aside."""
        return {str(path.relative_to(self.folder)) for path in self.folder.rglob("*") if path.is_file()} - {"ballast"}


@contextmanager
def small_disk(folder: Path, *, size: str = "3m") -> Iterator[Disk]:
    """A file system in memory of this size; the test is skipped where none can be mounted."""
    folder.mkdir(parents=True, exist_ok=True)
    if not sys.platform.startswith("linux") or os.geteuid() != 0:
        pytest.skip("only the administrator of a Linux machine can mount a small disk")
    if shutil.which("mount") is None or shutil.which("umount") is None:
        pytest.skip("no program `mount` here, so no small disk; on Debian: apt install mount")
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], capture_output=True, text=True)
    if mounted.returncode:
        pytest.skip(f"no disk can be mounted here: {mounted.stderr.strip()}")
    try:
        yield Disk(folder)
    finally:
        subprocess.run(["umount", "-l", folder], check=False)
