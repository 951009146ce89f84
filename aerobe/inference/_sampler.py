"""Draws from a posterior by adaptive importance sampling.

1. A cloud from the prior finds where the data pull. 2. Descents from the best and most different points give modes and
curvatures. 3. A mixture of multivariate t around the modes, with the prior kept in as a guard, proposes; every point
ever drawn is weighted against the mixture of all proposals (owen-zhou-2000, cornuet-2012). 4. The mixture learns from
the weighted points and proposes again until the weights are even enough. Weights are checked by the shape of their tail
(vehtari-2024); a sample that fails the check says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._modes import descend

Array = NDArray[np.float64]

DEGREES = 12.0  # of the t proposals
KHAT_LIMIT = 0.7  # vehtari-2024
LEAST_EFFECTIVE = 100.0  # points below which intervals are too rough to act on
GUARD = 0.05  # share of proposals drawn from the prior in each round


class Target(Protocol):
    """A density over scores w whose prior is standard normal."""

    size: int

    def log_likelihood(self, w: Array) -> Array:
        """Shape (n,); nan where a point cannot be."""

    def residuals(self, w: Array) -> Array:
        """Residuals whose half sum of squares is about minus the log posterior, shape (n, data + size)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Equally weighted draws and how far they can be trusted.

    Parameters
    ----------
    w
        Scores, shape (draws, size).
    effective
        Effective sample size of the weights before resampling. [-]
    khat
        Tail shape of the weights; above 0.7 they are not to be trusted. [-]
    log_evidence
        Log of the marginal likelihood. [-]
    rounds
        Rounds of proposals used.
    runs
        Model runs used.
    """

    w: Array
    effective: float
    khat: float
    log_evidence: float
    rounds: int
    runs: int

    @property
    def settled(self) -> bool:
        """Whether weights are even enough to stand behind the numbers."""
        return _settled(self.effective, self.khat)


def _settled(effective: float, khat: float) -> bool:
    return khat < KHAT_LIMIT and effective >= LEAST_EFFECTIVE


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How hard to try."""

    cloud: int = 512  # prior points
    starts: int = 3  # descents
    descent_rounds: int = 8
    batch: int = 128  # points a round
    most_rounds: int = 80
    enough: float = 300.0  # effective points at which proposing ends
    draws: int = 1000


@dataclass(frozen=True, slots=True, eq=False)
class _Bell:
    """A multivariate t: mean, and lower Cholesky factor of its scale matrix."""

    mean: Array
    root: Array

    def log_density(self, w: Array) -> Array:
        """Of points, shape (n,)."""
        from scipy.special import gammaln

        size = len(self.mean)
        constant = gammaln(0.5 * (DEGREES + size)) - gammaln(0.5 * DEGREES) - 0.5 * size * np.log(DEGREES * np.pi)
        # The factor is small and well conditioned: one inverse and a product are far quicker than a triangular solve
        # with thousands of right sides, and agree to rounding.
        scaled = (w - self.mean) @ np.linalg.inv(self.root).T
        distance = np.sum(scaled**2, axis=1)
        height = constant - np.sum(np.log(np.diag(self.root)))
        return np.asarray(height - 0.5 * (DEGREES + size) * np.log1p(distance / DEGREES))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    bell: _Bell
    share: float


