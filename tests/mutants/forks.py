"""Work done in forked processes, some at a time: what one of them loads, changes or breaks stays its own."""

from __future__ import annotations

import os
import resource
import signal
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, TypeVar

Key = TypeVar("Key")
STUCK = 20.0  # a process that waits for ever spends no processor time; by the clock it may take this many times its limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Work(Generic[Key]):
    """Something to do apart, what it is known by, and the processor time it may take [s]."""

    key: Key
    do: Callable[[], int]
    limit_s: float


def finished(works: Iterable[Work[Key]], jobs: int) -> Iterator[tuple[Key, int]]:
    """Each work as it ends, with its exit code, below 0 for the signal that ended it; `jobs` run at a time, silent."""
    waiting, running = iter(works), dict[int, Key]()
    while True:
        while len(running) < jobs and (work := next(waiting, None)) is not None:
            running[_start(work.do, work.limit_s)] = work.key
        if not running:
            return
        child, status = os.wait()
        if child in running:
            yield running.pop(child), os.waitstatus_to_exitcode(status)


def _start(work: Callable[[], int], limit_s: float) -> int:
    child = os.fork()
    if child:
        return child
    code = 70
    try:
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s), int(limit_s) + 5))
        signal.alarm(int(STUCK * limit_s))
        quiet = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(quiet, stream)
        code = work()
    finally:
        os._exit(code)
