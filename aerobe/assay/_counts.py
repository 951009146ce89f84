"""Counting under the microscope: fields, counting chambers, hyphal length."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.assay._arrays import confidence, finite, t_quantile
from aerobe.errors import UnusableReading


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """A count turned into a density, with its interval."""

    value: float  # [1/mL] or the unit of the factor
    low: float
    high: float
    level: float
    counted: int  # objects
    fields: int
    dispersion: float  # variance over mean of the fields; 1 for a random spread
    dispersion_p: float  # chance of such a spread or wider if the objects lay at random
    overdispersed: bool
    says: str


def poisson_limits(count: float, level: float = 0.95) -> tuple[float, float]:
    """Exact limits of a Poisson mean.

    Source
    ------
    garwood-1936
    """
    from scipy.special import gammaincinv

    tail = (1 - confidence(level)) / 2
    low = 0.0 if count == 0 else float(gammaincinv(count, tail))
    return low, float(gammaincinv(count + 1, 1 - tail))


def density_from_fields(counts: Sequence[float], factor: float, *, level: float = 0.95) -> Density:
    """Density from counts in equal fields, Poisson or overdispersed as the fields themselves show.

    Parameters
    ----------
    counts
        Objects in each field.
    factor
        Density for one object a field on average: filter area over field area, over volume filtered; or for a
        chamber dilution over field volume. [1/mL]

    Raises
    ------
    UnusableReading
        If a count or the factor is impossible.

    Notes
    -----
    When the fields scatter more than chance allows (index of dispersion, 5 %), the interval uses their own scatter:
    Student limits on the mean of the fields. Counting more objects in few fields does not help then.

    Source
    ------
    garwood-1936, fisher-1922-dispersion
    """
    from scipy.special import chdtrc

    n = finite(counts, "fields")
    if np.any(n < 0) or np.any(n != np.round(n)):
        raise UnusableReading("A count is negative or broken.", "Enter whole objects for each field; empty fields count as 0.")
    if not factor > 0:
        raise UnusableReading(f"A factor of {factor:g} turns counts into nothing.", "Check areas, volume and dilution.")
    total, mean = float(n.sum()), float(n.mean())
    low, high = (limit / n.size for limit in poisson_limits(total, level))
    ratio, p = math.nan, math.nan
    if n.size > 1 and mean > 0:
        ratio = float(n.var(ddof=1)) / mean
        p = float(chdtrc(n.size - 1, ratio * (n.size - 1)))
    clumped = bool(p < 0.05)
    if clumped:
        half = t_quantile(level, n.size - 1) * float(n.std(ddof=1)) / math.sqrt(n.size)
        low, high = max(0.0, mean - half), mean + half
    if total == 0:
        says = "Nothing counted: quote the upper limit, not zero."
    elif clumped:
        says = f"The fields differ {ratio:.1f} times more than chance allows: the objects clump. "
        says += "Count more fields, not more in each."
    else:
        says = "The fields scatter as chance allows."
    return Density(
        value=mean * factor,
        low=low * factor,
        high=high * factor,
        level=level,
        counted=int(total),
        fields=n.size,
        dispersion=ratio,
        dispersion_p=p,
        overdispersed=clumped,
        says=says,
    )


def hyphal_length_m_per_ml(
    intersections: Sequence[float],
    *,
    grid_line_mm: float,
    filter_mm2: float,
    filtered_ml: float,
    dilution: float = 1.0,
    level: float = 0.95,
) -> Density:
    """Length of hyphae by counting where they cross the lines of a grid: R = pi N A / (2 H).

    Parameters
    ----------
    intersections
        Crossings in each field.
    grid_line_mm
        Total length of grid lines seen in one field. [mm]
    filter_mm2
        Area over which the hyphae were spread. [mm2]

    Returns
    -------
    Density
        Metres of hypha per mL.

    Raises
    ------
    UnusableReading
        If grid, filter, volume or dilution is impossible.

    Source
    ------
    newman-1966
    """
    if min(grid_line_mm, filter_mm2, filtered_ml) <= 0 or dilution < 1:
        raise UnusableReading("Grid, filter, volume or dilution is impossible.", "Give lengths, areas and volumes above zero.")
    # mm of hypha on the filter for one crossing a field, then metres per mL.
    return density_from_fields(
        intersections, math.pi * filter_mm2 / (2 * grid_line_mm) / 1000 / filtered_ml * dilution, level=level
    )
