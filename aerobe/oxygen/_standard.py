"""Transfer at standard conditions: 20 degC, 1 atm, no oxygen in clean water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.oxygen._saturation import saturation_mg_per_l

THETA = 1.024
OXYGEN_IN_AIR_G_PER_L = 0.27765  # of air at 20 degC and 1 atm


@overload
def transfer_factor(temperature_degc: float) -> float: ...
@overload
def transfer_factor(temperature_degc: NDArray[np.float64]) -> NDArray[np.float64]: ...
def transfer_factor(temperature_degc: ArrayLike) -> float | NDArray[np.float64]:
    """How much faster transfer is than at 20 degC: 1.024 for each degree.

    Parameters
    ----------
    temperature_degc
        Water temperature. [degC]

    Returns
    -------
    float or array
        kLa over kLa at 20 degC. [-]

    Source
    ------
    asce-ewri-2-06
    """
    result = THETA ** (np.asarray(temperature_degc, dtype=float) - 20.0)
    return float(result) if np.ndim(result) == 0 else result


def kla_at_20(kla_per_h: float, temperature_degc: float) -> float:
    """A transfer coefficient measured at another temperature, brought to 20 degC.

    Parameters
    ----------
    kla_per_h
        As measured. [1/h]
    temperature_degc
        Of the run. [degC]

    Returns
    -------
    float
        kLa at 20 degC. [1/h]

    Source
    ------
    asce-ewri-2-06

    Examples
    --------
    >>> round(kla_at_20(10.0, 12.0), 2)
    12.09
    """
    return kla_per_h / float(transfer_factor(temperature_degc))


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardTransfer:
    """SOTR and SOTE of a vessel and its air."""

    sotr_g_per_h: float  # [g O2/h]
    sote: float | None  # share of the oxygen fed that dissolves [-]
    sote_per_m: float | None  # the same a metre of depth [1/m]


def standard_transfer(
    kla20_per_h: float,
    volume_l: float,
    *,
    flow_l_per_min: float | None = None,
    depth_m: float | None = None,
    saturation20_mg_per_l: float | None = None,
) -> StandardTransfer:
    """Standard oxygen transfer rate and efficiency.

    Parameters
    ----------
    kla20_per_h
        Transfer coefficient at 20 degC. [1/h]
    volume_l
        Water in the vessel. [L]
    flow_l_per_min
        Air, at 20 degC and 1 atm. [L/min]
    depth_m
        Of the diffuser. [m]
    saturation20_mg_per_l
        Fitted C* brought to 20 degC and 1 atm; the table's where none is given. [mg/L]

    Source
    ------
    asce-ewri-2-06
    """
    saturation = saturation_mg_per_l(20.0) if saturation20_mg_per_l is None else saturation20_mg_per_l
    rate = kla20_per_h * saturation * volume_l / 1000.0
    if not flow_l_per_min:
        return StandardTransfer(sotr_g_per_h=rate, sote=None, sote_per_m=None)
    share = rate / (flow_l_per_min * 60.0 * OXYGEN_IN_AIR_G_PER_L)
    return StandardTransfer(sotr_g_per_h=rate, sote=share, sote_per_m=share / depth_m if depth_m else None)
