"""Would the answer stand if trials that showed nothing had stayed in the drawer?

A selection model with one step: a trial that shows a clear gain is seen, any other is seen with an unknown chance `w`. Its
likelihood is that of the random-effects pool, each trial's density over its chance of being seen. `w` and the spread are
profiled out; the pooled effect is compared with none by the likelihood ratio. Nobody knows by which rule trials were called
clear, so several usual bars are tried and the least favourable one counts.

A second filter has no step: each place has two answers (two outcomes, hours or trials) and sends in the better one. The density
of the better of two is twice that of one times the chance that the other lies below. It or no filter, whichever fits better, must
leave the direction standing, too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aerobe.errors import NotEnoughData
from aerobe.evidence._spread import Array, checked
from aerobe.units import ratio_of, ratio_words
from aerobe.verdicts import INTERVAL_LEVEL

CLEAR = 1.959963984540054  # where no bar is given, a trial counts as clear beyond this many standard errors
# The signed root of the likelihood ratio that a claim must exceed: 5 % of two sides, where the root is normal. With few trials
# it is not; benchmarks/how_honest_is_a_pool.py counts false claims at this bound for filters of several strengths.
ROOT_NEEDED = 1.959963984540054
# The same for the better of two answers. Lower, since honest pools look a little like it: counted, 3 to 4 % false claims of such
# pools with seven and eight places instead of 6 to 10, for 4 to 5 points of power at a true ratio of 1.5 and none at 2.
BEST_NEEDED = 1.45
_MU_POINTS, _TAUS, _CHANCES = 81, 9, 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Selection:
    """The pool as it looks when trials without a clear result may be missing."""

    estimate: float  # of the pooled effect, at the top of the likelihood [ln ratio]
    root: float  # signed root of the likelihood ratio against no effect [-]
    chance_seen: float  # best guess of the chance that a trial without a clear result is seen [-]
    clear: int  # trials with a clear gain in the direction of the pool
    trials: int
    root_of_better: float  # the same root if each place may have sent the better of two answers [-]
    stands: bool  # whether the direction holds even so
    low: float = math.nan  # interval of the pooled effect by every filter that was tried, at the level of a verdict [ln ratio]
    high: float = math.nan

    def in_words(self) -> str:
        """One sentence on what a filter of publication could have done."""
        ratio = ratio_words(*map(ratio_of, (self.estimate, self.low, self.high)))
        if self.stands:
            return f"Allowing for trials that were never sent in, the ratio would be {ratio} and its direction stands."
        if self.root > ROOT_NEEDED:
            return "If each place had sent the better of two answers, such a pool could come about without any difference."
        return (
            f"{self.clear} of {self.trials} places show a clear gain by themselves. If trials that showed none were never "
            f"sent in, such a pool can come about without any difference (the ratio would then be {ratio})."
        )


def selection(effects: object, variances: object, bars: Sequence[Sequence[float]] | Array | None = None) -> Selection:
    """Fit the selection model in the direction of the pool.

    Parameters
    ----------
    effects, variances
        As in `pool`, shape (studies,). [ln ratio]
    bars
        Effects from which on each study counts as clear, shape (rules, studies). [ln ratio]

    Raises
    ------
    NotEnoughData
        With fewer than three studies: three unknowns cannot be had from two.

    Source
    ------
    vevea-hedges-1995, hedges-1992
    """
    y, v, _ = checked(effects, variances)
    if len(y) < 3:
        raise NotEnoughData("Two studies cannot show what is missing.", "Collect three trials of different places or more.")
    turn = 1.0 if np.average(y, weights=1.0 / v) >= 0.0 else -1.0
    z = turn * y
    tried = np.atleast_2d(CLEAR * np.sqrt(v) if bars is None else np.asarray(bars, dtype=float))
    found = [_fitted(z, v, bar) for bar in tried]
    least = min(found, key=lambda one: one.root)
    better, within = _if_better_of_two(z, v)
    stands = least.root > ROOT_NEEDED and better > BEST_NEEDED
    ends = sorted(turn * end for end in (*within, *(end for one in found for end in (one.low, one.high))))
    return replace(least, estimate=turn * least.estimate, root_of_better=better, stands=stands, low=ends[0], high=ends[-1])


def _fitted(z: Array, v: Array, bar: Array) -> Selection:
    mu = _effects(z, v)
    value, chances = _profile(z, v, mu, bar)
    top = int(np.argmax(value))
    root = _root(mu, value)
    low, high = _within(mu, value)
    return Selection(
        estimate=float(mu[top]),
        root=root,
        chance_seen=float(chances[top]),
        clear=int(np.sum(z > bar)),
        trials=len(z),
        root_of_better=math.nan,
        stands=False,
        low=low,
        high=high,
    )


def _effects(z: Array, v: Array) -> Array:
    """Pooled effects that are tried; the middle one is none."""
    reach = max(3.0 * float(np.max(np.sqrt(v))), 1.2 * float(np.max(np.abs(z))), 0.3)
    return np.linspace(-reach, reach, _MU_POINTS)


def _root(mu: Array, value: Array) -> float:
    top = int(np.argmax(value))
    return math.copysign(math.sqrt(2.0 * max(0.0, float(value[top] - value[_MU_POINTS // 2]))), float(mu[top]))


def _within(mu: Array, value: Array) -> tuple[float, float]:
    """Effects whose likelihood ratio against the best one a verdict's interval allows."""
    from scipy.special import ndtri

    inside = mu[value >= value.max() - 0.5 * float(ndtri(0.5 + 0.5 * INTERVAL_LEVEL)) ** 2]
    step = float(mu[1] - mu[0])
    return float(inside[0]) - 0.5 * step, float(inside[-1]) + 0.5 * step


