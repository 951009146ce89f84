"""What the tea around the cells does to a test: slopes in tea and in water, recovery of what was added, standard addition."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import finite, t_quantile
from aerobe.assay._least_squares import calibrate, least_squares
from aerobe.errors import NotEnoughData, OutsideValidity, UnusableReading
from aerobe.units import number, span


@dataclass(frozen=True, slots=True, kw_only=True)
class Parallelism:
    """Slopes of the diluted tea and of the diluted standard, on log scales or as they are."""

    slope_ratio: float
    low: float
    high: float
    parallel: bool  # the whole interval lies within the allowed factor
    shown_not_parallel: bool  # the interval excludes 1
    says: str


def parallelism(
    tea: Sequence[tuple[float, float]],
    standard: Sequence[tuple[float, float]],
    *,
    allowed_factor: float = 1.25,
    level: float = 0.9,
) -> Parallelism:
    """Do tea and standard lose signal alike on dilution? Pairs of (relative level, signal less background), both above zero.

    Log signal on log level; the ratio of slopes is 1 when the matrix does not interfere. Equivalence is claimed only
    when the whole interval lies within the allowed factor.

    Raises
    ------
    NotEnoughData
        If a series has fewer than two dilutions.
    OutsideValidity
        If a signal is not above the background, or a series does not rise.

    Source
    ------
    finney-1978
    """
    points = [*tea, *standard]
    x, y = finite((item[0] for item in points), "levels", at_least=5), finite((item[1] for item in points), "signals", at_least=5)
    if len(tea) < 2 or len(standard) < 2:
        raise NotEnoughData("Both series need at least two dilutions.", "Test tea and standard at three dilutions each.")
    if np.any(x <= 0) or np.any(y <= 0):
        raise OutsideValidity(
            "Parallelism is judged on signals above the background.", "Leave out dilutions below the decision limit."
        )
    is_tea = np.r_[np.ones(len(tea)), np.zeros(len(standard))]
    fit = least_squares(np.column_stack([is_tea, 1 - is_tea, is_tea * np.log(x), (1 - is_tea) * np.log(x)]), np.log(y))
    b_tea, b_std = fit.coefficients[2], fit.coefficients[3]
    if b_tea <= 0 or b_std <= 0:
        raise OutsideValidity("A series does not rise with its level.", "Check the order of the dilutions.")
    spread = math.hypot(fit.sd(2) / b_tea, fit.sd(3) / b_std)
    factor, ratio = math.exp(t_quantile(level, fit.residual_df) * spread), b_tea / b_std
    low, high = ratio / factor, ratio * factor
    fits, off = 1 / allowed_factor <= low and high <= allowed_factor, low > 1 or high < 1
    says = f"Slope of the tea over that of the standard: {number(ratio)} ({number(low)} to {number(high)}). "
    if fits:
        says += "Parallel within the allowed factor."
    elif off:
        says += (
            "Not parallel: the tea interferes, so results depend on the dilution; quote the dilution, or use standard addition."
        )
    else:
        says += "Not settled: add dilutions or repeats."
    return Parallelism(slope_ratio=ratio, low=low, high=high, parallel=fits, shown_not_parallel=off, says=says)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """Share of an addition that the test finds."""

    fraction: float  # [-]
    sd: float
    low: float
    high: float
    complete: bool  # the interval holds 1
    says: str


def spike_recovery(
    before: Sequence[float], after: Sequence[float], added: float, *, added_sd: float = 0.0, level: float = 0.9
) -> Recovery:
    """Recovery of a known addition: (after - before) / added.

    Scatter of both is taken as equal within the level reached, so their pooled scatter is used.

    Raises
    ------
    UnusableReading
        If the addition is not above zero.

    Source
    ------
    iupac-recovery-2002
    """
    a, b = finite(before, "readings before the addition", at_least=2), finite(after, "readings after the addition", at_least=2)
    if added <= 0:
        raise UnusableReading(f"An addition of {added:g}.", "Give the amount added, in the unit of the result.")
    df_a, df_b = a.size - 1, b.size - 1
    v_a, v_b = float(a.var(ddof=1)) / a.size, float(b.var(ddof=1)) / b.size
    gain = float(b.mean() - a.mean())
    fraction = gain / added
    sd = math.sqrt((v_a + v_b) / added**2 + (fraction * added_sd / added) ** 2)
    # Welch's degrees of freedom; equal readings leave the normal quantile.
    df = (v_a + v_b) ** 2 / (v_a**2 / df_a + v_b**2 / df_b) if v_a + v_b > 0 else math.inf
    half = t_quantile(level, df) * sd
    low, high = fraction - half, fraction + half
    says = f"The test finds {100 * fraction:.0f} % of an addition ({span(100 * low, 100 * high, '%')}). "
    says += (
        "Complete recovery is not excluded."
        if low <= 1 <= high
        else ("The tea hides part of the signal." if high < 1 else "The tea enhances the signal.")
    )
    return Recovery(fraction=fraction, sd=sd, low=low, high=high, complete=low <= 1 <= high, says=says)


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardAddition:
    """Content of a sample by additions to it, free of a matrix that changes the slope."""

    content: float
    sd: float
    low: float
    high: float
    slope: float


def standard_addition(
    added: Sequence[float], signals: Sequence[float], *, background: float = 0.0, level: float = 0.95
) -> StandardAddition:
    """Content where the line through the additions meets the background signal.

    Raises
    ------
    OutsideValidity
        If the signal does not rise with the additions.

    Source
    ------
    miller-miller-2010
    """
    y = finite(signals, "signals", at_least=3) - background
    line = calibrate(added, tuple(map(float, y)))
    if line.slope <= 0:
        raise OutsideValidity(
            "The signal does not rise with the additions.", "Check the order of the additions, and saturation of the test."
        )
    content, sd = line.level_at_zero_signal()
    half = t_quantile(level, line.fit.residual_df) * sd
    return StandardAddition(content=content, sd=sd, low=content - half, high=content + half, slope=line.slope)
