"""Colonies on plates: weighted mean over dilutions, limits, and plates with too many colonies to count."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import confidence, normal_quantile
from aerobe.assay._counts import poisson_limits
from aerobe.errors import NotEnoughData, UnusableReading

MOST_COLONIES = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """One plate: how much undiluted sample it holds, and what grew."""

    sample_ml: float  # volume plated x dilution fraction: 1 mL of a 1:100 is 0.01 [mL]
    colonies: int  # counted; for a plate too crowded to count, the number it exceeds
    too_many: bool = False

    def __post_init__(self) -> None:
        if not 1e-15 <= self.sample_ml <= 1e4:
            raise UnusableReading(
                f"A plate with {self.sample_ml:g} mL of sample is impossible.",
                "Give mL plated times dilution: 1 mL of a 1:100 dilution is 0.01.",
            )
        if self.too_many and self.colonies == 0:
            raise UnusableReading("A plate with more than 0 colonies says nothing.", "Give the number it exceeds: >300.")
        if not 0 <= self.colonies <= MOST_COLONIES or self.colonies != int(self.colonies):
            raise UnusableReading(
                f"{self.colonies:g} colonies cannot be counted.", f"Enter a whole number from 0 to {MOST_COLONIES}."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateCount:
    """Colony-forming units per mL (or g)."""

    value: float  # [CFU/mL]
    reported: float  # rounded to two significant digits
    low: float
    high: float
    level: float
    colonies: int  # behind the value
    plates: int
    rule: str
    says: str


def weighted_mean(plates: Sequence[Plate], *, lowest: int = 10, highest: int = 300, level: float = 0.95) -> PlateCount:
    """Weighted mean of the plates of two consecutive dilutions: sum of colonies over volume of sample plated.

    The first dilution with a plate inside the countable range is used together with the next one. `lowest` 10 and
    `highest` 300 follow ISO 7218; 30 and 300 ISO 21149; 25 and 250 the US FDA manual.

    Raises
    ------
    NotEnoughData
        If no plate can be counted.

    Notes
    -----
    Fewer colonies than `lowest` on all plates still give a value, said to be an estimate; none at all gives an
    upper limit. Limits are those of ISO 7218: (C + 1.92 +- 1.96 sqrt(C + 0.96)) / volume, generalised in level.

    Source
    ------
    iso-7218, iso-21149, fda-bam-ch3
    """
    z = normal_quantile(level)
    by_volume: dict[float, list[Plate]] = {}
    for plate in plates:
        by_volume.setdefault(plate.sample_ml, []).append(plate)
    steps = [by_volume[volume] for volume in sorted(by_volume, reverse=True)]
    if not steps:
        raise NotEnoughData("No plates given.", "Enter volume and colonies of each plate.")
    first = next(
        (
            place
            for place, step in enumerate(steps)
            if any(not plate.too_many and lowest <= plate.colonies <= highest for plate in step)
        ),
        None,
    )
    note = ""
    if first is None:
        first = next(
            (place for place, step in enumerate(steps) if all(not p.too_many and p.colonies <= highest for p in step)), None
        )
        if first is None:
            raise NotEnoughData(
                "All plates carry too many colonies.", "Plate a higher dilution, or use the likelihood for crowded plates."
            )
        note = f" Fewer than {lowest} colonies a plate: an estimate only."
    used = [plate for step in steps[first : first + 2] for plate in step if not plate.too_many and plate.colonies <= highest]
    colonies, volume = sum(plate.colonies for plate in used), math.fsum(plate.sample_ml for plate in used)
    value = colonies / volume
    if colonies == 0:
        high = poisson_limits(0, level)[1] / volume
        return PlateCount(
            value=0.0,
            reported=0.0,
            low=0.0,
            high=high,
            level=level,
            colonies=0,
            plates=len(used),
            rule="weighted mean",
            says=f"No colonies: below {two_digits(high):g} per mL, not zero.",
        )
    centre, half = colonies + z * z / 2, z * math.sqrt(colonies + z * z / 4)
    return PlateCount(
        value=value,
        reported=two_digits(value),
        low=(centre - half) / volume,
        high=(centre + half) / volume,
        level=level,
        colonies=int(colonies),
        plates=len(used),
        rule="weighted mean",
        says=f"{two_digits(value):g} per mL from {int(colonies)} colonies on {len(used)} plates.{note}",
    )


def crowded_plates(plates: Sequence[Plate], *, level: float = 0.95) -> PlateCount:
    """Maximum likelihood with plates too crowded to count: such a plate says 'more than its number'.

    Raises
    ------
    NotEnoughData
        If all plates are too crowded to count.

    Source
    ------
    haas-heller-1988
    """
    from scipy.optimize import brentq
    from scipy.special import chdtri, gammainc, gammaln

    known = [plate for plate in plates if not plate.too_many]
    crowded = [plate for plate in plates if plate.too_many]
    if not known:
        raise NotEnoughData("All plates are too crowded: there is only a lower limit.", "Plate a higher dilution.")
    volume = math.fsum(plate.sample_ml for plate in known)
    colonies = sum(plate.colonies for plate in known)
    v, limit = np.array([plate.sample_ml for plate in crowded]), np.array([plate.colonies for plate in crowded], dtype=float)

    def score(log_rate: float) -> float:
        # d lnL / d rate; P(X >= limit) is the regularised lower incomplete gamma function.
        rate = math.exp(log_rate)
        at = rate * v
        density = np.exp((limit - 1) * np.log(at) - at - gammaln(limit)) if v.size else np.zeros(0)
        tail = np.maximum(gammainc(limit, at), 1e-300) if v.size else np.ones(0)
        push = np.where(tail > 1e-290, density / tail, limit / np.maximum(at, 1e-300))
        return float((v * push).sum()) + colonies / rate - volume

    def log_likelihood(rate: float) -> float:
        tail = _log_of_tail(limit, rate * v).sum() if v.size else 0.0
        return float(tail) + (colonies * math.log(rate) if colonies else 0.0) - rate * volume

    if colonies == 0 and not crowded:
        return weighted_mean(plates, level=level)
    reach = (colonies + float(limit.sum()) + 50) / volume
    rate = math.exp(brentq(score, math.log(1e-6 / volume), math.log(100 * reach)))
    rise = float(chdtri(1, 1 - confidence(level))) / 2

    def gap(log_rate: float) -> float:
        return log_likelihood(math.exp(log_rate)) - log_likelihood(rate) + rise

    low = math.exp(brentq(gap, math.log(rate) - 20, math.log(rate)))
    high = math.exp(brentq(gap, math.log(rate), math.log(rate) + 10))
    return PlateCount(
        value=rate,
        reported=two_digits(rate),
        low=low,
        high=high,
        level=level,
        colonies=int(colonies),
        plates=len(plates),
        rule="likelihood with crowded plates",
        says=f"{two_digits(rate):g} per mL; {len(crowded)} crowded plates counted as 'more than', not thrown away.",
    )


def _log_of_tail(limit: np.ndarray, at: np.ndarray) -> np.ndarray:
    """ln P(X >= limit) of a Poisson count with mean `at`; far below the limit its first term stands for all of it."""
    from scipy.special import gammainc, gammaln

    tail = gammainc(limit, at)
    first = limit * np.log(at) - at - gammaln(limit + 1)
    return np.where(tail > 1e-290, np.log(np.maximum(tail, 1e-300)), first)


def two_digits(value: float) -> float:
    """Rounded to two significant digits, halves to even, as counts are reported. [of the value]"""
    if value == 0 or not math.isfinite(value):
        return value
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 1)
    return round(value / step) * step
