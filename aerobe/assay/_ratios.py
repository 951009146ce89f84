"""Ratios of two uncertain numbers, and the fungal to bacterial ratio with its kind."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.assay._arrays import normal_quantile, t_quantile
from aerobe.errors import OutsideValidity, UnusableReading
from aerobe.units import number

RATIO_KINDS = {
    "mass": "of biomass",
    "count": "of numbers counted under the microscope",
    "plate": "of colonies on plates",
    "marker": "of marker substances or genes",
    "unknown": "of an unknown kind",
}


LEAST, MOST = 1e-18, 1e18  # of a number in a ratio: beyond lie slips of the pen
MOST_RELATIVE_SD = 100.0


def _require_plausible(*pairs: tuple[float, float]) -> None:
    for value, sd in pairs:
        if not (value == 0 or LEAST <= abs(value) <= MOST) or not 0 <= sd <= MOST:
            raise UnusableReading(
                f"{value:g} with an uncertainty of {sd:g} is no result.", "Give a number and its standard uncertainty, 0 or more."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioInterval:
    """A ratio with limits. `bounded` is False when the divisor cannot be told from zero."""

    value: float
    low: float
    high: float
    level: float
    bounded: bool
    says: str


def fieller(
    top: float,
    bottom: float,
    top_sd: float,
    bottom_sd: float,
    *,
    covariance: float = 0.0,
    df: float = math.inf,
    level: float = 0.95,
) -> RatioInterval:
    """Fieller's interval of top / bottom; right even when the bottom is uncertain, and open-ended when it may be zero.

    Raises
    ------
    OutsideValidity
        If the divisor is zero.

    Source
    ------
    fieller-1954
    """
    if bottom == 0:
        raise OutsideValidity("The divisor is zero.", "A ratio to nothing has no value; report both numbers.")
    _require_plausible((top, top_sd), (bottom, bottom_sd))
    t = t_quantile(level, df)
    ratio = top / bottom
    # The limits are the roots of a r^2 - 2 b r + c = 0.
    a, b, c = bottom**2 - t * t * bottom_sd**2, top * bottom - t * t * covariance, top**2 - t * t * top_sd**2
    inside = b * b - a * c
    if a <= 0:
        # Either the whole line, or everything outside two limits; both mean: no bounded statement.
        return RatioInterval(
            value=ratio,
            low=-math.inf,
            high=math.inf,
            level=level,
            bounded=False,
            says="The divisor cannot be told from zero, so the ratio has no bounds. Repeat the test on the smaller part.",
        )
    root = math.sqrt(max(0.0, inside))
    low, high = (b - root) / a, (b + root) / a
    return RatioInterval(
        value=ratio, low=low, high=high, level=level, bounded=True, says=f"{number(ratio)} ({number(low)} to {number(high)})."
    )


def log_ratio(
    top: float, bottom: float, top_sd: float, bottom_sd: float, *, correlation: float = 0.0, level: float = 0.95
) -> RatioInterval:
    """Interval of a ratio of two positive numbers on the log scale: right when the errors are proportional.

    Raises
    ------
    OutsideValidity
        If a number is not above zero, or its uncertainty swamps it.

    Source
    ------
    aitchison-1986
    """
    if top <= 0 or bottom <= 0:
        raise OutsideValidity(
            "A log-ratio needs two numbers above zero.", "Use Fieller's interval, or the detection limit as a bound."
        )
    _require_plausible((top, top_sd), (bottom, bottom_sd))
    if max(top_sd / top, bottom_sd / bottom) > MOST_RELATIVE_SD:
        raise OutsideValidity(
            f"An uncertainty is over {MOST_RELATIVE_SD:g} times its number: the ratio says nothing.",
            "Check number and uncertainty.",
        )
    r_top, r_bottom = top_sd / top, bottom_sd / bottom
    spread = math.sqrt(max(0.0, r_top**2 + r_bottom**2 - 2 * correlation * r_top * r_bottom))
    factor = math.exp(normal_quantile(level) * spread)
    ratio = top / bottom
    return RatioInterval(
        value=ratio,
        low=ratio / factor,
        high=ratio * factor,
        level=level,
        bounded=True,
        says=f"{number(ratio)} ({number(ratio / factor)} to {number(ratio * factor)}).",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FungalRatio:
    """A fungal to bacterial ratio with its standard uncertainty on the log scale, and what kind of ratio it is."""

    ratio: float  # fungi / bacteria [-]
    log_sd: float  # standard uncertainty of ln(ratio) [-]
    kind: str  # mass, count, plate, marker or unknown

    def __post_init__(self) -> None:
        if self.kind not in RATIO_KINDS:
            raise UnusableReading(f"'{self.kind}' is no kind of ratio.", f"Use one of: {', '.join(RATIO_KINDS)}.")
        if not (math.isfinite(self.ratio) and self.ratio > 0) or self.log_sd < 0:
            raise UnusableReading(
                f"A fungal to bacterial ratio of {self.ratio:g} is not above zero.",
                "When one part was not detected, enter its limit and mark the reading as censored.",
            )

    def fungal_fraction(self, level: float = 0.9) -> tuple[float, float, float]:
        """Share of fungi in the sum of both, with limits: the exact image of the log-ratio's interval."""
        factor = math.exp(normal_quantile(level) * self.log_sd)

        def share(ratio: float) -> float:
            return ratio / (1 + ratio)

        return share(self.ratio), share(self.ratio / factor), share(self.ratio * factor)


def ratio_from_parts(fungi: float, bacteria: float, fungi_sd: float, bacteria_sd: float, kind: str) -> FungalRatio:
    """The ratio of two measured parts."""
    found = log_ratio(fungi, bacteria, fungi_sd, bacteria_sd)
    return FungalRatio(ratio=found.value, log_sd=math.hypot(fungi_sd / fungi, bacteria_sd / bacteria), kind=kind)
