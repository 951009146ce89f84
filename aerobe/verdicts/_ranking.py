"""Several arms in order, with the range of places each may truly hold."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._calls import call_contrasts
from aerobe.verdicts._compare import effects_of
from aerobe.verdicts._evidence import Evidence
from aerobe.verdicts._interim import Allowance
from aerobe.verdicts._layout import is_estimable
from aerobe.verdicts._places import Place
from aerobe.verdicts._simultaneous import all_pairs, joint_t

Array = NDArray[np.float64]


def rank_arms(keys: Sequence[str], evidence: Evidence, *, higher_is_better: bool, allowance: Allowance) -> tuple[Place, ...]:
    """Arms from best to worst; places from all pairs compared together.

    Source
    ------
    rank-sets-2022, games-howell-1976
    """
    arms = len(keys)
    pairs = all_pairs(arms)
    layout = evidence.layout
    if layout.df < 1 or not is_estimable(layout, pairs).all():
        return ()
    sign = 1.0 if higher_is_better else -1.0
    found, _ = effects_of(evidence, sign * pairs)
    if not found.known.all():
        return ()
    calls = call_contrasts(found, 0.0, allowance=allowance)
    above = np.zeros(arms, dtype=int)
    below = np.zeros(arms, dtype=int)
    for row, is_above, is_below in zip(pairs, calls.above, calls.below, strict=True):
        first, second = int(np.argmin(row)), int(np.argmax(row))
        better, worse = (second, first) if is_above else (first, second)
        if is_above or is_below:
            below[better] += 1
            above[worse] += 1
    centred = np.eye(arms) - 1.0 / arms
    effects, _ = effects_of(evidence, sign * centred)
    centre = effects.mean()
    draws = centre + effects.error * joint_t(effects.correlation, float(effects.df.min()))
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
