"""From results per gram to results per mL and back, from rates and turbidity to carbon: with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.assay._arrays import Floats
from aerobe.assay._propagation import Agreement, Input, propagate_both
from aerobe.errors import NotAllowed, UnusableReading

BASES = ("per mL", "per g wet", "per g dry")
MOST = 1e18  # of a result; beyond lie slips of the pen


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertain:
    """A value and its standard uncertainty, in one unit."""

    value: float
    sd: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.value) <= MOST or not 0 <= self.sd <= MOST:  # also false for nan
            raise UnusableReading(
                f"{self.value} with uncertainty {self.sd} is not usable.", "Give a number and an uncertainty of 0 or more."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """What a sample weighs and how wet it is."""

    density_g_per_ml: Uncertain  # of the material as sampled [g/mL]
    moisture: Uncertain = Uncertain(value=0.0)  # g water per g wet material [-]

    def __post_init__(self) -> None:
        if not 0.05 <= self.density_g_per_ml.value <= 3.0:
            raise UnusableReading(
                f"A density of {self.density_g_per_ml.value:g} g/mL is impossible.",
                "Weigh a known volume: loose compost is near 0.5, liquid tea near 1.0.",
            )
        if self.density_g_per_ml.sd > self.density_g_per_ml.value or self.moisture.sd > 0.5:
            raise UnusableReading(
                "Density or moisture is known so badly that nothing can be said on another basis.",
                "Weigh a known volume and dry a sample; give the uncertainty of each in its own unit.",
            )
        if not 0.0 <= self.moisture.value < 1.0:
            raise UnusableReading(
                f"A moisture of {self.moisture.value:g} is impossible.",
                "Give grams of water per gram of wet material, from 0 to below 1: 55 % is 0.55.",
            )


def convert_basis(result: Uncertain, *, given: str, wanted: str, material: Material, seed: int = 1) -> Agreement:
    """A result on another basis: per mL of material as sampled, per gram wet, per gram dry.

    Both the linear law and Monte Carlo are run; the answer says when they disagree, which happens for wet material
    whose moisture is poorly known.

    Raises
    ------
    NotAllowed
        If a basis is none of the three.

    Source
    ------
    jcgm-100-2008, jcgm-101-2008
    """
    for basis in (given, wanted):
        if basis not in BASES:
            raise NotAllowed(f"'{basis}' cannot be converted.", f"Use one of: {', '.join(BASES)}.")
    inputs = [
        Input(name="result", value=result.value, uncertainty=result.sd),
        Input(name="density", value=material.density_g_per_ml.value, uncertainty=material.density_g_per_ml.sd),
        Input(name="moisture", value=material.moisture.value, uncertainty=material.moisture.sd),
    ]

    def model(value: float | Floats, density: float | Floats, moisture: float | Floats) -> float | Floats:
        per_gram_wet = {"per mL": 1 / density, "per g wet": 1.0, "per g dry": 1 - moisture}[given] * value
        return per_gram_wet * {"per mL": density, "per g wet": 1.0, "per g dry": 1 / (1 - moisture)}[wanted]

    return propagate_both(model, inputs, seed=seed, draws=100_000)


def extract_to_material(result_per_ml: Uncertain, *, extract_ml: float, material_g: float) -> Uncertain:
    """Biomass per gram of material from that per mL of its extract: what was washed out of `material_g` into `extract_ml`.

    Raises
    ------
    UnusableReading
        If extract or material is not above zero.
    """
    if extract_ml <= 0 or material_g <= 0:
        raise UnusableReading("Extract or material is not above zero.", "Give mL of extract and grams of material that went in.")
    factor = extract_ml / material_g
    return Uncertain(value=result_per_ml.value * factor, sd=result_per_ml.sd * factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class RateConversion:
    """A published way from a respiration rate to biomass carbon."""

    key: str
    slope: float
    intercept: float
    rate_unit: str
    biomass_unit: str
    source: str


RESPIRATION_FACTORS = (
    # Both recalled or second hand; they differ by a quarter for the same soil.
    RateConversion(
        key="first",
        slope=40.04,
        intercept=0.37,
        rate_unit="mL CO2/100 g/h",
        biomass_unit="mg C/100 g",
        source="anderson-domsch-1978",
    ),
    RateConversion(
        key="later", slope=50.4, intercept=0.0, rate_unit="mL CO2/100 g/h", biomass_unit="mg C/100 g", source="sparling-1995"
    ),
)


def carbon_from_respiration(rate: Uncertain) -> dict[str, Uncertain]:
    """Biomass carbon of soil or compost from substrate-induced respiration, by each published factor.

    Parameters
    ----------
    rate
        Initial maximal rate after glucose, blank taken off. [mL CO2 per 100 g dry and h]

    Returns
    -------
    dict
        For each source key the biomass. [mg C per 100 g dry, or ten times ug C/g]

    Raises
    ------
    UnusableReading
        If the rate is below zero.

    Notes
    -----
    The factors were found for soils at 22 degC; for tea they give an order of magnitude.

    Source
    ------
    anderson-domsch-1978, sparling-1995
    """
    if rate.value < 0:
        raise UnusableReading("A respiration rate below zero.", "Check the blank: it gave off more CO2 than the sample.")
    return {
        item.source: Uncertain(value=item.slope * rate.value + item.intercept, sd=item.slope * rate.sd)
        for item in RESPIRATION_FACTORS
    }


def biomass_from_uptake(uptake_mg_o2_per_l_h: Uncertain, specific_mg_o2_per_mg_c_h: Uncertain, *, seed: int = 1) -> Agreement:
    """Biomass carbon from oxygen uptake and the uptake per biomass carbon of the same organisms. [ug C/mL]

    The specific uptake changes several-fold between fed and starved cells: measure it on the same brew, or give it
    the wide uncertainty it deserves.

    Raises
    ------
    UnusableReading
        If uptake or the uptake of a unit of biomass is impossible.
    """
    if specific_mg_o2_per_mg_c_h.value <= 0:
        raise UnusableReading("The specific uptake is not above zero.", "Measure oxygen uptake and carbon of one sample first.")
    return propagate_both(
        lambda rate, specific: rate / specific,
        [
            Input(name="uptake", value=uptake_mg_o2_per_l_h.value, uncertainty=uptake_mg_o2_per_l_h.sd),
            Input(name="specific uptake", value=specific_mg_o2_per_mg_c_h.value, uncertainty=specific_mg_o2_per_mg_c_h.sd),
        ],
        seed=seed,
    )
