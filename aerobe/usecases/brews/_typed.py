"""What a person types to start a brew, or to write in one of its parts."""

from __future__ import annotations

from dataclasses import dataclass

NEW = "(new)"


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodTyped:
    """A food and how much of it, as typed."""

    food: str = ""
    amount: str = ""  # empty: a food without a known amount
    unit: str = "g"


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselTyped:
    """A vessel and its air, as typed. What is left empty is guessed, except the volume and a measured transfer."""

    name: str = ""
    volume: str = ""  # with unit
    depth: str = ""  # of the air outlet under the surface
    flow: str = ""  # with unit, or the pump's power with "W"
    flow_is: str = ""  # "label" for a pump's label; "unknown" for a flow that is to be guessed; else it was measured
    diffuser: str = ""
    altitude: str = ""  # empty: at the sea
    kla: str = ""  # at 20 degC, such as "20 /h"
    kla_error: str = ""  # its standard error, such as "5 %"; empty if not known


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewStart:
    """The form of a new brew, as typed. `vessel`, `recipe` and `assay` are keys, or "(new)" with the fields that follow.

    What is left empty is guessed, except the volume.
    """

    name: str = ""
    started_at: str = ""  # clock time with or without offset; empty: now
    temperature: str = ""  # with unit
    tests: str = ""  # empty: four with a test, none without
    vessel: str = NEW
    vessel_name: str = ""
    volume: str = ""  # with unit
    depth: str = ""
    flow: str = ""  # with unit, or the pump's power with "W"
    flow_is: str = ""  # "label" for a pump's label; "unknown" for a flow that is to be guessed; else it was measured
    diffuser: str = ""
    altitude: str = "0 m"
    recipe: str = NEW
    recipe_name: str = ""
    compost: str = NEW
    compost_name: str = ""
    animal: str = "not known"  # yes, no, not known
    compost_amount: str = ""
    compost_unit: str = "g"
    foods: tuple[FoodTyped, ...] = ()
    water: str = ""
    assay: str = NEW  # empty: none
    assay_name: str = ""
    method: str = "other"
    assay_unit: str = "ug C/mL"
    price: str = ""
    token: str = ""

    def vessel_typed(self) -> VesselTyped:
        """The new vessel of the form."""
        return VesselTyped(
            name=self.vessel_name,
            volume=self.volume,
            depth=self.depth,
            flow=self.flow,
            flow_is=self.flow_is,
            diffuser=self.diffuser,
            altitude=self.altitude,
        )

    def token_of(self, part: str) -> str:
        """The entry token of one part of the form; empty where the form has none."""
        return f"{self.token}.{part}" if self.token else ""
