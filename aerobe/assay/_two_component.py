"""How the scatter of a test grows with its level: a constant part that rules near zero, a proportional part above."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.assay._arrays import Floats, confidence, finite
from aerobe.errors import NotEnoughData


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoComponent:
    """sd^2 = constant_sd^2 + (proportional_cv x level)^2, with profile-likelihood intervals."""

    constant_sd: float  # [unit of the result]
    constant_low: float
    constant_high: float
    proportional_cv: float  # [-]
    proportional_low: float
    proportional_high: float
    log_likelihood: float
    level: float
    df: int  # degrees of freedom of scatter behind the fit


# Log odds of the proportional part of the variance at the strongest group: none of it, from nothing to see to all, and all of it.
_ODDS = np.r_[-np.inf, np.linspace(math.log(1e-3), math.log(1e12), 121), np.inf]
_FINER = 15  # steps of each finer ladder
_ENDS = np.r_[-np.inf, np.linspace(math.log(1e-3), math.log(1e12), 4000), np.inf]  # along which ends of intervals are looked for


def fit_variances(means: Floats, variances: Floats, df: Floats) -> tuple[Floats, Floats, Floats]:
    """Two components from the variances of replicate groups, by maximum likelihood of the variances.

    Works on many studies at once: the last axis runs over groups, one of them above nought, the others over studies. The
    likelihood is looked at on a ladder of odds, since it may have two tops, then on ever finer ladders about its best step.

    Returns
    -------
    tuple
        constant variance, squared cv, log likelihood (without its constant), each of the leading shape.
    """
    odds = np.broadcast_to(_ODDS, (*means.shape[:-1], _ODDS.size))
    step = float(_ODDS[2] - _ODDS[1])
    while True:
        constant, share, deviance = _along(odds, means, variances, df)
        place = deviance.argmin(axis=-1)[..., None]
        if step < 1e-7:
            a, b, lowest = (np.take_along_axis(item, place, axis=-1)[..., 0] for item in (constant, share, deviance))
            return a, b, -0.5 * lowest
        odds = np.take_along_axis(odds, place, axis=-1) + step * np.linspace(-1.0, 1.0, _FINER)
        step *= 2.0 / (_FINER - 1)


def _along(odds: Floats, means: Floats, variances: Floats, df: Floats) -> tuple[Floats, Floats, Floats]:
    """Constant variance and squared cv that are likeliest for each log odds of theirs, and -2 log likelihood there.

    For odds given, the size of both is a mean over the groups. A group at nought needs a constant part.
    """
    from scipy.special import expit

    x = np.maximum(means, 0.0) ** 2
    strongest = x.max(axis=-1)[..., None]
    shape = expit(-odds)[..., None] + (expit(odds) / strongest)[..., None] * x[..., None, :]
    total = df.sum(axis=-1)[..., None]
    with np.errstate(divide="ignore", invalid="ignore"):
        size = (df[..., None, :] * variances[..., None, :] / shape).sum(axis=-1) / total
        deviance = total * (np.log(size) + 1.0) + (df[..., None, :] * np.log(shape)).sum(axis=-1)
        constant, share = expit(-odds) * size, expit(odds) / strongest * size
    return constant, share, np.where(np.isfinite(deviance), deviance, np.inf)


def _ends(means: Floats, variances: Floats, df: Floats, level: float) -> tuple[tuple[float, float], ...]:
    """Ends of the constant standard deviation and of the cv that the likelihood does not exclude, on all of its tops.

    For odds given, -2 log likelihood is n (log s + m / s) and what does not hang on the size s, with m the best of sizes: it has
    risen by so much at two values of m / s, the two branches of Lambert's function.
    """
    from scipy.special import chdtri, lambertw

    *parts, deviance = _along(_ENDS, means, variances, df)
    room = (deviance.min() + float(chdtri(1, 1 - level)) - deviance) / df.sum()
    held = room >= 0
    low, high = (-1.0 / lambertw(-np.exp(-1.0 - room[held]), branch).real for branch in (-1, 0))
    return tuple((math.sqrt(float((part[held] * low).min())), math.sqrt(float((part[held] * high).max()))) for part in parts)


def fit_two_component(
    groups: Sequence[Sequence[float]],
    *,
    background: float = 0.0,
    below: Sequence[Sequence[bool]] | None = None,
    level: float = 0.9,
) -> TwoComponent:
    """Two-component error model by maximum likelihood across levels, with profile intervals.

    Parameters
    ----------
    groups
        Replicate readings of each sample. [unit of the result]
    background
        Signal without microbes, taken off the group means to get their level. [unit of the result]
    below
        Marks readings that lie below their value; such a group gives its scatter by the likelihood of a censored
        normal sample, with the degrees of freedom of its uncensored readings.
    level
        Confidence of the intervals. [-]

    Raises
    ------
    NotEnoughData
        If the design cannot show both components.

    Source
    ------
    rocke-lorenzato-1995
    """
    arrays, level = [finite(group, "readings") for group in groups], confidence(level)
    marks = (
        [np.zeros(group.size, dtype=bool) for group in arrays]
        if below is None
        else [np.asarray(mark, dtype=bool) for mark in below]
    )
    seen = [_moments(group, mark) for group, mark in zip(arrays, marks, strict=True) if group.size - mark.sum() > 1]
    if len(seen) < 2 or sum(item[2] for item in seen) < 4:
        raise NotEnoughData(
            "Too few repeated readings to see how the scatter grows with the level.",
            "Repeat the test at least three times on a blank or weak sample and three times on a strong one.",
        )
    means, variances, df = (np.array(column) for column in zip(*seen, strict=True))
    means = means - background
    if not np.any(variances > 0):
        raise NotEnoughData(
            "All repeated readings are equal, so their scatter is hidden by rounding.",
            "Read one more digit, or give half the step of the scale as the constant error.",
        )
    if not np.any(means > 0):
        raise NotEnoughData(
            "No sample that was tested more than once reads above the background, so nothing shows how the scatter grows.",
            "Repeat the test on a strong sample.",
        )
    # Repeats that read alike scatter by what their scale hides: a twelfth of its step squared (Sheppard).
    step = float(np.diff(np.unique(np.concatenate(arrays))).min())
    variances = np.where(variances > 0, variances, step**2 / 12.0)
    a, b, best = (float(item) for item in fit_variances(means, variances, df))
    (constant_low, constant_high), (share_low, share_high) = _ends(means, variances, df, level)
    return TwoComponent(
        constant_sd=math.sqrt(a),
        constant_low=constant_low,
        constant_high=constant_high,
        proportional_cv=math.sqrt(b),
        proportional_low=share_low,
        proportional_high=share_high,
        log_likelihood=best,
        level=level,
        df=int(df.sum()),
    )


def _moments(group: Floats, below: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Mean, variance and degrees of freedom of a group of repeats, censored ones included as such."""
    from aerobe.assay._limits import censored_mean, hides_all_scatter

    if hides_all_scatter(group, below):
        return float(group[~below][0]), 0.0, float(group.size - below.sum() - 1)
    if not below.any():
        return float(group.mean()), float(group.var(ddof=1)), group.size - 1.0
    mean, sd, _, _ = censored_mean(tuple(map(float, group)), tuple(map(bool, below)))
    return mean, sd**2 * group.size / (group.size - 1), float(group.size - below.sum() - 1)
