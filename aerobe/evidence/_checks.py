"""Would the answer stand without one trial? Do small trials say more than large ones?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.errors import NotEnoughData
from aerobe.evidence._pool import Pooled, pool, regress
from aerobe.evidence._spread import Array, checked, spread, weighted_fit


def leave_one_out(
    effects: Sequence[float],
    variances: Sequence[float],
    *,
    method: str = "REML",
    hartung_knapp: bool = True,
    level: float = 0.95,
) -> tuple[Pooled, ...]:
    """The pool without each study in turn, in the order of the studies.

    Raises
    ------
    NotEnoughData
        If there are fewer than three studies.
    """
    y, v, _ = checked(effects, variances)
    if len(y) < 3:
        raise NotEnoughData("Two studies cannot lose one.", "Leave-one-out needs three studies or more.")
    keep = ~np.eye(len(y), dtype=bool)
    return tuple(pool(y[row], v[row], method=method, hartung_knapp=hartung_knapp, level=level) for row in keep)


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallStudies:
    """Whether effects lean with the size of the study."""

    statistic: float  # z of the standard error as moderator
    p: float
    limit: float  # effect as the standard error goes to zero [ln ratio]
    limit_low: float
    limit_high: float
    rank_tau: float  # Kendall's tau of effect and variance
    rank_p: float
    missing: int  # studies that trim-and-fill thinks are missing
    side: str  # on which side of the funnel
    filled: float  # pooled effect with them filled in [ln ratio]
    enough: bool  # ten studies or more: with fewer the tests see almost nothing

    def in_words(self) -> str:
        """One sentence that does not claim more than the test can."""
        if not self.enough:
            return "Fewer than ten trials: a lean of small trials cannot be tested."
        if self.p < 0.10:
            return f"Small trials report other effects than large ones (p {self.p:.2g}): trials without an effect may be missing."
        return f"No lean of small trials was found (p {self.p:.2g}); that is not proof of none."


def small_studies(effects: Sequence[float], variances: Sequence[float], *, method: str = "REML") -> SmallStudies:
    """Egger's regression in its random-effects form, the rank correlation and trim-and-fill.

    Parameters as in `pool`.

    Raises
    ------
    NotEnoughData
        If there are fewer than three studies, or all have the same error.

    Source
    ------
    egger-1997, begg-mazumdar-1994, duval-tweedie-2000, viechtbauer-2010
    """
    from scipy.stats import kendalltau

    y, v, _ = checked(effects, variances)
    if len(y) < 3:
        raise NotEnoughData("Two studies show no lean.", "Collect at least ten trials for this check.")
    errors = np.sqrt(v)
    if np.ptp(errors) < 1e-9 * errors.mean():
        raise NotEnoughData("All studies have the same error, so none is small.", "This check needs trials of different size.")
    line = regress(y, v, {"se": errors.tolist()}, method=method, hartung_knapp=False)
    equal = weighted_fit(y, v, np.ones((len(y), 1)), 0.0)
    standing = (y - equal.beta[0]) / np.sqrt(v - 1.0 / np.sum(1.0 / v))
    rank = kendalltau(standing, v)
    missing, side, filled = trim_and_fill(y, v, method=method)
    return SmallStudies(
        statistic=line.terms[1].statistic,
        p=line.terms[1].p,
        limit=line.estimate,
        limit_low=line.low,
        limit_high=line.high,
        rank_tau=float(rank.statistic),
        rank_p=float(rank.pvalue),
        missing=missing,
        side=side,
        filled=filled,
        enough=len(y) >= 10,
    )


def trim_and_fill(y: Array, v: Array, *, method: str = "REML") -> tuple[int, str, float]:
    """How many studies a lopsided funnel lacks (estimator L0), on which side, and the pool with them filled in.

    Source
    ------
    duval-tweedie-2000
    """
    slope = regress(y, v, {"se": np.sqrt(v).tolist()}, method=method, hartung_knapp=False).terms[1].estimate
    flip = -1.0 if slope < 0.0 else 1.0  # studies are then missing on the left of `flip * y`
    order = np.argsort(flip * y, kind="stable")
    z, w = (flip * y)[order], v[order]
    missing, seen = 0, -1
    ones = np.ones((len(z), 1))
    for _ in range(100):
        kept = len(z) - missing
        tau2, _error = spread(method, z[:kept], w[:kept], ones[:kept])
        centre = float(weighted_fit(z[:kept], w[:kept], ones[:kept], tau2).beta[0])
        away = z - centre
        ranks = _ranks(np.abs(away)) * np.sign(away)
        upper = float(np.sum(ranks[ranks > 0]))
        size = len(z)
        estimate = (4.0 * upper - size * (size + 1.0)) / (2.0 * size - 1.0)
        missing, seen = max(0, min(size - 2, round(estimate))), missing
        if missing == seen:
            break
    if missing == 0:
        return 0, "neither", float(pool(y, v, method=method, hartung_knapp=False).estimate)
    mirrored = np.concatenate([z, 2.0 * centre - z[-missing:]])
    full = pool(flip * mirrored, np.concatenate([w, w[-missing:]]), method=method, hartung_knapp=False)
    return missing, "left" if flip > 0 else "right", full.estimate


def _ranks(values: Array) -> Array:
    from scipy.stats import rankdata

    return np.asarray(rankdata(values, method="ordinal"), dtype=float)


def fades_without(pooled: Pooled, others: Sequence[Pooled]) -> tuple[int, ...]:
    """Places of the studies whose absence turns a clear answer into an open one, or an open one into a clear one."""

    def clear(one: Pooled) -> bool:
        return not one.low <= 0.0 <= one.high

    return tuple(place for place, other in enumerate(others) if clear(other) != clear(pooled) and math.isfinite(other.se))
