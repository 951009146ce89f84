"""Memory of a server that runs for months: what is free goes back to the system, and threads share few heaps.

The C library of Linux keeps a heap for every few threads and what was freed in each; a call worked out now and then in another
thread leaves holes in all of them, and the process grows although nothing in it does.
"""

from __future__ import annotations

import ctypes
from functools import lru_cache

HEAPS = 2
_ARENA_MAX = -8  # M_ARENA_MAX of glibc's malloc.h


def share_heaps() -> bool:
    """Let all threads share a few heaps. To be asked for before the threads begin; False where the system has no such thing."""
    system = _c_library()
    return system is not None and bool(system.mallopt(_ARENA_MAX, HEAPS))


def give_back_memory() -> bool:
    """Give what is free back to the system; False where it has no such thing or nothing was free."""
    system = _c_library()
    return system is not None and bool(system.malloc_trim(0))


@lru_cache(maxsize=1)
def _c_library() -> ctypes.CDLL | None:
    try:
        found = ctypes.CDLL(None)
    except (OSError, TypeError):  # Windows has no such way in
        return None
    return found if hasattr(found, "mallopt") and hasattr(found, "malloc_trim") else None
