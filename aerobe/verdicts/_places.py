"""A place in the order of arms."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One arm in the order of arms."""

    arm: str
    against_average: float  # log ratio (or difference) to the average arm [-]
    best_place: int  # 1 is best
    worst_place: int
    probability_best: float  # [-]
