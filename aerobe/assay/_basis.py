"""From results per gram to results per mL and back, from rates and turbidity to carbon: with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.assay._arrays import Floats
from aerobe.assay._propagation import Input, PropagationAgreement, propagate_both
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


def convert_basis(result: Uncertain, *, given: str, wanted: str, material: Material, seed: int = 1) -> PropagationAgreement:
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
