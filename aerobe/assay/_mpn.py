"""Most probable number of any design of tubes, by maximum likelihood, with limits and a check for rare outcomes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from aerobe.assay._arrays import Floats, confidence, normal_quantile
from aerobe.errors import UnusableReading

Limits = Literal["log", "log expected", "likelihood ratio"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MostProbableNumber:
    """A most probable number, per unit of the amounts given."""

    value: float  # 0 when all are negative, infinite when all are positive
    low: float
    high: float
    level: float
    log10_sd: float  # from the observed information; nan at 0 and infinity
    rarity: float  # likelihood over that of the likeliest outcome, 0 to 1
    likelihood: float
    bias_adjusted: float  # less the second-order bias of the estimate; nan at 0 and infinity
    thomas: float  # the older approximation, for comparison
    says: str


def most_probable_number(
    amounts: Sequence[float], tubes: Sequence[int], positives: Sequence[int], *, level: float = 0.95, limits: Limits = "log"
) -> MostProbableNumber:
    """Maximum likelihood for tubes of any amounts and numbers.

    Parameters
    ----------
    amounts
        Sample in each tube of the set: 0.1 means 0.1 mL (or g) of undiluted sample. [mL or g]
    tubes, positives
        Tubes set up and tubes that turned positive, one number for each amount. [-]
    limits
        `log` uses the observed information of ln(MPN), `log expected` the expected one, `likelihood ratio` the
        profile. All-negative and all-positive sets always have the exact one-sided limit of the same level.

    Raises
    ------
    UnusableReading
        If the design or the outcome is impossible.

    Source
    ------
    fda-bam-app2, jarvis-2010, ridout-1994, blodgett-2002, salama-1978
    """
    v, n, x = _checked(amounts, tubes, positives)
    if x.sum() == 0:
        value, log_sd, adjusted = 0.0, math.nan, math.nan
    elif np.array_equal(x, n):
        value, log_sd, adjusted = math.inf, math.nan, math.nan
    else:
        value = _root(v, n, x)
        log_sd = 1 / math.sqrt(_information(v, n, x, value, expected=limits == "log expected")) / value
        adjusted = value - _bias(v, n, value)
    low, high = _limits(v, n, x, value, log_sd, confidence(level), limits)
    observed, likeliest = _log_likelihood(v, n, x, value), _log_likelihood(v, n, _modes(v, n, value), value)
    rarity = math.exp(observed - likeliest)
    negative = float((v * (n - x)).sum())
    thomas = float(x.sum()) / math.sqrt(negative * float((v * n).sum())) if negative > 0 else math.inf
    return MostProbableNumber(
        value=value,
        low=low,
        high=high,
        level=level,
        log10_sd=log_sd / math.log(10),
        rarity=rarity,
        likelihood=math.exp(observed),
        bias_adjusted=adjusted,
        thomas=thomas,
        says=_words(value, low, high, rarity),
    )


LEAST_ML, MOST_ML = 1e-15, 1e6
MOST_TUBES = 10_000


def _checked(amounts: Sequence[float], tubes: Sequence[int], positives: Sequence[int]) -> tuple[Floats, Floats, Floats]:
    v, n, x = (np.asarray(item, dtype=float) for item in (amounts, tubes, positives))
    if not v.size or v.shape != n.shape or v.shape != x.shape:
        raise UnusableReading("Amounts, tubes and positives differ in number.", "Give one of each for every dilution.")
    if np.any(~np.isfinite(v)) or np.any(v <= 0) or np.any(v > MOST_ML) or np.any(v < LEAST_ML):
        raise UnusableReading(
            f"An amount of sample is not above zero, or none that a tube holds ({LEAST_ML:g} to {MOST_ML:g} mL).",
            "Give the undiluted sample in each tube: 1 mL of a 1:10 is 0.1.",
        )
    if np.any(n > MOST_TUBES):
        raise UnusableReading(f"{n.max():g} tubes of one amount is no number of tubes.", f"Give up to {MOST_TUBES}.")
    if np.any(n < 1) or np.any(n != np.round(n)) or np.any(x != np.round(x)) or np.any(x < 0) or np.any(x > n):
        raise UnusableReading("The number of positive tubes is impossible.", "It is a whole number from 0 to the tubes set up.")
    return v, n, x


def _log_likelihood(v: Floats, n: Floats, x: Floats, rate: float) -> float:
    from scipy.special import gammaln, xlogy

    choose = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    if math.isinf(rate):
        return 0.0 if np.array_equal(x, n) else -math.inf
    return float((choose + xlogy(x, -np.expm1(-rate * v)) - rate * v * (n - x)).sum())


def _root(v: Floats, n: Floats, x: Floats) -> float:
    from scipy.optimize import brentq

    total = float((v * n).sum())

    def score(log_rate: float) -> float:
        # d lnL / d rate = sum x v / (1 - exp(-rate v)) - sum n v
        return float((x * v / -np.expm1(-math.exp(log_rate) * v)).sum()) - total

    return math.exp(brentq(score, math.log(1e-9 / v.max()), math.log(800.0 / v.min()), xtol=1e-14, rtol=1e-14))


def _information(v: Floats, n: Floats, x: Floats, rate: float, *, expected: bool) -> float:
    gone = np.exp(-rate * v)
    if expected:
        return float((n * v**2 * gone / -np.expm1(-rate * v)).sum())
    return float((x * v**2 * gone / np.expm1(-rate * v) ** 2).sum())


def _bias(v: Floats, n: Floats, rate: float) -> float:
    """Second-order bias of the estimate (Cox and Snell): (E l''' / 2 + E l' l'') / I^2."""
    p, q = -np.expm1(-rate * v), np.exp(-rate * v)
    information = float((n * v**2 * q / p).sum())
    third = float((n * v**3 * q * (1 + q) / p**2).sum())
    cross = -float((n * v**3 * q**2 / p**2).sum())
    return (third / 2 + cross) / information**2


def _modes(v: Floats, n: Floats, rate: float) -> Floats:
    p = np.ones_like(v) if math.isinf(rate) else -np.expm1(-rate * v)
    return np.minimum(n, np.floor((n + 1) * p))


def _limits(v: Floats, n: Floats, x: Floats, value: float, log_sd: float, level: float, limits: Limits) -> tuple[float, float]:
    from scipy.optimize import brentq

    settled = 0 < value < math.inf
    if settled and limits != "likelihood ratio":
        factor = math.exp(normal_quantile(level) * log_sd)
        return value / factor, value * factor
    # All negative or all positive: the exact one-sided limit, where such an outcome has probability 1 - level.
    drop = normal_quantile(level) ** 2 / 2 if settled else -math.log(1 - level)
    top = _log_likelihood(v, n, x, value)

    def gap(log_rate: float) -> float:
        return _log_likelihood(v, n, x, math.exp(log_rate)) - top + drop

    lowest, highest = math.log(1e-12 / v.max()), math.log(2000.0 / v.min())
    centre = math.log(value) if 0 < value < math.inf else (lowest if value == 0 else highest)
    low = 0.0 if value == 0 else math.exp(brentq(gap, lowest, centre))
    high = math.inf if math.isinf(value) else math.exp(brentq(gap, centre, highest))
    return low, high


def _words(value: float, low: float, high: float, rarity: float) -> str:
    from aerobe.units import number, span

    if value == 0:
        text = f"All tubes negative: below {number(high)}, not zero."
    elif math.isinf(value):
        text = f"All tubes positive: above {number(low)}; dilute further."
    else:
        text = f"{number(value, 2)} ({span(low, high)})."
    if rarity < 0.01:
        # Blodgett's categories: above 0.05 is fit to report, 0.01 to 0.05 is doubtful, below is not credible.
        text += (
            f" This pattern of tubes is very unlikely (rarity {rarity:.2g}): suspect mixing, inhibition or labels, and repeat."
        )
    elif rarity < 0.05:
        text += f" This pattern of tubes is unusual (rarity {rarity:.2g}): look for a mixing or labelling slip."
    return text
