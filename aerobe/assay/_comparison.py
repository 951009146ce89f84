"""Two tests on the same samples: lines that allow for error in both, and limits of agreement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import Floats, finite, normal_quantile, t_quantile
from aerobe.errors import NotEnoughData, OutsideValidity


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """second = intercept + slope x first, with intervals."""

    method: str
    intercept: float
    intercept_low: float
    intercept_high: float
    slope: float
    slope_low: float
    slope_high: float
    slope_sd: float  # nan where the method gives none
    intercept_sd: float
    pairs: int
    level: float

    @property
    def says(self) -> str:
        """Whether the two tests read alike."""
        parts = []
        if self.slope_low <= 1 <= self.slope_high:
            parts.append("no proportional difference is shown")
        else:
            parts.append(
                f"the second test reads {self.slope:.2f} times the first ({self.slope_low:.2f} to {self.slope_high:.2f})"
            )
        if self.intercept_low <= 0 <= self.intercept_high:
            parts.append("no constant difference is shown")
        else:
            parts.append(f"and {self.intercept:+.3g} more ({self.intercept_low:.3g} to {self.intercept_high:.3g})")
        return f"{self.method}, {self.pairs} pairs: " + ", ".join(parts) + "."


def paired(first: Sequence[float], second: Sequence[float], at_least: int) -> tuple[Floats, Floats]:
    """Results of both tests as arrays, shape (samples,) each; refuses what cannot be compared."""
    x, y = (
        finite(first, "results of the first test", at_least=at_least),
        finite(second, "results of the second test", at_least=at_least),
    )
    if x.size != y.size:
        raise NotEnoughData(
            f"{x.size} results of the first test, {y.size} of the second.", "Give both for each sample; leave unpaired ones out."
        )
    if np.ptp(x) == 0 or np.ptp(y) == 0:
        raise NotEnoughData("All samples read the same.", "Compare the tests over samples from weak to strong.")
    return x, y


def _rising_pairs(first: Sequence[float], second: Sequence[float], at_least: int) -> tuple[Floats, Floats]:
    """Pairs of two tests that do not clearly fall against each other; a line between such means nothing."""
    x, y = paired(first, second, at_least)
    together = float(np.corrcoef(x, y)[0, 1])
    # Fisher's z, one-sided 5 %: a weak correlation is shown as the loose line that it is, one that is surely negative is not.
    surely_against = together <= -0.999999 or np.arctanh(together) * np.sqrt(max(x.size - 3, 1)) < -1.645
    if surely_against:
        raise NotEnoughData(
            f"The two tests do not rise together (correlation {together:.2f}): no line turns one into the other.",
            "Check that both list the samples in the same order; if they do, the two measure different things.",
        )
    return x, y


def deming(first: Sequence[float], second: Sequence[float], *, error_ratio: float = 1.0, level: float = 0.95) -> Line:
    """Deming regression with jackknife intervals.

    Parameters
    ----------
    error_ratio
        Error variance of the second test over that of the first. [-]

    Raises
    ------
    OutsideValidity
        If the ratio of error variances is not above zero.

    Source
    ------
    deming-1943, linnet-1993
    """
    x, y = _rising_pairs(first, second, 3)
    if error_ratio <= 0:
        raise OutsideValidity(
            "The ratio of error variances is not above zero.", "Estimate it from repeats of both tests, or use 1."
        )
    n = x.size
    intercept, slope = _deming_lines(x[None], y[None], error_ratio)
    keep = ~np.eye(n, dtype=bool)
    left = _deming_lines(np.tile(x, (n, 1))[keep].reshape(n, n - 1), np.tile(y, (n, 1))[keep].reshape(n, n - 1), error_ratio)
    sds = [
        float((n * full[0] - (n - 1) * part).std(ddof=1)) / math.sqrt(n)
        for full, part in zip((intercept, slope), left, strict=True)
    ]
    t = t_quantile(level, n - 2)
    a, b = float(intercept[0]), float(slope[0])
    return Line(
        method="Deming",
        intercept=a,
        intercept_low=a - t * sds[0],
        intercept_high=a + t * sds[0],
        slope=b,
        slope_low=b - t * sds[1],
        slope_high=b + t * sds[1],
        slope_sd=sds[1],
        intercept_sd=sds[0],
        pairs=n,
        level=level,
    )


def _deming_lines(x: Floats, y: Floats, ratio: float) -> tuple[Floats, Floats]:
    mx, my = x.mean(axis=1, keepdims=True), y.mean(axis=1, keepdims=True)
    sx, sy, sxy = ((x - mx) ** 2).mean(1), ((y - my) ** 2).mean(1), ((x - mx) * (y - my)).mean(1)
    slope = (sy - ratio * sx + np.sqrt((sy - ratio * sx) ** 2 + 4 * ratio * sxy**2)) / (2 * sxy)
    return my[:, 0] - slope * mx[:, 0], slope


def passing_bablok(first: Sequence[float], second: Sequence[float], *, level: float = 0.95) -> Line:
    """Passing-Bablok regression: the median of all slopes, shifted; outliers hardly move it.

    Raises
    ------
    NotEnoughData
        If there are too few pairs.

    Source
    ------
    passing-bablok-1983
    """
    x, y = _rising_pairs(first, second, 5)
    n = x.size
    i, j = np.triu_indices(n, 1)
    dx, dy = x[j] - x[i], y[j] - y[i]
    moved = (dx != 0) | (dy != 0)
    with np.errstate(divide="ignore"):
        slopes = np.where(dx[moved] != 0, dy[moved] / np.where(dx[moved] != 0, dx[moved], 1.0), np.sign(dy[moved]) * np.inf)
    slopes = np.sort(slopes[slopes != -1])
    if not slopes.size:
        raise NotEnoughData("No two samples rise together in both tests.", "Check that both list the samples in the same order.")
    size, shift = slopes.size, int((slopes < -1).sum())
    middle = slopes[(size - 1) // 2 + shift] if size % 2 else 0.5 * (slopes[size // 2 - 1 + shift] + slopes[size // 2 + shift])
    reach = normal_quantile(level) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    first_place = round((size - reach) / 2)
    low_place, high_place = first_place + shift - 1, size - first_place + shift
    if low_place < 0 or high_place >= size:
        raise NotEnoughData(
            f"{n} pairs are too few for limits by this method.", "Give at least ten pairs, or use Deming regression."
        )
    low, high = float(slopes[low_place]), float(slopes[high_place])

    def height(slope: float) -> float:
        return float(np.median(y - slope * x))

    return Line(
        method="Passing-Bablok",
        intercept=height(float(middle)),
        intercept_low=height(high),
        intercept_high=height(low),
        slope=float(middle),
        slope_low=low,
        slope_high=high,
        slope_sd=math.nan,
        intercept_sd=math.nan,
        pairs=n,
        level=level,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Bland and Altman's limits of agreement of first minus second (or of their ratio)."""

    bias: float
    bias_low: float
    bias_high: float
    sd: float
    lower: float
    lower_interval: tuple[float, float]
    upper: float
    upper_interval: tuple[float, float]
    trend: float  # slope of the difference on the mean [-]
    trend_p: float
    pairs: int
    relative: bool  # the figures are ratios, found on the log scale
    says: str


