"""Trials whose brews scatter alike: the results of one trial under another name, shaken, rescaled or with some of them left out.

A factor on all results of an arm (another unit, another ratio) leaves the scatter of its brews as it was, so results are looked
at as logs about the mean of their arm. Two questions are asked. Are the sorted results of one arm those of another, or of some of
its brews? Do results follow each other brew by brew, in the order in which they were sent? Brews of an arm come in no order that
another place could share, so neither happens often among honest trials.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from functools import cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from aerobe.evidence._effects import TrialContrast

Array = NDArray[np.float64]
FEWEST = 3  # two results about their mean are one number, which says little
_MOST_CHOICES = 1000  # ways to leave brews out that are tried
_LEAST_GRAIN = 1e-4  # results are kept to five digits [ln]
_WAYS = 12  # of pairing arms: both with both or crossed, and each with each; sorted, or as they were sent


def same_numbers(first: TrialContrast, second: TrialContrast) -> float:
    """Chance that two honest trials have results of brews as near to each other as these, whatever their order, at most. [-]

    The results of the larger trial are given; those of the smaller fall into a ball about some of them. Its chance is the volume
    of the ball times the density there (a t law of 3 degrees of freedom, since single brews go astray), for each of the ways in
    which results can be ordered and chosen, or for the one order in which they were sent.
    """
    grain = (max(first.grain, _LEAST_GRAIN) ** 2 + max(second.grain, _LEAST_GRAIN) ** 2) / 12.0
    arms, others = ((np.asarray(item.results), np.asarray(item.results_against)) for item in (first, second))
    scales = _scales((*arms, *others))
    if scales is None:
        return 1.0
    logs = []
    for near in (_match, _match_in_order):
        found = {(i, j): near(arms[i], others[j], scales) for i in range(2) for j in range(2)}
        for pairs in (*([pair] for pair in found), [(0, 0), (1, 1)], [(0, 1), (1, 0)]):
            matches = [match for pair in pairs if (match := found[pair]) is not None]
            if len(matches) == len(pairs):
                logs.append(_log_chance(matches, grain))
    return min(1.0, _WAYS * math.exp(min(0.0, min(logs)))) if logs else 1.0


def grain_of(signals: Sequence[float]) -> float:
    """Step of the last digit that numbers were written with, over their middle: what rounding can do to two that agree. [ln]"""
    told = [signal for signal in signals if signal > 0.0 and math.isfinite(signal)]
    if not told:
        return 0.0
    last = min(int(Decimal(repr(float(signal))).normalize().as_tuple().exponent) for signal in told)
    return 10.0**last / float(np.median(told))


def scores(item: TrialContrast) -> Array:
    """Normal scores of a trial's results about the mean of their arm, as a vector of length one; empty where there are too few.

    Scores of ranks, so that one brew gone astray does not decide.
    """
    from scipy.special import ndtri
    from scipy.stats import rankdata

    arms = [np.asarray(item.results), np.asarray(item.results_against)]
    if min(len(arm) for arm in arms) < FEWEST:
        return np.array([])
    ranks = rankdata(np.concatenate([arm - arm.mean() for arm in arms]))
    scored = np.split(np.asarray(ndtri((ranks - 0.375) / (len(ranks) + 0.25))), [len(arms[0])])
    vector = np.concatenate([arm - arm.mean() for arm in scored])
    length = float(np.linalg.norm(vector))
    return vector / length if length > 0.0 else np.array([])


def same_order(vectors: Array, arms: tuple[int, int]) -> float:
    """Chance that results of honest trials follow each other brew by brew as closely as these. [-]

    Parameters
    ----------
    vectors
        Scores of the trials, shape (trials, brews).
    arms
        Brews of each arm.

    Notes
    -----
    For two trials it is the test of their correlation, for more the F test of what the trials share.

    Source
    ------
    fisher-1936
    """
    from scipy.special import fdtrc

    count, free = len(vectors), vectors.shape[1] - 3.0
    shared = count * float(np.sum(vectors.mean(axis=0) ** 2))
    ratio = shared * (count - 1.0) / max(count - shared, 1e-12)
    least = math.exp(-(count - 1.0) * sum(math.lgamma(size + 1.0) for size in arms))  # no order is rarer than one of all
    return max(float(fdtrc(free, free * (count - 1.0), ratio)), least)


def _scales(arms: Sequence[Array]) -> Array | None:
    """Scatters that brews of these trials may have: nobody knows it from so few, so the one that makes a coincidence likeliest
    counts. [ln]
    """
    sizes = [float(np.std(arm, ddof=1)) for arm in arms if len(arm) >= FEWEST]
    sizes += [1.4826 * float(np.median(np.abs(arm - np.median(arm)))) for arm in arms if len(arm) >= FEWEST]
    told = [size for size in sizes if size > 0.0]
    return np.geomspace(min(told), max(told), 5) if told else None


Match = tuple[float, int, float]  # squared distance, dimensions, log of density times ways


def _match(one: Array, other: Array, scales: Array) -> Match | None:
    """How near the results of the smaller arm are to the nearest choice of the larger one's, up to a factor on all."""
    short, long = sorted((np.sort(one), np.sort(other)), key=len)
    if len(short) < FEWEST or math.comb(len(long), len(short)) > _MOST_CHOICES:
        return None
    chosen = long[_choices(len(long), len(short))]
    away = short - chosen
    away = away - away.mean(axis=1, keepdims=True)
    distance = np.sum(away**2, axis=1)
    best = int(np.argmin(distance))
    size = len(short)
    ways = math.lgamma(size + 1.0) + math.log(len(chosen))
    return float(distance[best]), size - 1, ways + _log_density(chosen[best] - chosen[best].mean(), scales)


def _match_in_order(one: Array, other: Array, scales: Array) -> Match | None:
    """The same for arms of one size whose brews stand as they were sent."""
    if len(one) != len(other) or len(one) < FEWEST:
        return None
    about = other - other.mean()
    return float(np.sum((one - one.mean() - about) ** 2)), len(one) - 1, _log_density(about, scales)


@cache
def _choices(size: int, taken: int) -> NDArray[np.int64]:
    return np.array(list(combinations(range(size), taken)))


def _log_density(points: Array, scales: Array) -> float:
    """Log density of these results about their mean, wherever that lies: the joint t density integrated along the mean."""
    moves = scales[:, None] * np.linspace(-4.0, 4.0, 65)
    z = (points + moves[..., None]) / scales[:, None, None]
    logs = np.sum(math.log(6.0 * math.sqrt(3.0) / math.pi) - 2.0 * np.log(3.0 + z**2) - np.log(scales)[:, None, None], axis=2)
    density = np.exp(logs).sum(axis=1) * (moves[:, 1] - moves[:, 0]) * math.sqrt(len(points))
    return math.log(max(float(density.max()), 1e-300))


def _log_chance(matches: Sequence[Match], grain: float) -> float:
    dims = sum(match[1] for match in matches)
    radius2 = sum(match[0] for match in matches) + dims * grain
    volume = 0.5 * dims * math.log(math.pi * radius2) - math.lgamma(0.5 * dims + 1.0)
    return volume + sum(match[2] for match in matches)
