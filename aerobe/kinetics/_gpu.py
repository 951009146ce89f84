# mypy: disable-error-code="attr-defined,no-untyped-def"
"""The same scalar functions on a CUDA card: one thread a brew."""

from __future__ import annotations

from typing import Any

import numba
from numba import cuda

from aerobe.kinetics._compiled import N_STATES, carry_one

_THREADS = 64


@cuda.jit
def _kernel(start, parameters, growth, shared, scale, times, tolerance, out):
    n = cuda.grid(1)
    if n < start.shape[0]:
        y = cuda.local.array(N_STATES, numba.float64)
        work = cuda.local.array((12, N_STATES), numba.float64)
        matrix = cuda.local.array((N_STATES, N_STATES), numba.float64)
        pivots = cuda.local.array(N_STATES, numba.int64)
        left = cuda.local.array(4, numba.float64)
        right = cuda.local.array(4, numba.float64)
        carry_one(
            start[n],
            parameters[n],
            growth[n],
            shared,
            scale[n],
            times,
            tolerance,
            out[n],
            y,
            work,
            matrix,
            pivots,
            left,
            right,
        )


def run_on_gpu(start: Any, parameters: Any, growth: Any, shared: Any, scale: Any, times: Any, tolerance: float, out: Any) -> None:
    """Fill `out`, shape (brews, times, states), on the card; arrays are moved there and back."""
    on_card = cuda.device_array(out.shape)
    blocks = (len(start) + _THREADS - 1) // _THREADS
    moved = [cuda.to_device(item) for item in (start, parameters, growth, shared, scale, times)]
    _kernel[blocks, _THREADS](*moved, tolerance, on_card)
    on_card.copy_to_host(out)
