"""A vessel from what a person typed, for every form that has one."""

from __future__ import annotations

import math
from collections.abc import Callable

from aerobe.errors import AerobeError, NotAQuantity
from aerobe.records import AirSupply, Vessel
from aerobe.units import AIR_FLOW, FRACTION, LENGTH, RATE, VOLUME


def read_vessel(
    *,
    volume: str,
    depth: str,
    flow: str,
    diffuser: str,
    altitude: str = "0 m",
    kla: str = "",
    kla_error: str = "",
    key: str = "vessel",
    name: str = "this vessel",
) -> Vessel:
    """A vessel from typed quantities; the fault of a field says which.

    Parameters
    ----------
    kla
        Measured transfer at 20 degC, such as "20 /h"; empty if not measured.
    kla_error
        Its standard error, such as "5 %"; empty if not known.

    Raises
    ------
    NotAQuantity
        If a field cannot be read.
    UnusableRecord
        If a value is impossible.
    """
    rate = named("Measured transfer", lambda: RATE.read(kla)) if kla.strip() else None
    return Vessel(
        key=key,
        name=name,
        volume_l=named("Water in the vessel", lambda: VOLUME.read(volume)),
        depth_m=named("Depth of the water", lambda: LENGTH.read(depth)),
        air=AirSupply(
            flow_l_per_min=named("Air flow", lambda: AIR_FLOW.read(flow)),
            diffuser=diffuser,
            kla_per_h=rate,
            kla_log_sd=named("Standard error of the transfer", lambda: _log_sd(kla_error))
            if rate and kla_error.strip()
            else None,
        ),
        altitude_m=named("Altitude", lambda: LENGTH.read(altitude)),
    )


def kla_as_typed(air: AirSupply) -> tuple[str, str]:
    """Transfer and its standard error as `read_vessel` takes them; empty where not measured, or not known."""
    error = f"{100.0 * math.expm1(air.kla_log_sd):.4g} %" if air.kla_log_sd is not None else ""
    return (f"{air.kla_per_h:.4g} /h", error) if air.kla_per_h is not None else ("", "")


def _log_sd(text: str) -> float:
    share = FRACTION.read(text)
    if not 0.0 < share <= 10.0:
        raise NotAQuantity(f"A standard error of '{text}' is none.", "Write it as a share of the transfer, such as 5 %.")
    return math.log1p(share)


def named(what: str, read: Callable[[], float]) -> float:
    """A fault that says which field of the form it is about."""
    try:
        return read()
    except AerobeError as fault:
        raise type(fault)(f"{what}: {fault.problem}", fault.remedy) from None
