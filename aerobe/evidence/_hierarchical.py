"""The Bayesian pool of a few studies, exact but for one integral over the spread.

Given the spread tau, the pooled effect and every study's own effect are normal; tau itself is integrated on a fine
grid that follows its prior. No chains, no seed, the same answer each time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from aerobe.evidence._spread import Array, checked
from aerobe.statistics import normal_mixture_below, normal_mixture_quantile

Prior = Literal["half-normal", "half-Cauchy"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shrunken:
    """One quantity of the posterior."""

    mean: float
    sd: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BayesPool:
    """Posterior of the pooled effect, the spread, each study's own effect and the effect of a next study. [ln ratio]"""

    pooled: Shrunken
    tau: Shrunken
    studies: tuple[Shrunken, ...]
    next_study: Shrunken
    probability_above: float  # that the pooled effect is above zero
    level: float
    prior_words: str


def bayes_pool(
    effects: object,
    variances: object,
    *,
    prior_mean: float = 0.0,
    prior_sd: float = 1.0,
    tau_scale: float = 0.5,
    tau_prior: Prior = "half-normal",
    level: float = 0.90,
    points: int = 400,
) -> BayesPool:
    """Pool studies with priors for the effect and for the spread.

    Parameters
    ----------
    effects, variances
        As in `pool`, shape (studies,). [ln ratio]
    prior_mean, prior_sd
        Normal prior of the pooled effect; the default puts 95 % of ratios between 1/7 and 7. [ln ratio]
    tau_scale, tau_prior
        Scale and kind of the prior of the spread. [ln ratio]
    level
        Of the intervals. [-]
    points
        Of the integral over tau.

    Returns
    -------
    BayesPool
        Means, standard deviations and equal-tailed intervals.

    Source
    ------
    gelman-2006, rubin-1981
    """
    y, v, _ = checked(effects, variances)
    tau, weight = _tau_grid(y, v, prior_mean, prior_sd, tau_scale, tau_prior, points)
    precision = 1.0 / (v + tau[:, None] ** 2)  # (points, studies)
    total = precision.sum(axis=1) + prior_sd**-2
    centre = ((precision * y).sum(axis=1) + prior_mean * prior_sd**-2) / total
    variance = 1.0 / total
    # A study's own effect: a weighted mean of what it says and of the pool, plus what the pool's error adds.
    pull = v / (v + tau[:, None] ** 2)
    own_mean = (1.0 - pull) * y + pull * centre[:, None]
    own_variance = pull * tau[:, None] ** 2 + pull**2 * variance[:, None]
    spread_mean = float(weight @ tau)
    pooled, next_study, *studies = mixtures(
        weight,
        np.column_stack([centre, centre, own_mean]),
        np.column_stack([variance, variance + tau**2, own_variance]),
        level,
    )
    return BayesPool(
        pooled=pooled,
        tau=Shrunken(
            mean=spread_mean,
            sd=math.sqrt(float(weight @ (tau - spread_mean) ** 2)),
            low=_quantile(tau, weight, 0.5 - 0.5 * level),
            high=_quantile(tau, weight, 0.5 + 0.5 * level),
        ),
        studies=tuple(studies),
        next_study=next_study,
        probability_above=1.0 - float(normal_mixture_below(0.0, weight, centre, np.sqrt(variance))),
        level=level,
        prior_words=f"effect normal({prior_mean:g}, {prior_sd:g}), spread {tau_prior}({tau_scale:g})",
    )


def _tau_grid(
    y: Array,
    v: Array,
    mean: float,
    sd: float,
    scale: float,
    prior: Prior,
    points: int,
) -> tuple[Array, Array]:
    """Values of tau and their posterior weights: Gauss-Legendre in the probability scale of the prior."""
    from scipy.stats import halfcauchy, halfnorm

    nodes, mass = _nodes(points)
    law = halfcauchy(scale=scale) if prior == "half-Cauchy" else halfnorm(scale=scale)
    tau = np.asarray(law.ppf(0.5 * (nodes + 1.0)), dtype=float)
    inside = v + tau[:, None] ** 2
    # y | tau is normal with covariance diag(inside) + sd^2 11'.
    precision = 1.0 / inside
    total = precision.sum(axis=1)
    away = y - mean
    quadratic = (precision * away**2).sum(axis=1) - (precision @ away) ** 2 / (total + sd**-2)
    logdet = np.log(inside).sum(axis=1) + np.log1p(sd**2 * total)
    score = -0.5 * (quadratic + logdet)
    weight = mass * np.exp(score - score.max())
    return tau, weight / weight.sum()


@cache
def _nodes(points: int) -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(points)


def mixture(weight: Array, mean: Array, variance: Array, level: float) -> Shrunken:
    """One quantity, normal at each point of a grid with these weights, mixed over the grid."""
    return mixtures(weight, mean[:, None], variance[:, None], level)[0]


def mixtures(weight: Array, mean: Array, variance: Array, level: float) -> list[Shrunken]:
    """The same for several quantities, one a column."""
    centre = weight @ mean
    sd = np.sqrt(weight @ (variance + (mean - centre) ** 2))
    tails = (0.5 - 0.5 * level, 0.5 + 0.5 * level)
    low, high = (normal_mixture_quantile(share, weight, mean, np.sqrt(variance)) for share in tails)
    columns = zip(centre.tolist(), sd.tolist(), low.tolist(), high.tolist(), strict=True)
    return [Shrunken(mean=one, sd=wide, low=below, high=above) for one, wide, below, above in columns]


def _quantile(values: Array, weight: Array, target: float) -> float:
    """Values are sorted; half of each weight lies below its value."""
    below = np.cumsum(weight) - 0.5 * weight
    return float(np.interp(target, below, values))
