"""From when a reading can be told from no microbes at all, and from when it is a number worth quoting."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.assay._arrays import Floats, finite
from aerobe.errors import NotEnoughData, OutsideValidity


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Decision, detection and quantification limit, as net results (the background taken off)."""

    critical: float  # a net result above it is told from zero, with risk alpha of a false alarm
    detection: float  # a true content that is missed with risk beta only
    quantification: float  # a true content whose relative standard deviation is the wanted one; inf if none
    alpha: float
    beta: float
    relative_sd: float  # that defines the quantification limit
    origin: str


def limits_from_blanks(
    blanks: Sequence[float], *, readings: int = 1, alpha: float = 0.05, beta: float = 0.05, relative_sd: float = 0.1
) -> Limits:
    """Limits from repeated blanks: constant scatter near zero, its size known only from these blanks.

    The net result is the mean of `readings` tests minus the mean of the blanks. The detection limit uses the
    noncentral Student distribution, so few blanks give wide limits.

    Raises
    ------
    NotEnoughData
        If all blanks read the same.

    Source
    ------
    currie-1968, iso-11843-2, iupac-1995
    """
    from scipy.special import stdtrit

    values = finite(blanks, "blanks", at_least=3)
    sd = float(values.std(ddof=1))
    if sd == 0:
        raise NotEnoughData(
            "All blanks read the same, so their scatter is hidden by rounding.", "Read one more digit or take more blanks."
        )
    df = values.size - 1
    net_sd = sd * math.sqrt(1 / readings + 1 / values.size)
    return Limits(
        critical=float(stdtrit(df, 1 - alpha)) * net_sd,
        detection=noncentrality(df, alpha, beta) * net_sd,
        quantification=net_sd / relative_sd,
        alpha=alpha,
        beta=beta,
        relative_sd=relative_sd,
        origin=f"{values.size} blanks",
    )


def noncentrality(df: float, alpha: float = 0.05, beta: float = 0.05) -> float:
    """Detection limit in units of the net standard deviation when that is estimated with `df` degrees of freedom. [-]

    Source
    ------
    iso-11843-2
    """
    from scipy.optimize import brentq
    from scipy.special import nctdtr, stdtrit

    t = float(stdtrit(df, 1 - alpha))
    return float(brentq(lambda d: float(nctdtr(df, d, t)) - beta, 0.0, 10 * t + 20))


def limits_from_model(
    constant_sd: float,
    proportional_cv: float,
    *,
    readings: int = 1,
    blanks: float = math.inf,
    bias_sd: float = 0.0,
    alpha: float = 0.05,
    beta: float = 0.05,
    relative_sd: float = 0.1,
) -> Limits:
    """Limits from a fitted error model: the scatter may grow with the level.

    Parameters
    ----------
    blanks
        Number of blanks behind the background that is taken off; infinite when the background is well known.
    bias_sd
        Standard uncertainty of that background beyond the blanks' scatter, for example of the colour. [unit of the result]

    Raises
    ------
    OutsideValidity
        If there is no scatter at zero.

    Source
    ------
    currie-1968, rocke-lorenzato-1995
    """
    from scipy.special import ndtri

    if constant_sd <= 0:
        raise OutsideValidity(
            "A test without scatter at zero has no detection limit.", "Repeat the blank and read one more digit."
        )
    z_alpha, z_beta = float(ndtri(1 - alpha)), float(ndtri(1 - beta))
    base = constant_sd**2 / blanks + bias_sd**2

    def sd(level: float) -> float:
        return math.sqrt((constant_sd**2 + (proportional_cv * level) ** 2) / readings + base)

    critical = z_alpha * sd(0.0)
    # detection = critical + z_beta sd(detection): a quadratic with the proportional part.
    p = 1 - z_beta**2 * proportional_cv**2 / readings
    rest = critical**2 - z_beta**2 * sd(0.0) ** 2
    detection = (critical + math.sqrt(max(0.0, critical**2 - p * rest))) / p if p > 0 else math.inf
    q = relative_sd**2 - proportional_cv**2 / readings
    quantification = sd(0.0) / math.sqrt(q) if q > 0 else math.inf
    return Limits(
        critical=critical,
        detection=detection,
        quantification=quantification,
        alpha=alpha,
        beta=beta,
        relative_sd=relative_sd,
        origin="error model",
    )


def censored_mean(values: Sequence[float], below: Sequence[bool], *, level: float = 0.9) -> tuple[float, float, float, float]:
    """Mean and sd of readings of which some lie below a limit: censored readings stay in, never as zero.

    Maximum likelihood of a normal distribution; a censored value is its limit.

    Returns
    -------
    tuple
        mean, sd, and the profile interval of the mean.

    Raises
    ------
    NotEnoughData
        If fewer than two values lie above their limits, or no scatter shows.

    Source
    ------
    helsel-2012
    """
    from scipy.optimize import brentq, minimize, minimize_scalar
    from scipy.special import log_ndtr, stdtrit

    y = finite(values, "readings", at_least=3)
    hidden = np.asarray(below, dtype=bool)
    if (~hidden).sum() < 2:
        raise NotEnoughData(
            "Fewer than two readings lie above the detection limit.",
            "Quote 'below the limit', or repeat with a less diluted sample.",
        )
    if hides_all_scatter(y, hidden):
        raise NotEnoughData(
            "The readings above the detection limit are all equal, so their scatter is hidden by rounding.",
            "Read one more digit or take more readings.",
        )
    centre, scale = float(y.mean()), float(y[~hidden].std()) or 1.0

    def deviance(mean: float, log_sd: float) -> float:
        sd = math.exp(log_sd)
        z = (y - mean) / sd
        return -2 * float(log_ndtr(z[hidden]).sum() + (-0.5 * z[~hidden] ** 2 - log_sd).sum())

    found = minimize(
        lambda p: deviance(p[0] * scale + centre, p[1]),
        [0.0, math.log(scale)],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000},
    )
    mean, sd = float(found.x[0] * scale + centre), math.exp(float(found.x[1]))
    # With nothing censored this is exactly Student's interval; the plain quantile of chi-square falls short by some points.
    seen = int((~hidden).sum())
    rise = seen * math.log1p(float(stdtrit(seen - 1, 0.5 + level / 2)) ** 2 / (seen - 1))

    def gap(value: float) -> float:
        inner = minimize_scalar(lambda s: deviance(value, s), bounds=(math.log(sd) - 4, math.log(sd) + 6), method="bounded")
        return float(inner.fun) - float(found.fun) - rise

    wide = 50 * sd * max(1.0, math.sqrt(rise))
    return mean, sd, float(brentq(gap, mean - wide, mean)), float(brentq(gap, mean, mean + wide))


def hides_all_scatter(y: Floats, hidden: NDArray[np.bool_]) -> bool:
    """Whether a distribution without any width would give just these readings: no likelihood has a top then."""
    seen = y[~hidden]
    return bool(np.ptp(seen) == 0.0 and np.all(y[hidden] >= seen[0]))
