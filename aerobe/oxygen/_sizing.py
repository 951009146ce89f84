"""Air for a vessel: flow, pressure, power and cost; and a brew taken from a bucket to a tank."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from aerobe.errors import OutsideValidity
from aerobe.oxygen._first_guess import first_guess_kla, vessel_kla
from aerobe.oxygen._saturation import ATMOSPHERE_KPA, pressure_at_altitude_kpa
from aerobe.records import AirSupply, Vessel

_WATER_KPA_PER_M = 9.79  # rho g at 20 degC
# Loss over a wet diffuser at its usual flow; a fouled one may double it. From memory: EPA fine pore manual and common practice.
_DIFFUSER_KPA = {"fine bubble": 4.0, "coarse bubble": 1.0, "open pipe": 0.3, "venturi": 0.0, "none": 0.0}
_PIPE_SHARE = 0.10  # of the pressure, lost in hose and valves (common practice, no source)
_HEAT = 0.283  # (kappa - 1) / kappa of air
SMALL_PUMP_EFFICIENCY = 0.25  # wire to air of small diaphragm and piston pumps (common practice, no source)
_Z90 = 1.2816  # one-sided 90 %
_MOST_AIR_L_PER_MIN = 1e6  # what a record of a vessel's air takes


@dataclass(frozen=True, slots=True, kw_only=True)
class AirPlan:
    """What it takes to give a vessel a transfer coefficient."""

    diffuser: str
    flow_l_per_min: float  # at which the middle of the guess meets the need [L/min]
    flow_assured_l_per_min: float  # at which it is met with 90 % probability [L/min]
    flow_per_volume_per_min: float  # litres of air a litre of brew a minute [1/min]
    pressure_kpa: float  # the pump must hold this above air pressure [kPa]
    power_w: float  # electrical, for the middle flow [W]
    energy_kwh: float  # for one brew [kWh]
    cost: float  # of that energy [money]
    remarks: tuple[str, ...]


def pump_pressure_kpa(depth_m: float, diffuser: str = "coarse bubble") -> float:
    """Pressure a pump must hold at a depth: water, diffuser and hose.

    Parameters
    ----------
    depth_m
        Of the diffuser. [m]
    diffuser
        Kind of diffuser. [-]

    Returns
    -------
    float
        Above air pressure. [kPa]

    Source
    ------
    epa-fine-pore-1989
    """
    return (_WATER_KPA_PER_M * depth_m + _DIFFUSER_KPA[diffuser]) * (1.0 + _PIPE_SHARE)


def pump_power_w(
    flow_l_per_min: float, pressure_kpa: float, *, efficiency: float = SMALL_PUMP_EFFICIENCY, altitude_m: float = 0.0
) -> float:
    """Electrical power for a flow of air against a pressure, by adiabatic compression.

    Parameters
    ----------
    flow_l_per_min
        Air at ambient pressure. [L/min]
    pressure_kpa
        Above air pressure. [kPa]
    efficiency
        From the wire to the air. [-]
    altitude_m
        Of the place. [m]

    Returns
    -------
    float
        Power. [W]

    Raises
    ------
    OutsideValidity
        If the efficiency is outside 0.01 to 1.

    Source
    ------
    metcalf-eddy
    """
    if not 0.01 <= efficiency <= 1.0:
        raise OutsideValidity(f"An efficiency of {efficiency:g} is outside 0.01 to 1.", "Small pumps reach 0.1 to 0.4.")
    ambient = float(pressure_at_altitude_kpa(altitude_m))
    cubic_metres_per_s = flow_l_per_min / 60000.0
    return cubic_metres_per_s * 1000.0 * ambient / _HEAT * ((1.0 + pressure_kpa / ambient) ** _HEAT - 1.0) / efficiency


def size_air(
    vessel: Vessel,
    *,
    kla20_per_h: float,
    hours: float = 24.0,
    price_per_kwh: float = 0.30,
    efficiency: float = SMALL_PUMP_EFFICIENCY,
    diffusers: tuple[str, ...] = ("fine bubble", "coarse bubble", "open pipe"),
) -> tuple[AirPlan, ...]:
    """Air flow, pump pressure, power and cost that give a vessel a transfer coefficient, for each kind of diffuser.

    Parameters
    ----------
    vessel
        Volume [L], depth [m] and altitude [m]; its present air is not looked at, but for a measured kLa. [-]
    kla20_per_h
        Wanted at 20 degC in clean water. [1/h]
    hours
        Length of a brew. [h]
    price_per_kwh
        Of electricity. [money/kWh]
    efficiency
        Of the pump, wire to air. [-]
    diffusers
        Kinds to look at. [-]

    Returns
    -------
    tuple of AirPlan
        One a diffuser; a measured kLa of the vessel calibrates its own diffuser.

    Raises
    ------
    OutsideValidity
        If the wanted transfer is not positive.

    Source
    ------
    vant-riet-1979, epa-fine-pore-1989, metcalf-eddy
    """
    if not kla20_per_h > 0.0:
        raise OutsideValidity(f"A kLa of {kla20_per_h:g} per hour is no need.", "Give what the brew needs; 10 to 40 is common.")
    return tuple(_plan(vessel, diffuser, kla20_per_h, hours, price_per_kwh, efficiency) for diffuser in diffusers)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaledBrew:
    """A vessel of another size that brings each litre as much oxygen as the first."""

    kla20_per_h: float  # of both [1/h]
    log_sd: float  # how surely the large one reaches it, log scale [-]
    small: Vessel
    large: Vessel  # with the air flow it needs
    plan: AirPlan
    remarks: tuple[str, ...]


def scale_vessel(
    small: Vessel,
    volume_l: float,
    *,
    depth_m: float | None = None,
    diffuser: str | None = None,
    hours: float = 24.0,
    price_per_kwh: float = 0.30,
    efficiency: float = SMALL_PUMP_EFFICIENCY,
) -> ScaledBrew:
    """Air for a larger vessel at equal transfer a litre.

    Parameters
    ----------
    small
        The vessel that works; a measured kLa there makes the answer much narrower. [-]
    volume_l
        Of the large one. [L]
    depth_m
        Of the large one; the same shape as the small one where none is given. [m]
    diffuser
        Of the large one; as in the small one where none is given. [-]
    hours, price_per_kwh, efficiency
        As for `size_air`. [h, money/kWh, -]

    Returns
    -------
    ScaledBrew
        With flow, pressure, power and what to mind.

    Source
    ------
    vant-riet-1979, epa-fine-pore-1989
    """
    kla, log_sd = vessel_kla(small)
    kind = diffuser or small.air.diffuser
    depth = depth_m if depth_m is not None else small.depth_m * (volume_l / small.volume_l) ** (1.0 / 3.0)
    bare = replace(
        small,
        key=f"{small.key}-scaled"[:80],
        name=f"{small.name}, {volume_l:g} L",
        volume_l=volume_l,
        depth_m=depth,
        air=AirSupply(flow_l_per_min=0.0, diffuser=kind),
    )
    factor = _calibration(small) if kind == small.air.diffuser else 1.0
    plan = _plan(bare, kind, kla, hours, price_per_kwh, efficiency, factor)
    # Measured once, the small vessel fixes its own stone; another depth and number of stones costs about a factor of 1.4.
    joined = math.hypot(log_sd, 0.35) if small.air.kla_per_h is not None else log_sd
    large = replace(bare, air=AirSupply(flow_l_per_min=plan.flow_l_per_min, diffuser=kind, power_w=plan.power_w))
    return ScaledBrew(
        kla20_per_h=kla,
        log_sd=joined,
        small=small,
        large=large,
        plan=plan,
        remarks=(
            "Equal transfer, not equal air a litre: a deeper tank needs less air for each litre and more pressure.",
            "Measure kLa in the other vessel before the first brew: until then it is known to a factor of "
            f"{math.exp(1.645 * joined):.1f} either way.",
            *(
                ("Large tanks mix slowly: check oxygen near the bottom and far from the air, and keep the solids moving.",)
                if bare.volume_l > small.volume_l
                else ()
            ),
        ),
    )


def _calibration(vessel: Vessel) -> float:
    """Measured transfer over the guess for the same air; 1 without a measurement."""
    if vessel.air.kla_per_h is None or vessel.air.flow_l_per_min <= 0.0:
        return 1.0
    return vessel.air.kla_per_h / first_guess_kla(vessel)[0]


def _plan(
    vessel: Vessel, diffuser: str, kla: float, hours: float, price: float, efficiency: float, factor: float | None = None
) -> AirPlan:
    if factor is None:
        factor = _calibration(vessel) if diffuser == vessel.air.diffuser else 1.0
    bare = replace(vessel, air=AirSupply(flow_l_per_min=1.0, diffuser=diffuser))
    log_sd = first_guess_kla(bare)[1] if factor == 1.0 else 0.35
    flow = _flow_for(bare, kla / factor)
    assured = _flow_for(bare, kla / factor * math.exp(_Z90 * log_sd))
    pressure = pump_pressure_kpa(vessel.depth_m, diffuser)
    power = pump_power_w(flow, pressure, efficiency=efficiency, altitude_m=vessel.altitude_m)
    energy = power * hours / 1000.0
    return AirPlan(
        diffuser=diffuser,
        flow_l_per_min=flow,
        flow_assured_l_per_min=assured,
        flow_per_volume_per_min=flow / vessel.volume_l,
        pressure_kpa=pressure,
        power_w=power,
        energy_kwh=energy,
        cost=energy * price,
        remarks=_plan_remarks(flow / vessel.volume_l, pressure, diffuser),
    )


def _flow_for(vessel: Vessel, kla: float) -> float:
    """Flow at which the guess gives a transfer; the guess rises with flow, so halving the interval finds it."""

    def given(flow: float) -> float:
        return first_guess_kla(replace(vessel, air=replace(vessel.air, flow_l_per_min=flow)))[0]

    low, high = 1e-9, 1.0
    if given(low) >= kla:
        return 0.0
    while given(high) < kla:
        high *= 4.0
        if high > _MOST_AIR_L_PER_MIN:
            raise OutsideValidity(f"No flow gives {kla:.0f} per hour through this diffuser.", "Use finer bubbles.")
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if given(middle) < kla else (low, middle)
    return 0.5 * (low + high)


def _plan_remarks(per_volume: float, pressure: float, diffuser: str) -> tuple[str, ...]:
    found = []
    if per_volume > 1.5:
        found.append("More than 1.5 L of air a litre a minute splashes and foams: choose finer bubbles or less food.")
    if per_volume < 0.03:
        found.append("So little air may not keep the compost moving: stir, or give more than oxygen alone asks for.")
    if pressure > 0.3 * ATMOSPHERE_KPA:
        found.append("Small diaphragm pumps do not hold this pressure: use a piston, rotary or side-channel blower.")
    if diffuser == "fine bubble":
        found.append("Fine pores clog with tea: clean them after every brew, and measure kLa again when they age.")
    return tuple(found)
