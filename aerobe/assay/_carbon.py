"""From the size of cells to their carbon, by every published factor that was found on cells of such a size."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from aerobe.errors import OutsideValidity, UnusableReading


def cylinder_um3(length_um: float, width_um: float) -> float:
    """Volume of a hypha, or of a rod without its caps. [um3]"""
    return math.pi / 4 * width_um**2 * length_um


@dataclass(frozen=True, slots=True, kw_only=True)
class CarbonFactor:
    """One published way from cell volume to carbon: fg C = factor x um3 ^ power, for cells of the sizes it was found on."""

    key: str
    group: str  # "bacteria" or "fungi"
    factor: float
    power: float
    source: str
    seen: str
    least_um3: float = 0.0  # smallest mean volume it speaks for; 0 where the source names none [um3]
    most_um3: float = math.inf  # largest [um3]

    def holds_at(self, cell_um3: float) -> bool:
        """Whether cells of this mean volume lie in the range it was found on."""
        return self.least_um3 <= cell_um3 <= self.most_um3


# Values recalled from the papers unless marked; the point is their spread, which no single factor shows.
CARBON_FACTORS = (
    CarbonFactor(key="fry", group="bacteria", factor=310.0, power=1.0, source="fry-1990", seen="from memory"),
    CarbonFactor(key="bratbak", group="bacteria", factor=560.0, power=1.0, source="bratbak-1985", seen="from memory"),
    CarbonFactor(key="norland", group="bacteria", factor=120.0, power=0.72, source="norland-1993", seen="from memory"),
    # A constant per cell is one size of cell: beyond it the number means nothing.
    CarbonFactor(
        key="per cell",
        group="bacteria",
        factor=20.0,
        power=0.0,
        source="lee-fuhrman-1987",
        seen="second hand",
        least_um3=0.036,
        most_um3=0.073,
    ),
    # 0.8 g/cm3 dry (abstract read) x 0.5 C (common practice); 0.33 g/cm3 dry (abstract read) x 0.4 C (common practice).
    CarbonFactor(key="mean dry mass", group="bacteria", factor=400.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
    CarbonFactor(key="mean dry mass", group="fungi", factor=132.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
    CarbonFactor(key="thin dry mass", group="fungi", factor=44.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
    CarbonFactor(key="dense dry mass", group="fungi", factor=164.0, power=1.0, source="van-veen-paul-1979", seen="abstract"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarbonEstimate:
    """Biomass carbon by every factor that holds at this size, and how far they lie apart."""

    value: float  # geometric mean [ug C/mL]
    low: float  # lowest factor
    high: float
    by_factor: tuple[tuple[str, float], ...]
    log_sd: float  # standard deviation of ln between the factors
    says: str
    left_out: tuple[str, ...] = ()  # factors for cells of another size, with that size


def carbon_from_volume(cells_per_ml: float, cell_um3: float, group: str = "bacteria") -> CarbonEstimate:
    """Carbon of cells of a mean volume, by each published factor for the group and the size. [ug C/mL]

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
    known = [item for item in CARBON_FACTORS if item.group == group]
    if not known:
        raise OutsideValidity(f"There is no carbon factor for '{group}'.", "Use bacteria or fungi.")
    if not 0 <= cells_per_ml < math.inf or not 0 < cell_um3 < math.inf:
        raise UnusableReading("Cells or their volume are not above zero.", "Give cells per mL and the mean volume of one in um3.")
    factors = [item for item in known if item.holds_at(cell_um3)]
    left_out = tuple(
        f"{item.key} ({item.source}), for {item.least_um3:g} to {item.most_um3:g} um3" for item in known if item not in factors
    )
    # 1 fg = 1e-9 ug
    found = tuple((f"{item.key} ({item.source})", cells_per_ml * item.factor * cell_um3**item.power * 1e-9) for item in factors)
    values = np.array([value for _, value in found])
    if cells_per_ml == 0:
        return CarbonEstimate(
            value=0.0, low=0.0, high=0.0, by_factor=found, log_sd=0.0, says="No cells, no carbon.", left_out=left_out
        )
    centre = float(np.exp(np.log(values).mean()))
    return CarbonEstimate(
        value=centre,
        low=float(values.min()),
        high=float(values.max()),
        by_factor=found,
        log_sd=float(np.log(values).std(ddof=1)),
        says=f"The published factors alone differ {values.max() / values.min():.1f}-fold for {group} of {cell_um3:g} um3."
        + (f" Left out at this size: {'; '.join(left_out)}." if left_out else ""),
        left_out=left_out,
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
