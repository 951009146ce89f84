"""Amounts on the ground: dilution, rates, microbes per square metre with their uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.safety._thresholds import threshold


@dataclass(frozen=True, slots=True, kw_only=True)
class Amounts:
    """What one use puts on the ground."""

    tea_l: float
    water_l: float
    mix_l: float
    parts_water_to_one_tea: float  # 4.0 means 1:4 [-]
    mix_l_per_ha: float | None = None  # [L/ha]
    tea_l_per_ha: float | None = None  # undiluted [L/ha]
    mix_l_per_m2: float | None = None  # [L/m2]
    mix_l_per_bed: float | None = None  # [L]
    mix_ml_per_pot: float | None = None  # [mL]


def amounts(
    *, tea_l: float, water_l: float = 0.0, area_m2: float | None = None, beds: int | None = None, pots: int | None = None
) -> Amounts:
    """Dilution and rates of one use.

    Parameters
    ----------
    tea_l
        Undiluted tea. [L]
    water_l
        Water added. [L]
    area_m2
        Area it is spread over; None for none. [m2]
    beds
        Number of equal beds on that area; None for none.
    pots
        Number of equal pots; None for none.

    Returns
    -------
    Amounts
        Rates in L/ha, L/m2, L per bed, mL per pot.

    Raises
    ------
    UnusableRecord
        If an amount is not above zero.

    Examples
    --------
    >>> amounts(tea_l=20.0, water_l=80.0, area_m2=10000.0).mix_l_per_ha
    100.0
    """
    positive(tea_l, "tea", "L")
    if not 0.0 <= water_l < math.inf:
        raise UnusableRecord(f"{water_l:g} L of water cannot be added.", "Give the litres, 0 for undiluted.")
    mix = tea_l + water_l
    for value, what in ((area_m2, "area"), (beds, "beds"), (pots, "pots")):
        if value is not None:
            positive(value, what, "m2" if what == "area" else "")
    per_m2 = None if area_m2 is None else mix / area_m2
    return Amounts(
        tea_l=tea_l,
        water_l=water_l,
        mix_l=mix,
        parts_water_to_one_tea=water_l / tea_l,
        mix_l_per_ha=None if per_m2 is None else per_m2 * 1e4,
        tea_l_per_ha=None if area_m2 is None else tea_l / area_m2 * 1e4,
        mix_l_per_m2=per_m2,
        mix_l_per_bed=None if beds is None else mix / beds,
        mix_ml_per_pot=None if pots is None else mix * 1000.0 / pots,
    )


def mix_for(*, mix_l: float, parts_water_to_one_tea: float) -> tuple[float, float]:
    """Tea and water for a wanted amount of mix.

    Parameters
    ----------
    mix_l
        Mix wanted. [L]
    parts_water_to_one_tea
        4 for 1:4, 0 for undiluted. [-]

    Returns
    -------
    tuple of float
        Tea and water. [L]

    Raises
    ------
    UnusableRecord
        If the parts make no dilution.

    Examples
    --------
    >>> mix_for(mix_l=10.0, parts_water_to_one_tea=4.0)
    (2.0, 8.0)
    """
    positive(mix_l, "mix", "L")
    if not 0.0 <= parts_water_to_one_tea < math.inf:
        raise UnusableRecord(
            f"1:{parts_water_to_one_tea:g} is no dilution.", "Give parts of water to one part of tea, 0 for none."
        )
    tea = mix_l / (1.0 + parts_water_to_one_tea)
    return tea, mix_l - tea


@dataclass(frozen=True, slots=True, kw_only=True)
class Applied:
    """What reaches a square metre, with a 95 % interval."""

    per_m2: float
    low: float
    high: float
    log_sd: float  # standard uncertainty of its natural log [-]


def applied_per_m2(
    *,
    per_ml: float,
    low_per_ml: float,
    high_per_ml: float,
    tea_l: float,
    area_m2: float,
    volume_cv: float | None = None,
    area_cv: float | None = None,
) -> Applied:
    """Microbes, or biomass, that a use puts on a square metre.

    Parameters
    ----------
    per_ml
        Median count or biomass of undiluted tea. [/mL or ug C/mL]
    low_per_ml
        Lower end of its 95 % interval. [same]
    high_per_ml
        Upper end. [same]
    tea_l
        Undiluted tea on the area; water added does not change what is put on. [L]
    area_m2
        Area. [m2]
    volume_cv
        Relative standard uncertainty of the volume; None takes `volume-uncertainty`. [-]
    area_cv
        Relative standard uncertainty of the area; None takes `area-uncertainty`. [-]

    Returns
    -------
    Applied
        Median and 95 % interval. [/m2 or ug C/m2]

    Raises
    ------
    UnusableRecord
        If the interval does not hold the median, or an amount is not above zero.

    Notes
    -----
    The three are multiplied, so their logs add: each side of the interval widens by the root of the sum of squares
    (gum-products). Clumping on the way through a pump and uneven spreading are not in it.

    Source
    ------
    gum-products
    """
    positive(tea_l, "tea", "L")
    positive(area_m2, "area", "m2")
    if not 0.0 < low_per_ml <= per_ml <= high_per_ml < math.inf:
        raise UnusableRecord(
            "The density does not lie inside its interval, or the interval reaches zero or infinity.",
            "Give median, lower and upper end above zero; for a result below detection nothing can be said per square metre.",
        )
    volume = threshold("volume-uncertainty").value if volume_cv is None else volume_cv
    area = threshold("area-uncertainty").value if area_cv is None else area_cv
    if not (0.0 <= volume < 1.0 and 0.0 <= area < 1.0):
        raise UnusableRecord("An uncertainty of volume or area must be a fraction under 1.", "Give 0.05 for 5 %.")
    # ln(1 + cv^2) is the variance of the log of a lognormal with that CV.
    gear = math.log1p(volume**2) + math.log1p(area**2)
    down, up = (math.sqrt((math.log(ratio) / 1.959964) ** 2 + gear) for ratio in (per_ml / low_per_ml, high_per_ml / per_ml))
    middle = per_ml * tea_l * 1000.0 / area_m2
    return Applied(
        per_m2=middle, low=middle * math.exp(-1.959964 * down), high=middle * math.exp(1.959964 * up), log_sd=max(down, up)
    )


def positive(value: float, what: str, unit: str) -> None:
    """An amount above zero, or a fault that says so."""
    if not 0.0 < value < math.inf:
        raise UnusableRecord(
            f"{value:g} {unit} of {what} is not above zero.".replace("  ", " "), "Check the number and its unit."
        )
