"""Trials that agree more closely than chance allows: one trial sent again with its numbers shaken a little.

Two honest trials of the same pair differ by their errors, and the errors themselves differ, being estimated from a few
brews. For trials i of one truth, sum((y_i - mean)^2 / v_i) follows chi-squared, and so, roughly, does the scatter of ln v_i
over what its degrees of freedom allow; a spread between trials only makes both larger. Copies with a little noise make both
far too small.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.evidence._effects import Contrast

Array = NDArray[np.float64]
# One honest pool in a hundred may lose a trial to this; it then says so, and the person can ask.
TOO_ALIKE = 0.01
# Nor is anything claimed from trials that together agree so closely; of honest pools that costs one in twenty at most.
CLOSE_TOGETHER = 0.05
LARGEST_GROUP = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """A group of trials that look like one."""

    places: tuple[int, ...]  # in the order given; the first is kept
    p: float  # chance that this many honest trials among all agree so closely, at most [-]


def too_alike(contrasts: Sequence[Contrast]) -> tuple[Alike, ...]:
    """Groups of trials of one pair that agree too closely to be independent, largest first; a trial is in one group.

    Parameters
    ----------
    contrasts
        Of one outcome and one pair of recipes, all in one direction. [ln ratio]

    Returns
    -------
    tuple of Alike
        Groups, with the chance of such agreement among honest trials (corrected for the number of groups looked at).

    Source
    ------
    fisher-1936
    """
    left = list(range(len(contrasts)))
    found: list[Alike] = []
    while len(left) > 1:
        group = _largest_group([contrasts[i] for i in left])
        if group is None:
            break
        members = tuple(sorted(left[i] for i in group.places))
        found.append(Alike(places=members, p=group.p))
        left = [i for i in left if i not in members]
    return tuple(found)


def agreement(contrasts: Sequence[Contrast]) -> float:
    """Chance that all these trials, if independent and of one truth, would agree at least so closely. [-]

    Copies shaken so much that no group of them can be told from honest trials are still too near each other together.
    """
    if len(contrasts) < 2:
        return 1.0
    y, v, free = _numbers(contrasts)
    return _chance(y, v, free)


def _numbers(contrasts: Sequence[Contrast]) -> tuple[Array, Array, Array]:
    return (
        np.array([item.effect for item in contrasts]),
        np.array([item.variance for item in contrasts]),
        np.array([item.error_df() for item in contrasts]),
    )


def _largest_group(contrasts: Sequence[Contrast]) -> Alike | None:
    """The largest group around any trial whose agreement chance would hardly bring about; the closest of those of one size."""
    y, v, free = _numbers(contrasts)
    distance = _distance(y, v, free)
    best: Alike | None = None
    for seed in range(len(y)):
        near = np.argsort(distance[seed], kind="stable")[:LARGEST_GROUP]
        for size in range(2, len(near) + 1):
            places = near[:size]
            p = _chance(y[places], v[places], free[places]) * math.comb(len(y), size)
            if p < TOO_ALIKE and (best is None or (-size, p) < (-len(best.places), best.p)):
                best = Alike(places=tuple(int(i) for i in places), p=float(p))
    return best


def _distance(y: Array, v: Array, free: Array) -> Array:
    apart = (y[:, None] - y[None, :]) ** 2 / (v[:, None] + v[None, :])
    errors = (np.log(v)[:, None] - np.log(v)[None, :]) ** 2
    known = (free[:, None] > 0.0) & (free[None, :] > 0.0)
    scale = np.where(known, 2.0 / np.maximum(free[:, None], 1.0) + 2.0 / np.maximum(free[None, :], 1.0), 1.0)
    return np.asarray(apart + np.where(known, errors / scale, 0.0))


def _chance(y: Array, v: Array, free: Array) -> float:
    """Chance that independent trials of one truth would agree at least as closely in effect and in error."""
    from scipy.special import chdtr

    weight = 1.0 / v
    statistic = float(np.sum(weight * (y - np.average(y, weights=weight)) ** 2))
    df = len(y) - 1.0
    # Errors that are the very same number were assumed or copied from one source, not estimated: they say nothing.
    if np.all(free > 0.0) and np.ptp(np.log(v)) > 1e-9:
        statistic += float(np.sum((np.log(v) - np.mean(np.log(v))) ** 2 * free / 2.0))
        df *= 2.0
    return float(chdtr(df, statistic))
