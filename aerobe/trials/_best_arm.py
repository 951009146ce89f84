"""Which arm to brew next when the question is which is best: two leaders share the brews, and stopping is always an answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotEnoughData, UnusableRecord

Array = NDArray[np.float64]
DRAWS = 4000
SURE = 0.9  # chance of being the best, or within the margin of it, at which going on is seldom worth the brews
PRIOR_LOG_SD = 1.0  # of arms around their common mean: two thirds of recipes within a factor of 2.7 (ours, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRound:
    """Brews of each arm for the next round, and whether to stop instead."""

    brews: tuple[int, ...]  # of each arm
    best: int  # arm that leads now
    probability_best: tuple[float, ...]
    probability_good: float  # that the leader is the best or within the margin of it
    loss: float  # expected shortfall of the leader against the best [ln ratio]
    may_stop: bool


def next_round(
    values: Sequence[float],
    arms: Sequence[int],
    n_arms: int,
    brews: int,
    *,
    margin: float,
    sd: float | None = None,
    seed: int = 1,
) -> NextRound:
    """Allocate the next brews by top-two Thompson sampling.

    A draw from what is believed names a leader, further draws its challenger; each gets a brew in turn. Arms that cannot be
    the best soon get none, and the leader is kept honest by its challengers.

    Parameters
    ----------
    values
        Log outcome of each brew so far, higher is better, blocks taken out, shape (brews,). [-]
    arms
        Arm of each brew, from 0. [-]
    n_arms
        Arms in all; one without a brew is still believed to be like the others. [-]
    brews
        Brews of the next round. [-]
    margin
        A difference worth having. [ln ratio]
    sd
        Scatter between brews; estimated within arms if left out. [ln]
    seed
        Same seed, same round. [-]

    Raises
    ------
    NotEnoughData
        If nothing tells how much brews differ.
    UnusableRecord
        If there is nothing to choose from or no brew to place.

    Source
    ------
    russo-2020, thompson-1933
    """
    if n_arms < 2 or brews < 1:
        raise UnusableRecord("There is nothing to choose from.", "Name two arms or more, and at least one brew.")
    y, place = np.asarray(values, dtype=float), np.asarray(arms, dtype=int)
    spread = _scatter(y, place, n_arms) if sd is None else sd
    mean, error = believed(y, place, n_arms, spread)
    rng = np.random.default_rng(seed)
    drawn = rng.normal(mean, error, (DRAWS, n_arms))
    chance = np.bincount(drawn.argmax(axis=1), minlength=n_arms) / DRAWS
    best = int(np.argmax(mean))
    short = drawn.max(axis=1) - drawn[:, best]
    good = float(np.mean(short <= margin))
    return NextRound(
        brews=tuple(int(count) for count in _top_two(mean, error, brews, rng)),
        best=best,
        probability_best=tuple(float(share) for share in chance),
        probability_good=good,
        loss=float(short.mean()),
        may_stop=good >= SURE,
    )


def believed(y: Array, arms: NDArray[np.int_], n_arms: int, sd: float) -> tuple[Array, Array]:
    """Posterior mean and error of each arm: its brews, drawn towards the common mean as far as the prior says. [ln]"""
    counts = np.bincount(arms, minlength=n_arms).astype(float)
    sums = np.bincount(arms, weights=y, minlength=n_arms)
    centre = float(np.mean(sums[counts > 0] / counts[counts > 0])) if counts.any() else 0.0
    precision = counts / sd**2 + PRIOR_LOG_SD**-2
    return (sums / sd**2 + centre * PRIOR_LOG_SD**-2) / precision, 1.0 / np.sqrt(precision)


def _scatter(y: Array, arms: NDArray[np.int_], n_arms: int) -> float:
    counts = np.bincount(arms, minlength=n_arms)
    free = int(np.sum(np.maximum(counts - 1, 0)))
    if free < 1:
        raise NotEnoughData("No arm was brewed twice.", "Brew one arm again, or give the scatter between brews.")
    means = np.bincount(arms, weights=y, minlength=n_arms) / np.maximum(counts, 1)
    return max(math.sqrt(float(np.sum((y - means[arms]) ** 2)) / free), 1e-6)


def _top_two(mean: Array, error: Array, brews: int, rng: np.random.Generator) -> NDArray[np.int_]:
    counts = np.zeros(len(mean), dtype=int)
    for _ in range(brews):
        leader = int(rng.normal(mean, error).argmax())
        if rng.random() < 0.5:
            counts[leader] += 1
            continue
        for _again in range(200):
            challenger = int(rng.normal(mean, error).argmax())
            if challenger != leader:
                break
        else:  # the leader is all but certain: its nearest rival stands in
            rivals = mean + error
            rivals[leader] = -np.inf
            challenger = int(rivals.argmax())
        counts[challenger] += 1
    return counts
