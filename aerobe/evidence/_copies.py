"""Trials that agree more closely than chance allows: one trial sent again with its numbers shaken a little.

Two honest trials of the same pair differ by their errors, and the errors themselves differ, being estimated from a few
brews. For trials i of one truth, sum((y_i - mean)^2 / v_i) follows chi-squared, and so, roughly, does the scatter of ln v_i
over what its degrees of freedom allow; a spread between trials only makes both larger. Copies with a little noise make both
far too small.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from aerobe.evidence._effects import TrialContrast
from aerobe.evidence._patterns import FEWEST, same_numbers, same_order, scores

Array = NDArray[np.float64]
Places = NDArray[np.int64]
# So many honest pools may lose a trial to each; it is said, and the person can ask.
BY_RATIO, BY_ORDER, BY_NUMBERS = 0.01, 0.001, 0.003
# Nor is anything claimed from trials that together agree so closely; of honest pools that costs one in twenty at most.
CLOSE_TOGETHER = 0.05
LARGEST_GROUP = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """A group of trials that look like one."""

    places: tuple[int, ...]  # in the order given; the first is kept
    p: float  # chance that this many honest trials among all agree so closely, at most [-]
    by: str  # what is alike: "ratio and error", "results" of brews, or their "order"


def too_alike(contrasts: Sequence[TrialContrast]) -> tuple[Alike, ...]:
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
        here = [contrasts[i] for i in left]
        group = _of_same_numbers(here) or _largest_group(here)
        if group is None:
            break
        members = tuple(sorted(left[i] for i in group.places))
        found.append(Alike(places=members, p=group.p, by=group.by))
        left = [i for i in left if i not in members]
    return tuple(found)


def agreement(contrasts: Sequence[TrialContrast]) -> float:
    """Chance that all these trials, if independent and of one truth, would agree at least so closely. [-]

    Copies shaken so much that no group of them can be told from honest trials are still too near each other together.
    """
    if len(contrasts) < 2:
        return 1.0
    y, v, free = _numbers(contrasts)
    return _chance(y, v, free)


def _numbers(contrasts: Sequence[TrialContrast]) -> tuple[Array, Array, Array]:
    return (
        np.array([item.effect for item in contrasts]),
        np.array([item.variance for item in contrasts]),
        np.array([item.error_df() for item in contrasts]),
    )


@dataclass(frozen=True, slots=True)
class _View:
    """One way in which trials can be alike: how far apart they are by it, and the chance that some are so near by accident."""

    by: str
    members: tuple[int, ...]  # trials that can be seen so
    distance: Array
    chance: Callable[[Places], float]  # of the members at these places
    bar: float


def _views(contrasts: Sequence[TrialContrast]) -> list[_View]:
    y, v, free = _numbers(contrasts)
    views = [
        _View(
            "ratio and error", tuple(range(len(y))), _distance(y, v, free), lambda at: _chance(y[at], v[at], free[at]), BY_RATIO
        )
    ]
    sizes = [(len(item.results), len(item.results_against)) for item in contrasts]
    vectors = [scores(item) for item in contrasts]
    for arms in dict.fromkeys(sizes):
        members = tuple(i for i, size in enumerate(sizes) if size == arms and len(vectors[i]))
        if len(members) > 1 and sum(arms) > 2 * FEWEST:
            drawn = np.array([vectors[i] for i in members])
            views.append(_View("order", members, 1.0 - drawn @ drawn.T, partial(_chance_of_order, drawn, arms), BY_ORDER))
    return views


def _chance_of_order(vectors: Array, arms: tuple[int, int], at: Places) -> float:
    return same_order(vectors[at], arms)


def _largest_group(contrasts: Sequence[TrialContrast]) -> Alike | None:
    """The largest group around any trial whose agreement chance would hardly bring about; the closest of those of one size."""
    best: Alike | None = None
    for view in _views(contrasts):
        for seed in range(len(view.members)):
            near = np.argsort(view.distance[seed], kind="stable")[:LARGEST_GROUP]
            for size in range(2, len(near) + 1):
                p = view.chance(near[:size]) * math.comb(len(view.members), size)
                if p < view.bar and (best is None or (-size, p) < (-len(best.places), best.p)):
                    best = Alike(places=tuple(view.members[i] for i in near[:size]), p=float(p), by=view.by)
    return best


def _of_same_numbers(contrasts: Sequence[TrialContrast]) -> Alike | None:
    """All trials that share their results with the first of them, or with one that does."""
    told = [i for i, item in enumerate(contrasts) if max(len(item.results), len(item.results_against)) >= FEWEST]
    pairs = math.comb(len(told), 2)
    chances = {(i, j): pairs * same_numbers(contrasts[i], contrasts[j]) for i, j in combinations(told, 2)}
    linked = {pair: p for pair, p in chances.items() if p < BY_NUMBERS}
    if not linked:
        return None
    group = set(min(linked.items(), key=lambda item: item[1])[0])
    while wider := {i for pair in linked if group & set(pair) for i in pair} - group:
        group |= wider
    return Alike(places=tuple(sorted(group)), p=min(linked.values()), by="results")


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
