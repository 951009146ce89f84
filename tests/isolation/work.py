"""What a child process is made to do in the tests."""

from __future__ import annotations

import os
import time

from aerobe.errors import UnusableReading


def count(content: bytes, *, times: int) -> dict[str, int]:
    print("a library that talks")
    return {"count": len(content) * times}


def person_fault(content: bytes) -> None:
    raise UnusableReading("The tea is too dark.", "Dilute it.")


def hoard(content: bytes) -> int:
    return len(bytearray(4_000_000_000))


def spin(content: bytes) -> None:
    while True:
        pass


def wait(content: bytes, *, seconds: float) -> str:
    time.sleep(seconds)
    return "done"


def abort(content: bytes) -> None:
    os.abort()


def leave(content: bytes) -> None:
    os._exit(0)


def chatter(content: bytes) -> str:
    return "a" * 5000


def environment(content: bytes) -> dict[str, str]:
    return dict(os.environ)