def _if_better_of_two(z: Array, v: Array) -> tuple[float, tuple[float, float]]:
    """Root of the likelihood ratio and interval, each place having sent its only answer or the better of two."""
    from scipy.special import log_ndtr

    mu = _effects(z, v)
    _, away, plain = _likelihoods(z, v, mu)
    better = plain + (log_ndtr(away) + math.log(2.0)).sum(axis=2)
    value = np.maximum(plain.max(axis=1), better.max(axis=1))
    return _root(mu, value), _within(mu, value)


def _likelihoods(z: Array, v: Array, mu: Array) -> tuple[Array, Array, Array]:
    """Error of each trial by the spread, its distance in those errors, and the log likelihood by effect and spread."""
    tau = np.linspace(0.0, 1.5 * max(float(np.std(z)), 0.1), _TAUS)
    sd = np.sqrt(v[None, None, :] + tau[None, :, None] ** 2)
    away = (z - mu[:, None, None]) / sd
    return sd, away, np.asarray((-0.5 * away**2 - np.log(sd)).sum(axis=2))  # the last: (effects, spreads)


def _profile(z: Array, v: Array, mu: Array, bar: Array) -> tuple[Array, Array]:
    """Log likelihood along the pooled effect, the spread and the chance of being seen at their best, and that chance."""
    from scipy.special import log_ndtr, ndtr

    chance = np.concatenate([[1e-4], np.logspace(-2.5, 0.0, _CHANCES - 1)])
    sd, _, plain = _likelihoods(z, v, mu)
    clear = ndtr((mu[:, None, None] - bar) / sd)
    log_clear = log_ndtr((mu[:, None, None] - bar) / sd)
    unseen = int(np.sum(z <= bar))
    seen = clear[..., None, :] + chance[:, None] * (1.0 - clear[..., None, :])
    log_seen = np.where(seen > 0.0, np.log(np.maximum(seen, 1e-300)), log_clear[..., None, :])
    whole = plain[..., None] + unseen * np.log(chance) - log_seen.sum(axis=3)
    flat = whole.reshape(len(mu), -1)
    best = flat.argmax(axis=1)
    return np.asarray(flat.max(axis=1)), np.asarray(chance[best % len(chance)])
