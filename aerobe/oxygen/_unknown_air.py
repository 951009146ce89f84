"""The air of a vessel that nobody has looked at: what stands there instead of an answer, and how far off that may be.

Centres and widths are ours, from common practice without a source; each is one standard uncertainty on the log scale.
"""

from __future__ import annotations

import math
from dataclasses import replace

from aerobe.oxygen._first_guess import GUESS_LOG_SD
from aerobe.oxygen._sizing import pump_power_w, pump_pressure_kpa
from aerobe.records import AirSupply, Vessel

FLOW_PER_LITRE = 0.25  # air that a brewer gives a litre of water a minute [1/min]
LABEL_SHARE = 0.7  # of the flow on a pump's label that reaches the water [-]
UNKNOWN_DIFFUSER = "coarse bubble"


def depth_as_wide_m(volume_l: float) -> float:
    """Depth of water in a round vessel that is as deep as it is wide. [m]

    Parameters
    ----------
    volume_l
        Water in it. [L]
    """
    return math.cbrt(4.0 * volume_l / 1000.0 / math.pi)


def flow_of_power_l_per_min(power_w: float, depth_m: float, diffuser: str = UNKNOWN_DIFFUSER) -> float:
    """Air that a small pump of so many watts gives at a depth. [L/min]

    Parameters
    ----------
    power_w
        Electrical. [W]
    depth_m
        Of the air outlet. [m]
    diffuser
        Kind of diffuser. [-]
    """
    # Power grows in proportion to flow at one pressure.
    return power_w / pump_power_w(1.0, pump_pressure_kpa(depth_m, diffuser))


def air_spans(vessel: Vessel) -> dict[str, tuple[float, float, float]]:
    """Each guessed quantity of a vessel with its middle and its 90 % interval: depth [m], flow [L/min].

    Parameters
    ----------
    vessel
        With its guesses.
    """
    found: dict[str, tuple[float, float, float]] = {}
    for name in vessel.guessed:
        if name != "diffuser":
            middle = vessel.depth_m if name == "depth" else vessel.air.flow_l_per_min
            wide = math.exp(1.645 * GUESS_LOG_SD[name])
            found[name] = (middle, middle / wide, middle * wide)
    return found


def with_flow_guessed(vessel: Vessel, label_l_per_min: float | None = None, power_w: float | None = None) -> Vessel:
    """The vessel with a flow from its pump's label, from its pump's watts, or from nothing but its size.

    Parameters
    ----------
    vessel
        Whose flow is not known.
    label_l_per_min
        Flow on the label. [L/min]
    power_w
        Watts on the label. [W]
    """
    if label_l_per_min is not None:
        flow, how = LABEL_SHARE * label_l_per_min, "flow of a label"
    elif power_w is not None:
        flow, how = flow_of_power_l_per_min(power_w, vessel.depth_m, vessel.air.diffuser), "flow of a power"
    else:
        flow, how = FLOW_PER_LITRE * vessel.volume_l, "flow"
    air: AirSupply = replace(vessel.air, flow_l_per_min=flow, power_w=power_w)
    kept = tuple(name for name in vessel.guessed if not name.startswith("flow"))
    return replace(vessel, air=air, guessed=(*kept, how))
