"""Many independent pieces of a benchmark on several cores; what comes out does not depend on how many."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import TypeVar

Piece = TypeVar("Piece")
Made = TypeVar("Made")


def side_by_side(work: Callable[[Piece], Made], pieces: Sequence[Piece], jobs: int) -> Iterator[Made]:
    """The results in the order of the pieces; with one job in this process."""
    if jobs <= 1:
        yield from map(work, pieces)
        return
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        yield from pool.map(work, pieces)


def chunks(total: int, size: int) -> list[int]:
    """So many trials cut into pieces of at most this size."""
    return [min(size, total - start) for start in range(0, total, size)]


def arguments(words: str, counted: str, default: int) -> argparse.Namespace:
    """The command line that benchmarks of many trials share: how many, how many jobs, and which cases."""
    parser = argparse.ArgumentParser(description=words, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(counted, type=int, nargs="?", default=default, help=f"of each kind (default {default})")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side (default 1)")
    parser.add_argument("--only", default="", help="only kinds whose name holds this text")
    return parser.parse_args()
