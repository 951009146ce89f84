"""Mean of results of which some lie below a limit: by the method that suits them, and which one that was."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.assay._arrays import Floats, finite
from aerobe.errors import NotEnoughData

MOST_BELOW = 0.8  # share below limits above which no mean is told (helsel-2012)
FEW_BELOW = 0.5  # share up to which no shape need be assumed (helsel-2012)
MANY = 20  # results from which no shape need be assumed
_DRAWS = 1000
METHODS = ("lognormal likelihood", "normal likelihood", "Kaplan-Meier", "regression on order statistics")


@dataclass(frozen=True, slots=True, kw_only=True)
class CensoredSummary:
    """Mean and standard deviation of results with some below limits, the interval of the mean, and how they were found."""

    method: str  # one of METHODS
    mean: float
    sd: float
    low: float
    high: float
    level: float
    below: int
    readings: int
    says: str


def censored_summary(
    values: Sequence[float], below: Sequence[bool], *, level: float = 0.9, method: str = "", seed: int = 1
) -> CensoredSummary:
    """Mean of results of which some lie below a limit; a censored value is its limit and never zero.

    From 20 results on no shape need be assumed: Kaplan-Meier with up to half below, regression on order statistics with more.
    Fewer results: the likelihood of a normal or a lognormal distribution, whichever fits better.

    Parameters
    ----------
    values, below
        Results, and whether each is the limit that the true value lies below, shape (n,). [unit of the result]
    level
        Of the interval. [-]
    method
        One of `METHODS`; chosen from the results if left out.
    seed
        Of the resampling that gives the interval of the last two methods. [-]

    Raises
    ------
    NotEnoughData
        If fewer than three results lie above their limits, or more than 80 % lie below.

    Source
    ------
    helsel-2012
    """
    y = finite(values, "readings", at_least=3)
    hidden = np.asarray(below, dtype=bool)
    if (~hidden).sum() < 3 or hidden.mean() > MOST_BELOW:
        raise NotEnoughData(
            f"{hidden.sum()} of {y.size} results lie below their limits: no mean can be told from the rest.",
            "Quote how many lie below, or repeat with a less diluted sample.",
        )
    chosen = method or _choose(y, hidden)
    mean, sd, low, high = _by_method(chosen, y, hidden, level, seed)
    return CensoredSummary(
        method=chosen,
        mean=mean,
        sd=sd,
        low=low,
        high=high,
        level=level,
        below=int(hidden.sum()),
        readings=int(y.size),
        says=f"{hidden.sum()} of {y.size} results lie below limits; the mean is found by {chosen}.",
    )


def _choose(y: Floats, hidden: NDArray[np.bool_]) -> str:
    if not np.all(y > 0.0):
        return "Kaplan-Meier" if 0.0 < hidden.mean() <= FEW_BELOW else "normal likelihood"
    if hidden.any() and y.size >= MANY:
        return "Kaplan-Meier" if hidden.mean() <= FEW_BELOW else "regression on order statistics"
    return "lognormal likelihood" if _log_fits_better(y, hidden) else "normal likelihood"


def _log_fits_better(y: Floats, hidden: NDArray[np.bool_]) -> bool:
    """Whether a lognormal shape is as likely as a normal one, nearly: amounts of life are skew, and few results hide it."""
    from scipy.special import log_ndtr

    from aerobe.assay._limits import censored_mean

    def likelihood(x: Floats) -> float:
        mean, sd, _, _ = censored_mean(x.tolist(), hidden.tolist())
        z = (x - mean) / sd
        return float(log_ndtr(z[hidden]).sum() + (-0.5 * z[~hidden] ** 2 - math.log(sd)).sum())

    return likelihood(np.log(y)) - float(np.log(y[~hidden]).sum()) > likelihood(y) - 1.0


def _by_method(method: str, y: Floats, hidden: NDArray[np.bool_], level: float, seed: int) -> tuple[float, float, float, float]:
    if method == "normal likelihood":
        from aerobe.assay._limits import censored_mean

        return censored_mean(y.tolist(), hidden.tolist(), level=level)
    if method == "lognormal likelihood":
        return lognormal_mean(y, hidden, level)
    estimate = kaplan_meier if method == "Kaplan-Meier" else order_statistics
    mean, sd = estimate(y, hidden)
    low, high = _resampled(lambda a, b: estimate(a, b)[0], y, hidden, mean, level, seed)
    return mean, sd, low, high


def kaplan_meier(y: Floats, hidden: NDArray[np.bool_]) -> tuple[float, float]:
    """Mean and sd of the product-limit distribution of results with some below limits; the lowest limit counts as a value.

    Source
    ------
    helsel-2012
    """
    values = np.unique(y[~hidden])[::-1]
    left = 1.0
    mass = []
    for value in values:
        # At risk are all that are known to lie at or below this value.
        at_risk = np.sum(y <= value)
        here = np.sum((y == value) & ~hidden)
        share = here / at_risk
        mass.append(left * share)
        left *= 1.0 - share
    points = values
    if left > 1e-12:
        points, mass = np.append(values, y.min()), [*mass, left]
    weights = np.array(mass)
    mean = float((weights * points).sum())
    return mean, float(math.sqrt(max(float((weights * (points - mean) ** 2).sum()), 0.0)))


def order_statistics(y: Floats, hidden: NDArray[np.bool_]) -> tuple[float, float]:
    """Mean and sd with the censored results put on a lognormal line through the plotting positions of the others.

    Source
    ------
    helsel-2012, hirsch-stedinger-1987
    """
    from scipy.special import ndtri

    limits = np.unique(y[hidden])
    edges = np.concatenate([[-np.inf], limits, [np.inf]])
    above = np.zeros(len(edges))  # chance to lie at or above each edge
    for place in range(len(edges) - 2, 0, -1):
        inside = np.sum((~hidden) & (y >= edges[place]) & (y < edges[place + 1]))
        lower = np.sum(y < edges[place]) + np.sum(hidden & (y == edges[place]))
        above[place] = above[place + 1] + inside / max(inside + lower, 1) * (1.0 - above[place + 1])
    above[0] = 1.0
    seen, position = [], []
    for place in range(len(edges) - 1):
        group = np.sort(y[(~hidden) & (y >= edges[place]) & (y < edges[place + 1])])
        rank = np.arange(1, group.size + 1)
        seen += group.tolist()
        position += (1.0 - above[place] + rank * (above[place] - above[place + 1]) / (group.size + 1)).tolist()
    slope, intercept = np.polyfit(ndtri(np.array(position)), np.log(np.array(seen)), 1)
    filled = []
    for place in range(1, len(edges) - 1):
        count = int(np.sum(hidden & (y == edges[place])))
        filled += [(1.0 - above[place]) * rank / (count + 1) for rank in range(1, count + 1)]
    whole = np.concatenate([np.array(seen), np.exp(intercept + slope * ndtri(np.array(filled)))]) if filled else np.array(seen)
    return float(whole.mean()), float(whole.std(ddof=1))


def lognormal_mean(y: Floats, hidden: NDArray[np.bool_], level: float) -> tuple[float, float, float, float]:
    """Mean, sd and the interval of the mean of a lognormal distribution, by the likelihood of its logarithm's mean.

    The interval is that of mean and variance of the logarithms together (Cox), with Student's t for few results.

    Source
    ------
    helsel-2012, zhou-gao-1997
    """
    from scipy.special import stdtrit

    from aerobe.assay._limits import censored_mean

    centre, spread, _, _ = censored_mean(np.log(y).tolist(), hidden.tolist(), level=level)
    n = int((~hidden).sum())
    s2 = spread**2 * n / max(n - 1, 1)
    middle = centre + s2 / 2.0
    half = float(stdtrit(n - 1, 0.5 + level / 2.0)) * math.sqrt(s2 / n + s2**2 / (2.0 * (n - 1)))
    mean = math.exp(middle)
    return mean, mean * math.sqrt(math.expm1(s2)), math.exp(middle - half), math.exp(middle + half)


def _resampled(
    mean_of: Callable[[Floats, NDArray[np.bool_]], float],
    y: Floats,
    hidden: NDArray[np.bool_],
    mean: float,
    level: float,
    seed: int,
) -> tuple[float, float]:
    """Interval of a mean by resampling: the t of each draw (its own sd over the root of n), so that skew counts on both sides."""
    rng = np.random.default_rng(seed)
    n = y.size
    scale = float(y.std(ddof=1)) / math.sqrt(n)
    found = []
    for _ in range(_DRAWS):
        draw = rng.integers(0, n, n)
        a, b = y[draw], hidden[draw]
        if (~b).sum() < 3 or np.unique(a[~b]).size < 3:
            continue
        sd = float(a.std(ddof=1)) / math.sqrt(n)
        found.append((mean_of(a, b) - mean) / sd if sd > 0.0 else 0.0)
    if len(found) < _DRAWS // 4:
        raise NotEnoughData("Too few different results for an interval.", "Take more samples.")
    low, high = np.quantile(found, [0.5 - level / 2.0, 0.5 + level / 2.0])
    return mean - float(high) * scale, mean - float(low) * scale