def limits_of_agreement(
    first: Sequence[float],
    second: Sequence[float],
    *,
    relative: bool = False,
    level: float = 0.95,
    multiplier: float | None = None,
) -> Agreement:
    """Bias and limits of agreement, with their own intervals and a test whether the difference grows with the level.

    Parameters
    ----------
    relative
        Work on logs and give ratios: right when the difference grows with the level.
    multiplier
        Times the sd for the limits: the normal quantile if left out; the 1986 paper uses 2.

    Raises
    ------
    OutsideValidity
        If ratios are asked of results that are not above zero.

    Source
    ------
    bland-altman-1986
    """
    from scipy.special import stdtr

    x, y = paired(first, second, 3)
    if relative:
        if np.any(x <= 0) or np.any(y <= 0):
            raise OutsideValidity(
                "A ratio needs results above zero.", "Use absolute differences, or leave out what was not detected."
            )
        x, y = np.log(x), np.log(y)
    d, n = x - y, x.size
    bias, sd, t = float(d.mean()), float(d.std(ddof=1)), t_quantile(level, n - 1)
    k = normal_quantile(level) if multiplier is None else multiplier
    se_bias, se_limit = sd / math.sqrt(n), sd * math.sqrt(3 / n)
    middle = (x + y) / 2
    sxx = float(((middle - middle.mean()) ** 2).sum())
    trend = float(((middle - middle.mean()) * d).sum()) / sxx if sxx > 0 else 0.0
    rest = d - bias - trend * (middle - middle.mean())
    trend_sd = math.sqrt(float((rest**2).sum()) / max(1, n - 2) / sxx) if sxx > 0 else math.inf
    p = 2 * float(stdtr(n - 2, -abs(trend) / trend_sd)) if trend_sd > 0 and n > 2 else 1.0

    def out(value: float) -> float:
        return math.exp(value) if relative else value

    lower, upper = bias - k * sd, bias + k * sd
    sign, reach = ("over", "times") if relative else ("minus", "difference")
    says = f"First {sign} second: {reach} {out(bias):.3g}; "
    says += f"limits {out(lower):.3g} to {out(upper):.3g} hold about {100 * level:.0f} in 100 pairs."
    if p < 0.05:
        says += " The difference changes with the level, so one bias does not describe it."
    return Agreement(
        bias=out(bias),
        bias_low=out(bias - t * se_bias),
        bias_high=out(bias + t * se_bias),
        sd=sd,
        lower=out(lower),
        lower_interval=(out(lower - t * se_limit), out(lower + t * se_limit)),
        upper=out(upper),
        upper_interval=(out(upper - t * se_limit), out(upper + t * se_limit)),
        trend=trend,
        trend_p=p,
        pairs=n,
        relative=relative,
        says=says,
    )
