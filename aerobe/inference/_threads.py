"""Linear algebra on one thread: for matrices of twenty rows the others only spin, and take cores from the solver."""

from __future__ import annotations

from contextlib import AbstractContextManager
from functools import cache
from typing import Any


@cache
def _pools() -> Any:
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


def one_blas_thread() -> AbstractContextManager[Any]:
    """While it is entered, matrix products use one thread; the solver's own threads are left alone."""
    limit: AbstractContextManager[Any] = _pools().limit(limits=1, user_api="blas")
    return limit
