"""Several arms in order, with the range of places each may truly hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._calls import call_contrasts
from aerobe.verdicts._core import Layout, fit_effects, is_estimable
from aerobe.verdicts._simultaneous import all_pairs, joint_t

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One arm in the order of arms."""

    arm: str
    against_average: float  # log ratio (or difference) to the average arm [-]
    best_place: int  # 1 is best
    worst_place: int
    probability_best: float  # [-]


def rank_arms(
    keys: Sequence[str], outcomes: Array, layout: Layout, *, test_variance: Array | None, higher_is_better: bool
) -> tuple[Place, ...]:
    """Arms from best to worst; places from all pairs compared together at 95 %.

    Source
    ------
    rank-sets-2022, tukey-1949
    """
    arms = len(keys)
    pairs = all_pairs(arms)
    if layout.df < 1 or not is_estimable(layout, pairs).all():
        return ()
    sign = 1.0 if higher_is_better else -1.0
    calls = call_contrasts(fit_effects(sign * outcomes, layout, pairs, test_variance), 0.0)
    above = np.zeros(arms, dtype=int)
    below = np.zeros(arms, dtype=int)
    for row, is_above, is_below in zip(pairs, calls.above, calls.below, strict=True):
        first, second = int(np.argmin(row)), int(np.argmax(row))
        better, worse = (second, first) if is_above else (first, second)
        if is_above or is_below:
            below[better] += 1
            above[worse] += 1
    centred = np.eye(arms) - 1.0 / arms
    effects = fit_effects(sign * outcomes, layout, centred, test_variance)
    centre = effects.mean()
    spread = np.asarray((effects.scale * effects.weight[..., None]).sum(axis=-2))
    draws = centre + spread * joint_t(effects.correlation, float(layout.df))
    best = np.bincount(draws.argmax(axis=1), minlength=arms) / len(draws)
    places = [
        Place(
            arm=key,
            against_average=float(sign * centre[i]),
            best_place=int(1 + above[i]),
            worst_place=int(arms - below[i]),
            probability_best=float(best[i]),
        )
        for i, key in enumerate(keys)
    ]
    return tuple(sorted(places, key=lambda place: -sign * place.against_average))
