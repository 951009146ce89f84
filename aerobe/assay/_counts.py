"""Counting under the microscope: fields, counting chambers, hyphal length, and from cell volume to carbon."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aerobe.assay._arrays import confidence, finite, t_quantile
from aerobe.errors import NotEnoughData, OutsideValidity, UnusableReading


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


def chamber_density(
    counts: Sequence[float], *, square_mm2: float = 1.0, depth_mm: float = 0.1, dilution: float = 1.0, level: float = 0.95
) -> Density:
    """Cells per mL from the squares of a counting chamber (haemocytometer 0.1 mm deep, Petroff-Hausser 0.02 mm).

    Raises
    ------
    UnusableReading
        If the chamber or the dilution is impossible.
    """
    if not (square_mm2 > 0 and depth_mm > 0):
        raise UnusableReading(
            "The square or the depth of the chamber is not above zero.", "See the engraving: often 1 mm2 and 0.1 mm."
        )
    if dilution < 1:
        raise UnusableReading(
            f"A dilution of {dilution:g} would concentrate the sample.", "Enter final volume over sample volume."
        )
    return density_from_fields(counts, dilution / (square_mm2 * depth_mm * 1e-3), level=level)


def filter_factor(*, filter_mm2: float, field_mm2: float, filtered_ml: float, dilution: float = 1.0) -> float:
    """Density for one object a field on a membrane. [1/mL]

    Raises
    ------
    UnusableReading
        If an area, the volume or the dilution is impossible.
    """
    if min(filter_mm2, field_mm2, filtered_ml) <= 0 or field_mm2 > filter_mm2 or dilution < 1:
        raise UnusableReading(
            "Filter area, field area, volume or dilution is impossible.",
            "Give the wetted filter area, the smaller field area, mL of liquid filtered and a dilution of at least 1.",
        )
    return filter_mm2 / field_mm2 / filtered_ml * dilution


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


def cylinder_um3(length_um: float, width_um: float) -> float:
    """Volume of a hypha, or of a rod without its caps. [um3]"""
    return math.pi / 4 * width_um**2 * length_um


def rod_um3(length_um: float, width_um: float) -> float:
    """Volume of a rod with round caps: total length and width. A sphere when both are equal. [um3]

    Raises
    ------
    UnusableReading
        If the rod is shorter than wide.
    """
    if length_um < width_um or width_um <= 0:
        raise UnusableReading("A rod is at least as long as it is wide.", "Measure the whole length, caps included.")
    return math.pi / 4 * width_um**2 * (length_um - width_um / 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarbonFactor:
    """One published way from cell volume to carbon: fg C = factor x um3 ^ power."""

    key: str
    group: str  # "bacteria" or "fungi"
    factor: float
    power: float
    source: str
    seen: str


# Values recalled from the papers unless marked; the point is their spread, which no single factor shows.
CARBON_FACTORS = (
    CarbonFactor(key="fry", group="bacteria", factor=310.0, power=1.0, source="fry-1990", seen="from memory"),
    CarbonFactor(key="bratbak", group="bacteria", factor=560.0, power=1.0, source="bratbak-1985", seen="from memory"),
    CarbonFactor(key="norland", group="bacteria", factor=120.0, power=0.72, source="norland-1993", seen="from memory"),
    CarbonFactor(key="per cell", group="bacteria", factor=20.0, power=0.0, source="lee-fuhrman-1987", seen="from memory"),
    # 0.8 g/cm3 dry (abstract read) x 0.5 C (common practice); 0.33 g/cm3 dry (abstract read) x 0.4 C (common practice).
    CarbonFactor(key="mean dry mass", group="bacteria", factor=400.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
    CarbonFactor(key="mean dry mass", group="fungi", factor=132.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
    CarbonFactor(key="thin dry mass", group="fungi", factor=44.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
    CarbonFactor(key="dense dry mass", group="fungi", factor=164.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarbonEstimate:
    """Biomass carbon by every factor, and how far they lie apart."""

    value: float  # geometric mean [ug C/mL]
    low: float  # lowest factor
    high: float
    by_factor: tuple[tuple[str, float], ...]
    log_sd: float  # standard deviation of ln between the factors
    says: str


def carbon_from_volume(cells_per_ml: float, cell_um3: float, group: str = "bacteria") -> CarbonEstimate:
    """Carbon of cells of a mean volume, by each published factor for the group. [ug C/mL]

    Raises
    ------
    OutsideValidity
        If there is no factor for the group.
    UnusableReading
        If number or volume of the cells is impossible.

    Source
    ------
    fry-1990, bratbak-1985, norland-1993, lee-fuhrman-1987, van-veen-paul-1979
    """
    factors = [item for item in CARBON_FACTORS if item.group == group]
    if not factors:
        raise OutsideValidity(f"There is no carbon factor for '{group}'.", "Use bacteria or fungi.")
    if cells_per_ml < 0 or cell_um3 <= 0:
        raise UnusableReading("Cells or their volume are not above zero.", "Give cells per mL and the mean volume of one in um3.")
    # 1 fg = 1e-9 ug
    found = tuple((f"{item.key} ({item.source})", cells_per_ml * item.factor * cell_um3**item.power * 1e-9) for item in factors)
    values = np.array([value for _, value in found])
    if cells_per_ml == 0:
        return CarbonEstimate(value=0.0, low=0.0, high=0.0, by_factor=found, log_sd=0.0, says="No cells, no carbon.")
    centre = float(np.exp(np.log(values).mean()))
    return CarbonEstimate(
        value=centre,
        low=float(values.min()),
        high=float(values.max()),
        by_factor=found,
        log_sd=float(np.log(values).std(ddof=1)),
        says=f"The published factors alone differ {values.max() / values.min():.1f}-fold for {group} of {cell_um3:g} um3.",
    )


def carbon_from_hyphae(length_m_per_ml: float, width_um: float) -> CarbonEstimate:
    """Carbon of hyphae of a length per mL and a mean width. [ug C/mL]

    Raises
    ------
    UnusableReading
        If length or width is impossible.
    """
    if length_m_per_ml < 0 or width_um <= 0:
        raise UnusableReading("Length or width of hyphae is not above zero.", "Give m per mL and um.")
    # One metre of hypha is 1e6 um long; treat it as 'cells' of one metre.
    found = carbon_from_volume(length_m_per_ml, cylinder_um3(1e6, width_um), "fungi")
    return replace(found, says=found.says.split(" for ")[0] + f" for hyphae {width_um:g} um wide.") if found.value else found


def bias_of_one_count(count: int, level: float = 0.95) -> str:
    """How far one count can be trusted by chance alone.

    Raises
    ------
    NotEnoughData
        If nothing was counted.
    """
    if count < 1:
        raise NotEnoughData("Nothing was counted.", "Count more fields, or quote the upper limit.")
    low, high = poisson_limits(count, level)
    return f"{count} objects counted stand for {low:.0f} to {high:.0f}: a chance error of {100 / math.sqrt(count):.0f} %."
