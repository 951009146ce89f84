"""Does the test follow a dilution in a straight line, and over which range is it valid?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import Floats, finite
from aerobe.assay._least_squares import Fit, polynomial
from aerobe.errors import NotEnoughData
from aerobe.units import number


@dataclass(frozen=True, slots=True, kw_only=True)
class Linearity:
    """A straight line against curves of degree 2 and 3, and against the repeats (lack of fit)."""

    intercept: float
    slope: float
    curve_p: float  # of the best curve's extra terms; small means curved
    degree: int  # 1 when no curve is better
    lack_of_fit_f: float  # nan without repeats
    lack_of_fit_p: float
    deviations: tuple[tuple[float, float], ...]  # level, curve minus line in % of the line
    largest_deviation_percent: float
    allowed_percent: float
    linear: bool
    valid_low: float
    valid_high: float
    says: str


def linearity(
    levels: Sequence[float],
    signals: Sequence[float],
    *,
    allowed_percent: float = 15.0,
    constant_sd: float = 1.0,
    proportional_cv: float = 0.0,
    alpha: float = 0.05,
) -> Linearity:
    """Linearity over a series of known relative levels, for example 1 / dilution.

    Polynomials of degree 1 to 3 are fitted, weighted by the error model; a curve counts when its extra terms are
    significant, and matters when it leaves the line by more than `allowed_percent` of the line. The valid range is the
    longest stretch from the lowest level in which it does not.

    Raises
    ------
    NotEnoughData
        If levels and signals do not pair up, or are too few.

    Source
    ------
    clsi-ep06, miller-miller-2010
    """
    from scipy.special import fdtrc

    x, y = finite(levels, "levels", at_least=5), finite(signals, "signals", at_least=5)
    if x.size != y.size:
        raise NotEnoughData(f"{x.size} levels but {y.size} signals.", "Give one signal for each level.")
    distinct = np.unique(x)
    if distinct.size < 4:
        raise NotEnoughData(
            f"{distinct.size} dilution levels.", "Test at least four, better five: undiluted, 1:2, 1:4, 1:8 and water."
        )
    rough = polynomial(x, y, 1)
    net = np.maximum(rough.coefficients[1] * x, 0.0)
    weights = 1 / (constant_sd**2 + (proportional_cv * net) ** 2)
    top = float(abs(x).max())
    fits = {
        degree: polynomial(x / top, y, degree, weights=weights)
        for degree in range(1, min(4, distinct.size - 1))
        if x.size > degree + 1
    }
    line, degree, p_curve = fits[1], 1, 1.0
    for tried in sorted(fits)[1:]:
        curve = fits[tried]
        extra = (line.residual_sum_of_squares - curve.residual_sum_of_squares) / (tried - 1)
        # An exact curve leaves nothing over: rounding must not turn that into a division by zero.
        rest = max(curve.residual_sum_of_squares / curve.residual_df, 1e-24 * float((weights * y * y).sum()), 1e-300)
        p = float(fdtrc(tried - 1, curve.residual_df, max(0.0, extra / rest)))
        if p < min(alpha, p_curve):
            degree, p_curve = tried, p
    f_lack, p_lack = _lack_of_fit(x, y, weights, line)
    deviations = tuple((float(at), _deviation(fits[degree], line, float(at) / top)) for at in distinct if at > 0)
    largest = max((abs(value) for _, value in deviations), default=0.0)
    low, high = _stretch(deviations, allowed_percent)
    straight = degree == 1 or largest <= allowed_percent
    slope = line.coefficients[1] / top
    if slope <= 0:
        says = "The signal does not rise with the level: the test does not measure what was diluted."
    elif straight:
        says = f"Straight from {number(low)} to {number(high)}: no curve beyond {allowed_percent:g} % is shown."
    elif high > low:
        says = f"Curved: within {allowed_percent:g} % of a line only from {number(low)} to {number(high)}."
    else:
        says = f"Curved: no stretch of the series stays within {allowed_percent:g} % of a line."
    return Linearity(
        intercept=line.coefficients[0],
        slope=slope,
        curve_p=p_curve,
        degree=degree,
        lack_of_fit_f=f_lack,
        lack_of_fit_p=p_lack,
        deviations=deviations,
        largest_deviation_percent=largest,
        allowed_percent=allowed_percent,
        linear=straight and slope > 0,
        valid_low=low,
        valid_high=high,
        says=says,
    )


def _deviation(curve: Fit, line: Fit, at: float) -> float:
    straight = line.coefficients[0] + line.coefficients[1] * at
    bent = sum(value * at**power for power, value in enumerate(curve.coefficients))
    # In per cent of the line's rise above its own zero, so that a background does not flatter the test.
    return 100 * (bent - straight) / abs(line.coefficients[1] * at) if line.coefficients[1] else math.inf


def _lack_of_fit(x: Floats, y: Floats, weights: Floats, line: Fit) -> tuple[float, float]:
    from scipy.special import fdtrc

    pure, groups = 0.0, np.unique(x)
    for at in groups:
        mine = x == at
        mean = float((weights[mine] * y[mine]).sum() / weights[mine].sum())
        pure += float((weights[mine] * (y[mine] - mean) ** 2).sum())
    df_pure, df_lack = x.size - groups.size, groups.size - 2
    if df_pure < 1 or pure <= 0 or df_lack < 1:
        return math.nan, math.nan
    f = max(0.0, (line.residual_sum_of_squares - pure) / df_lack) / (pure / df_pure)
    return f, float(fdtrc(df_lack, df_pure, f))


def _stretch(deviations: Sequence[tuple[float, float]], allowed: float) -> tuple[float, float]:
    best: tuple[float, float] = (math.nan, math.nan)
    longest, start = 0, None
    for place, (at, value) in enumerate(deviations):
        if abs(value) > allowed:
            start = None
            continue
        start = place if start is None else start
        if place - start + 1 > longest:
            longest, best = place - start + 1, (deviations[start][0], at)
    return best


@dataclass(frozen=True, slots=True, kw_only=True)
class ValidRange:
    """From where to where a result may be quoted."""

    low: float
    high: float
    limited_below_by: str
    limited_above_by: str


def valid_range(
    *,
    detection: float,
    quantification: float,
    linear_low: float = math.nan,
    linear_high: float = math.nan,
    highest_tested: float = math.inf,
    upper_limit: float = math.inf,
) -> ValidRange:
    """The stretch where the test is above its limit, straight, and was looked at."""
    floors = {"the quantification limit": quantification, "the lowest straight dilution": linear_low}
    if not math.isfinite(quantification):
        floors["the detection limit"] = detection
    low_name, low = max(
        ((name, value) for name, value in floors.items() if math.isfinite(value)),
        key=lambda item: item[1],
        default=("nothing tested", 0.0),
    )
    ceilings = {
        "the highest straight dilution": linear_high,
        "the highest sample tested": highest_tested,
        "the end of the scale": upper_limit,
    }
    high_name, high = min(
        ((name, value) for name, value in ceilings.items() if math.isfinite(value)),
        key=lambda item: item[1],
        default=("nothing tested", math.inf),
    )
    return ValidRange(low=low, high=high, limited_below_by=low_name, limited_above_by=high_name)
