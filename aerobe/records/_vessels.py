"""The vessel and its air supply."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.records._checks import require_between, require_key, require_one_of
from aerobe.records._guesses import guesses, require_guesses

DIFFUSERS = ("fine bubble", "coarse bubble", "open pipe", "venturi", "none")
# What may stand in a vessel as a guess. A flow can be nobody's, read off the pump's label, or worked out from the pump's watts.
VESSEL_GUESSES = ("depth", "flow", "flow of a label", "flow of a power", "diffuser")


@dataclass(frozen=True, slots=True, kw_only=True)
class AirSupply:
    """Air into a vessel. A measured kLa, where there is one, says more than flow and bubbles."""

    flow_l_per_min: float  # [L/min] at ambient pressure
    diffuser: str = "coarse bubble"
    kla_per_h: float | None = None  # measured transfer coefficient at 20 degC; 0 for a sealed vessel [1/h]
    kla_log_sd: float | None = None  # its standard uncertainty on the log scale [-]
    power_w: float | None = None  # electrical power of the pump [W]

    def __post_init__(self) -> None:
        require_one_of(self.diffuser, DIFFUSERS, "kind of diffuser")
        require_between(self.flow_l_per_min, 0.0, 1e6, "Air flow", "L/min")
        if self.kla_per_h is not None:
            require_between(self.kla_per_h, 0.0, 1000.0, "kLa", "1/h")
        if self.kla_log_sd is not None and self.kla_per_h is None:
            raise UnusableRecord("An uncertainty of kLa is given without a kLa.", "Give both, or neither.")


# What stands in the vessels of brews of which nobody said how air reaches them, by the vessel's key.
UNSTATED_AIR = {
    "not-stated": AirSupply(flow_l_per_min=0.0, diffuser="none"),
    "aerated-not-stated": AirSupply(flow_l_per_min=0.1, diffuser="coarse bubble"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """What a brew stands in."""

    key: str
    name: str
    volume_l: float  # liquid volume [L]
    depth_m: float  # liquid depth over the diffuser [m]
    air: AirSupply
    altitude_m: float = 0.0  # above sea level [m]
    guessed: tuple[str, ...] = guesses()  # of VESSEL_GUESSES; they widen what is believed of the air

    def __post_init__(self) -> None:
        require_key(self.key, "vessel")
        require_guesses(self.guessed, VESSEL_GUESSES)
        require_between(self.volume_l, 0.01, 1e6, "A volume", "L")
        require_between(self.depth_m, 0.01, 20.0, "A depth", "m")
        require_between(self.altitude_m, -450.0, 6000.0, "An altitude", "m")

    @property
    def air_is_stated(self) -> bool:
        """Whether anybody said how air reaches it; a table of results seldom does."""
        return UNSTATED_AIR.get(self.key) != self.air
