"""How many cores the work takes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import cache
from typing import Any


@cache
def _pools() -> Any:
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


def one_blas_thread() -> AbstractContextManager[Any]:
    """While it is entered, matrix products use one thread; the solver's own threads are left alone.

    For matrices of twenty rows the others only spin, and take cores from the solver.
    """
    limit: AbstractContextManager[Any] = _pools().limit(limits=1, user_api="blas")
    return limit


@contextmanager
def on_one_core() -> Iterator[None]:
    """While it is entered, this thread's courses are computed on one core: for work that nobody waits for."""
    import numba

    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        yield
    finally:
        numba.set_num_threads(before)
