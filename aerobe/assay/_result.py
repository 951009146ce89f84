"""From one reading to biomass with honest limits, by inverting the error model."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.assay._arrays import normal_quantile
from aerobe.errors import UnusableReading
from aerobe.records import AssayError
from aerobe.units import number


@dataclass(frozen=True, slots=True, kw_only=True)
class Biomass:
    """A result with its interval. A result below the decision limit is an upper bound, never zero."""

    value: float  # reading less bias; may be negative by chance [unit of the result]
    low: float  # not below zero
    high: float
    level: float
    told_from_zero: bool
    censored: bool
    says: str


def biomass_from_reading(
    error: AssayError,
    reading: float,
    *,
    readings: int = 1,
    level: float = 0.9,
    with_scale: bool = False,
    below_detection: bool = False,
    above_range: bool = False,
) -> Biomass:
    """What a reading, or the mean of several of one sample, means.

    All true values that could give such a reading: |reading - bias - x| <= k sd(x), solved for x. Since the scatter
    grows with x, the upper limit lies further off than the lower one.

    Parameters
    ----------
    reading
        As read, bias still in it; the limit itself for a censored reading. [unit of the result]
    with_scale
        Include the uncertain scale shared by all readings of the kit: needed to compare with another kind of test,
        not to compare brews measured with this one.

    Raises
    ------
    UnusableReading
        If the reading is no finite number, or stands for fewer than one test.

    Source
    ------
    rocke-lorenzato-1995, currie-1968
    """
    if not math.isfinite(reading) or readings < 1 or (below_detection and above_range):
        raise UnusableReading("This reading cannot be used.", "Give a number, at least one reading, and one mark at most.")
    z = normal_quantile(level)
    base = error.constant_sd**2 / readings + error.bias_sd**2
    relative = error.proportional_cv**2 / readings + (math.expm1(error.gain_log_sd**2) if with_scale else 0.0)
    value = reading - error.bias
    low, high = _inverted(value, z, base, relative)
    if below_detection:
        return Biomass(
            value=math.nan,
            low=0.0,
            high=max(0.0, _inverted(value, normal_quantile(2 * level - 1) if level > 0.75 else z, base, relative)[1]),
            level=level,
            told_from_zero=False,
            censored=True,
            says=f"Below {number(reading)}: kept as 'less than', not as zero.",
        )
    if above_range:
        return Biomass(
            value=math.nan,
            low=max(0.0, low),
            high=math.inf,
            level=level,
            told_from_zero=True,
            censored=True,
            says=f"Above {number(reading)}: dilute and repeat; kept as 'more than'.",
        )
    told = value > decision_limit(error, readings=readings)
    if told:
        says = (
            f"{number(reading)} means {number(max(0.0, low))} to {number(high)}."
            if math.isfinite(high)
            else (f"{number(reading)} means more than {number(max(0.0, low))}: this test's scatter sets no upper bound.")
        )
    else:
        says = f"{number(reading)} cannot be told from no microbes; at most {number(max(0.0, high))}."
    return Biomass(
        value=value, low=max(0.0, low), high=max(0.0, high), level=level, told_from_zero=told, censored=False, says=says
    )


def decision_limit(error: AssayError, *, readings: int = 1, alpha: float = 0.05) -> float:
    """Net result above which microbes are shown, with this risk of a false alarm. [unit of the result]

    For one reading and 5 % the limit of the record is taken where it has one.

    Source
    ------
    currie-1968
    """
    from scipy.special import ndtri

    if error.detection_limit is not None and readings == 1 and alpha == 0.05:
        return error.detection_limit
    return float(ndtri(1 - alpha)) * math.sqrt(error.constant_sd**2 / readings + error.bias_sd**2)


def _inverted(value: float, z: float, base: float, relative: float) -> tuple[float, float]:
    """x with (value - x)^2 = z^2 (base + relative x^2)."""
    a = 1 - z * z * relative
    if a <= 0:
        # The scatter outgrows the result: no upper bound. The lower one is the smaller root in magnitude.
        inside = value * value - a * (value * value - z * z * base)
        return (value - math.sqrt(max(0.0, inside))) / a if value * value > z * z * base and a < 0 else 0.0, math.inf
    root = math.sqrt(max(0.0, value * value - a * (value * value - z * z * base)))
    return (value - root) / a, (value + root) / a
