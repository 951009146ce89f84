"""Random-effects pooling and regression on moderators, on the log-ratio scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.evidence._spread import Array, checked, spread, spread_interval, weighted_fit
from aerobe.units import ratio_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficient:
    """One coefficient with its test and interval."""

    name: str
    estimate: float  # [ln ratio per unit of the moderator]
    se: float
    low: float
    high: float
    statistic: float  # z, or t with Hartung-Knapp
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """What many studies say together. Effects are natural logs of ratios; `as_ratio` turns one into a ratio."""

    method: str
    hartung_knapp: bool
    level: float
    studies: int
    terms: tuple[Coefficient, ...]
    tau2: float  # variance between studies [ln ratio squared]
    tau2_se: float
    tau2_low: float  # Q-profile interval
    tau2_high: float
    i2: float  # share of the variability that is between studies [%]
    h2: float
    q: float  # Cochran's Q (residual Q with moderators)
    q_df: int
    q_p: float
    prediction_low: float  # where the true effect of a next, similar study lies; nan with moderators
    prediction_high: float
    weights: tuple[float, ...]  # share of each study [%]
    qm: float = math.nan  # test of all moderators
    qm_p: float = math.nan
    r2: float = math.nan  # share of tau2 that the moderators account for [%]

    @property
    def estimate(self) -> float:
        """The pooled effect, or the intercept. [ln ratio]"""
        return self.terms[0].estimate

    @property
    def se(self) -> float:
        """Its standard error. [ln ratio]"""
        return self.terms[0].se

    @property
    def low(self) -> float:
        """Lower end of its interval. [ln ratio]"""
        return self.terms[0].low

    @property
    def high(self) -> float:
        """Upper end of its interval. [ln ratio]"""
        return self.terms[0].high

    def as_ratio(self) -> tuple[float, float, float]:
        """The pooled ratio with its interval. [-]"""
        return ratio_of(self.estimate), ratio_of(self.low), ratio_of(self.high)


def pool(effects: object, variances: object, *, method: str = "REML", hartung_knapp: bool = True, level: float = 0.95) -> Pooled:
    """Pool effects of several studies that need not share one true effect.

    Parameters
    ----------
    effects
        One effect a study, shape (studies,). [ln ratio]
    variances
        Their squared standard errors, shape (studies,). [ln ratio squared]
    method
        Estimator of the spread between studies, see `spread`.
    hartung_knapp
        Whether intervals allow for the spread being estimated from few studies: t, and an error scaled up but never down.
    level
        Of the intervals. [-]

    Returns
    -------
    Pooled
        Pooled effect, spread, heterogeneity and the prediction interval.

    Raises
    ------
    NotEnoughData
        With fewer than two studies.
    UnusableRecord
        If an effect or variance cannot be pooled.

    Source
    ------
    viechtbauer-2010, hartung-knapp-2001, rover-knapp-friede-2015, viechtbauer-2007, higgins-thompson-2002
    """
    y, v, X = checked(effects, variances)
    return _fitted(y, v, X, ("pooled",), method, hartung_knapp, level)


def regress(
    effects: object,
    variances: object,
    moderators: dict[str, Sequence[float]],
    *,
    method: str = "REML",
    hartung_knapp: bool = True,
    level: float = 0.95,
) -> Pooled:
    """Does the effect change with temperature, compost, dose? A regression that keeps a spread between studies.

    Parameters are those of `pool`, and `moderators`: name to values, shape (studies,) each.

    Notes
    -----
    Fewer than ten studies a moderator show little: the p value is not a finding.

    Source
    ------
    viechtbauer-2010, knapp-hartung-2003
    """
    names = ("intercept", *moderators)
    y, v, X = checked(effects, variances, np.column_stack([np.asarray(values, dtype=float) for values in moderators.values()]))
    return _fitted(y, v, X, names, method, hartung_knapp, level)


def _fitted(
    y: Array,
    v: Array,
    X: Array,
    names: tuple[str, ...],
    method: str,
    hartung_knapp: bool,
    level: float,
) -> Pooled:
    from scipy import stats

    studies, count = X.shape
    free = studies - count
    tau2, tau2_se = spread(method, y, v, X)
    fit, equal = weighted_fit(y, v, X, tau2), weighted_fit(y, v, X, 0.0)
    # Never below one: with a handful of trials that agree by luck the plain rule gives an interval of no width.
    cov = fit.cov * (max(1.0, fit.rss / free) if hartung_knapp else 1.0)
    law = stats.t(free) if hartung_knapp else stats.norm()
    width = float(law.ppf(0.5 + 0.5 * level))
    terms = tuple(_term(name, float(fit.beta[i]), math.sqrt(cov[i, i]), law, width) for i, name in enumerate(names))
    typical = free / float(np.trace(equal.projection))
    low, high = spread_interval(y, v, X, level)
    reach = width * math.sqrt(float(cov[0, 0]) + tau2) if count == 1 else math.nan
    qm, qm_p, r2 = _moderators(y, v, X, fit.beta, cov, tau2, method, hartung_knapp)
    return Pooled(
        method=method,
        hartung_knapp=hartung_knapp,
        level=level,
        studies=studies,
        terms=terms,
        tau2=tau2,
        tau2_se=tau2_se,
        tau2_low=low,
        tau2_high=high,
        i2=100.0 * _share(tau2, typical, equal.rss, free, method),
        h2=tau2 / typical + 1.0 if method != "EE" else equal.rss / free,
        q=equal.rss,
        q_df=free,
        q_p=float(stats.chi2.sf(equal.rss, free)),
        prediction_low=terms[0].estimate - reach,
        prediction_high=terms[0].estimate + reach,
        weights=tuple((100.0 * fit.weights / np.sum(fit.weights)).tolist()),
        qm=qm,
        qm_p=qm_p,
        r2=r2,
    )


def _share(tau2: float, typical: float, q: float, free: int, method: str) -> float:
    if method == "EE":
        return max(0.0, (q - free) / q) if q > 0.0 else 0.0
    return tau2 / (tau2 + typical)


def _term(name: str, estimate: float, se: float, law: object, width: float) -> Coefficient:
    statistic = estimate / se if se > 0.0 else math.inf
    p = 2.0 * float(law.sf(abs(statistic)))  # type: ignore[attr-defined]
    return Coefficient(
        name=name, estimate=estimate, se=se, low=estimate - width * se, high=estimate + width * se, statistic=statistic, p=p
    )


def _moderators(
    y: Array,
    v: Array,
    X: Array,
    beta: Array,
    cov: Array,
    tau2: float,
    method: str,
    hartung_knapp: bool,
) -> tuple[float, float, float]:
    from scipy import stats

    count = X.shape[1] - 1
    if count == 0:
        return math.nan, math.nan, math.nan
    qm = float(beta[1:] @ np.linalg.solve(cov[1:, 1:], beta[1:]))
    if hartung_knapp:
        qm /= count
        p = float(stats.f.sf(qm, count, len(y) - count - 1))
    else:
        p = float(stats.chi2.sf(qm, count))
    alone, _ = spread(method, y, v, X[:, :1])
    r2 = max(0.0, 100.0 * (alone - tau2) / alone) if alone > 0.0 else math.nan
    return qm, p, r2
