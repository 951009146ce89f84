"""The other side: takes limits upon itself, runs one function on the bytes it is given, writes the answer as JSON."""

from __future__ import annotations

import importlib
import json
import os
import sys
from typing import BinaryIO

FAULT, OUT_OF_MEMORY = "fault", "memory"


def main(order: str) -> None:
    """Work off one order; the bytes come in and the answer goes out over the standard streams."""
    told = json.loads(order)
    answers = sys.stdout.buffer
    # Whatever a library prints must not get into the answer.
    sys.stdout = sys.stderr
    _limit(told["memory_bytes"], told["seconds"])
    module, _, name = str(told["function"]).partition(":")
    try:
        answer = {"answer": getattr(importlib.import_module(module), name)(sys.stdin.buffer.read(), **told["arguments"])}
        _write(answers, answer)
    except MemoryError:
        _write(answers, {"kind": OUT_OF_MEMORY})
    except Exception as fault:
        # A fault a person can put right goes back as such; anything else is our own bug and says its name.
        problem, remedy = getattr(fault, "problem", ""), getattr(fault, "remedy", "")
        _write(answers, {"kind": FAULT, "name": type(fault).__name__, "problem": problem or str(fault)[:500], "remedy": remedy})


def _write(stream: BinaryIO, answer: dict[str, object]) -> None:
    stream.write(json.dumps(answer).encode())
    stream.flush()


def _limit(memory_bytes: int, seconds: float) -> None:
    try:
        import resource
    except ImportError:  # no such limits on this system; the parent's clock still counts
        return
    whole = int(seconds) + 1
    for kind, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, whole),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, 64 * 1024 * 1024),
    ):
        try:
            resource.setrlimit(kind, (most, most))
        except (ValueError, OSError):
            continue  # a system that does not know or allow this one
    os.nice(5)