def normal_points(count: int, size: int, seed: int) -> Array:
    """Scrambled Sobol points turned standard normal, shape (count, size)."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    power = int(np.ceil(np.log2(max(count, 2))))
    uniform = qmc.Sobol(size, scramble=True, rng=np.random.default_rng(seed)).random_base2(power)[:count]
    return np.asarray(ndtri(np.clip(uniform, 1e-12, 1.0 - 1e-12)))


def sample(
    target: Target,
    *,
    seed: int,
    effort: Effort | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> Draws:
    """Draws from prior times likelihood.

    Parameters
    ----------
    target
        The density.
    seed
        Fixes every random number: same target, same seed, same draws.
    effort
        How hard to try.
    progress
        Called with the share of the work done.

    Source
    ------
    owen-zhou-2000, cornuet-2012, vehtari-2024
    """
    effort = effort or Effort()
    rng = np.random.default_rng([seed, 7])
    w = normal_points(effort.cloud, target.size, seed)
    pool = _Pool(w, target.log_likelihood(w))
    progress(0.2)
    runs = len(w)
    if pool.effective() < 0.5 * len(w):
        parts, used = _modes_of(target, pool, effort)
        runs += used
        progress(0.5)
        for round_ in range(effort.most_rounds):
            fresh = _propose(parts, effort.batch, target.size, rng)
            pool.add(fresh, target.log_likelihood(fresh), parts)
            runs += len(fresh)
            progress(0.5 + 0.5 * (round_ + 1) / effort.most_rounds)
            # Past half the rounds a sample that has settled will do: the last brews in a hundred would take seconds.
            late = 2 * round_ >= effort.most_rounds
            if pool.effective() >= effort.enough or (late and _settled(pool.effective(), tail_shape(pool.weights()))):
                break
            parts = _learn(pool, parts)
    weights = pool.weights()
    chosen = _systematic(weights, effort.draws, rng)
    return Draws(
        w=pool.w[chosen],
        effective=pool.effective(),
        khat=tail_shape(weights),
        log_evidence=pool.log_evidence(),
        rounds=pool.rounds,
        runs=runs,
    )


class _Pool:
    """All points so far, each weighted against the mixture of all that proposed them."""

    def __init__(self, w: Array, like: Array) -> None:
        self.w = w
        self.log_prior = -0.5 * np.sum(w**2, axis=1)
        self.log_post = np.where(np.isfinite(like), like, -np.inf) + self.log_prior
        self.rounds = 0
        # How many points each proposal has been asked for, and its log density at all points.
        self.from_prior = float(len(w))
        self.asked: dict[_Bell, float] = {}
        self.heights: dict[_Bell, Array] = {}
        self.log_mix = self._mixed()

    def add(self, w: Array, like: Array, parts: list[_Part]) -> None:
        self.rounds += 1
        log_prior = -0.5 * np.sum(w**2, axis=1)
        self.w = np.concatenate([self.w, w])
        self.log_prior = np.concatenate([self.log_prior, log_prior])
        self.log_post = np.concatenate([self.log_post, np.where(np.isfinite(like), like, -np.inf) + log_prior])
        for bell, height in self.heights.items():
            self.heights[bell] = np.concatenate([height, bell.log_density(w)])
        self.from_prior += GUARD * len(w)
        for part in parts:
            if part.bell not in self.heights:
                self.heights[part.bell] = part.bell.log_density(self.w)
            self.asked[part.bell] = self.asked.get(part.bell, 0.0) + part.share * len(w)
        self.log_mix = self._mixed()

    def _mixed(self) -> Array:
        """Log of the sum over proposals of count times density, shape (points,)."""
        rows = [np.log(self.from_prior) + self.log_prior + _NORM(self.w.shape[1])]
        rows += [np.log(self.asked[bell]) + height for bell, height in self.heights.items()]
        stacked = np.stack(rows)
        top = stacked.max(axis=0)
        return np.asarray(top + np.log(np.exp(stacked - top).sum(axis=0)))

    def log_weights(self) -> Array:
        return np.asarray(self.log_post + _NORM(self.w.shape[1]) - self.log_mix)

    def weights(self) -> Array:
        log_w = self.log_weights()
        top = np.max(log_w)
        if not np.isfinite(top):
            return np.full(len(log_w), 1.0 / len(log_w))
        w = np.exp(log_w - top)
        return np.asarray(w / w.sum())

    def effective(self) -> float:
        return float(1.0 / np.sum(self.weights() ** 2))

    def log_evidence(self) -> float:
        log_w = self.log_weights()
        top = float(np.max(log_w))
        return top + float(np.log(np.sum(np.exp(log_w - top)))) if np.isfinite(top) else float("-inf")


def _NORM(size: int) -> float:
    return -0.5 * size * float(np.log(2.0 * np.pi))


def _modes_of(target: Target, pool: _Pool, effort: Effort) -> tuple[list[_Part], int]:
    starts = _different_starts(pool, effort.starts)
    modes = descend(target.residuals, starts, rounds=effort.descent_rounds, difference=1e-2, small=2e-2)
    size = target.size
    bells, scores = [], []
    post = target.log_likelihood(modes.points) - 0.5 * np.sum(modes.points**2, axis=1)
    for index in range(len(starts)):
        if not np.isfinite(post[index]):
            continue
        jacobian = modes.jacobians[index]
        precision = jacobian.T @ jacobian
        values, vectors = np.linalg.eigh(precision)
        # No direction is known less well than the prior says, none better than 1 in 200 of it.
        values = np.clip(values, 1.0, 4e4)
        root = np.linalg.cholesky((vectors * (1.2 / values)) @ vectors.T)
        scores.append(post[index] + float(np.sum(np.log(np.diag(root)))))
        bells.append(_Bell(modes.points[index], root))
    if not bells:
        return [_Part(bell=_Bell(np.zeros(size), np.eye(size)), share=1.0 - GUARD)], len(starts)
    share = np.exp(np.array(scores) - max(scores))
    share = np.maximum(share / share.sum(), 0.02)
    share *= (1.0 - GUARD) / share.sum()
    runs = len(starts) * (size + 2) * effort.descent_rounds
    return [_Part(bell=bell, share=float(s)) for bell, s in zip(bells, share, strict=True)], runs


def _different_starts(pool: _Pool, count: int) -> Array:
    """Good prior points that lie apart: temper the likelihood until about 30 points count, then pick by distance."""
    like = pool.log_post - pool.log_prior
    like = like - np.max(like)
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        w = np.exp(middle * like)
        low, high = (middle, high) if w.sum() ** 2 / np.sum(w**2) > 30.0 else (low, middle)
    order = np.argsort(-like)[:60]
    chosen = [int(order[0])]
    tempered = low * like
    while len(chosen) < min(count, len(order)):
        gap = np.min(np.sum((pool.w[order][:, None] - pool.w[chosen][None]) ** 2, axis=2), axis=1)
        score = tempered[order] + 0.5 * np.log(gap + 1e-12)
        score[np.isin(order, chosen)] = -np.inf
        chosen.append(int(order[np.argmax(score)]))
    return np.asarray(pool.w[chosen])


def _propose(parts: list[_Part], count: int, size: int, rng: np.random.Generator) -> Array:
    guard = round(GUARD * count)
    shares = np.array([part.share for part in parts])
    numbers = rng.multinomial(count - guard, shares / shares.sum())
    batches = [rng.standard_normal((guard, size))]
    for part, number in zip(parts, numbers, strict=True):
        spread = np.sqrt(DEGREES / rng.chisquare(DEGREES, number))
        batches.append(part.bell.mean + spread[:, None] * (rng.standard_normal((number, size)) @ part.bell.root.T))
    return np.concatenate(batches)


def _learn(pool: _Pool, parts: list[_Part]) -> list[_Part]:
    """Keep the parts that earn weight and add one with the moments of the weighted points."""
    weights = pool.weights()
    size = pool.w.shape[1]
    # Flattened weights: while few points carry all the weight, their moments would collapse onto them.
    flat = _flattened(weights, 3.0 * size)
    mean = flat @ pool.w
    centred = pool.w - mean
    cov = (flat[:, None] * centred).T @ centred
    effective = 1.0 / np.sum(flat**2)
    trust = effective / (effective + 5.0 * size)
    best = max(parts, key=lambda part: part.share)
    cov = trust * cov + (1.0 - trust) * (best.bell.root @ best.bell.root.T) + 1e-6 * np.eye(size)
    guard = np.log(GUARD) + pool.log_prior + _NORM(size)
    earned = np.array([np.sum(weights * np.exp(np.logaddexp(guard, pool.heights[part.bell]) - pool.log_mix)) for part in parts])
    earned = np.maximum(earned / max(earned.sum(), 1e-300), 0.02)
    earned *= 0.5 * (1.0 - GUARD) / earned.sum()
    kept = [_Part(bell=part.bell, share=float(s)) for part, s in zip(parts, earned, strict=True)]
    learnt = _Part(bell=_Bell(mean, np.linalg.cholesky(cov)), share=0.5 * (1.0 - GUARD))
    # A few parts are plenty; the least useful make room.
    return [learnt, *sorted(kept, key=lambda part: -part.share)[:8]]


def _flattened(weights: Array, wanted: float) -> Array:
    low, high = 0.0, 1.0
    if 1.0 / np.sum(weights**2) >= wanted:
        return weights
    for _ in range(40):
        middle = 0.5 * (low + high)
        w = weights**middle
        low, high = (middle, high) if w.sum() ** 2 / np.sum(w**2) > wanted else (low, middle)
    w = weights**low
    return np.asarray(w / w.sum())


def _systematic(weights: Array, count: int, rng: np.random.Generator) -> NDArray[np.int64]:
    ladder = (np.arange(count) + rng.random()) / count
    chosen = np.searchsorted(np.cumsum(weights), ladder)
    return np.asarray(np.minimum(chosen, len(weights) - 1))


def tail_shape(weights: Array) -> float:
    """Shape of a generalised Pareto tail fitted to the largest weights. [-]

    Source
    ------
    zhang-stephens-2009, vehtari-2024
    """
    count = len(weights)
    tail = int(min(0.2 * count, 3.0 * np.sqrt(count)))
    top = np.sort(weights)[-tail - 1 :]
    excess = top[1:] - top[0]
    excess = excess[excess > 0.0]
    if len(excess) < 5:
        # All alike is the best there is; a handful that carry everything is the worst.
        return 0.0 if weights.max() < 2.0 * weights.mean() else float("inf")
    n = len(excess)
    guesses = 30 + int(np.sqrt(n))
    b = 1.0 / excess[-1] + (1.0 - np.sqrt(guesses / (np.arange(1, guesses + 1) - 0.5))) / (3.0 * excess[int(n / 4 + 0.5) - 1])
    k = np.mean(np.log1p(-b[:, None] * excess[None, :]), axis=1)
    score = n * (np.log(-b / k) - k - 1.0)
    share = np.exp(score - score.max())
    share /= share.sum()
    b_mean = float(np.sum(b * share))
    k_hat = float(np.mean(np.log1p(-b_mean * excess)))
    # The weakly informative prior of vehtari-2024, worth ten points at 0.5.
    return (n * k_hat + 5.0) / (n + 10.0)
