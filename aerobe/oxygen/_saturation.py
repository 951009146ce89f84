"""How much oxygen water holds in balance with air."""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.errors import OutsideValidity

ATMOSPHERE_KPA = 101.325
Array = NDArray[np.float64]


@overload
def saturation_mg_per_l(
    temperature_degc: float, *, altitude_m: float = ..., pressure_kpa: float | None = ..., salinity: float = ...
) -> float: ...
@overload
def saturation_mg_per_l(
    temperature_degc: ArrayLike, *, altitude_m: ArrayLike = ..., pressure_kpa: ArrayLike | None = ..., salinity: ArrayLike = ...
) -> Array: ...
def saturation_mg_per_l(
    temperature_degc: ArrayLike, *, altitude_m: ArrayLike = 0.0, pressure_kpa: ArrayLike | None = None, salinity: ArrayLike = 0.0
) -> float | Array:
    """Oxygen that water holds in balance with water-saturated air.

    A meter reading well above this points at the meter, not at the brew.

    Parameters
    ----------
    temperature_degc
        Water temperature, 0 to 40; a number or an array. [degC]
    altitude_m
        Height above sea level, for the mean air pressure there; ignored where `pressure_kpa` is given. [m]
    pressure_kpa
        Air pressure at the place, not reduced to sea level, 50 to 115. [kPa]
    salinity
        Dissolved salts on the practical scale, 0 to 40. [g/kg]

    Returns
    -------
    float or array
        Dissolved oxygen at saturation, shape of the inputs broadcast. [mg/L]

    Raises
    ------
    OutsideValidity
        If water, pressure or salts lie outside the fitted range.

    Notes
    -----
    Sugars and other solutes that are no salts are not counted; at brewing doses they lower the value by less than 1 %.

    Source
    ------
    benson-krause-1984, apha-4500-o, us-standard-atmosphere-1976

    Examples
    --------
    >>> round(saturation_mg_per_l(20.0), 2)
    9.09
    """
    temperature = np.asarray(temperature_degc, dtype=float)
    pressure = pressure_at_altitude_kpa(altitude_m) if pressure_kpa is None else pressure_kpa
    atmospheres = np.asarray(pressure, dtype=float) / ATMOSPHERE_KPA
    salt = np.asarray(salinity, dtype=float)
    _check(temperature, atmospheres * ATMOSPHERE_KPA, salt)
    result = _at_one_atmosphere(temperature, salt) * _pressure_factor(temperature, atmospheres)
    return float(result) if np.ndim(result) == 0 else result


def pressure_at_altitude_kpa(altitude_m: ArrayLike) -> float | Array:
    """Mean air pressure at a height in the standard atmosphere.

    Parameters
    ----------
    altitude_m
        Height above sea level, up to 11,000. [m]

    Returns
    -------
    float or array
        Air pressure. [kPa]

    Source
    ------
    us-standard-atmosphere-1976
    """
    altitude = np.asarray(altitude_m, dtype=float)
    result = ATMOSPHERE_KPA * (1.0 - 2.25577e-5 * altitude) ** 5.25588
    return float(result) if np.ndim(result) == 0 else result


def water_vapour_atm(temperature_degc: Array) -> Array:
    """Vapour pressure of water [atm], as Standard Methods 4500-O writes it."""
    kelvin = np.asarray(temperature_degc, dtype=float) + 273.15
    return np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)


def _at_one_atmosphere(temperature: Array, salt: Array) -> Array:
    kelvin = temperature + 273.15
    fresh = -139.34411 + 1.575701e5 / kelvin - 6.642308e7 / kelvin**2 + 1.243800e10 / kelvin**3 - 8.621949e11 / kelvin**4
    return np.exp(fresh - salt * (0.017674 - 10.754 / kelvin + 2140.7 / kelvin**2))


def _pressure_factor(temperature: Array, atmospheres: Array) -> Array:
    vapour = water_vapour_atm(temperature)
    # Second-order term of the balance: how far air at this pressure is from an ideal gas.
    theta = 0.000975 - 1.426e-5 * temperature + 6.436e-8 * temperature**2
    return atmospheres * (1 - vapour / atmospheres) * (1 - theta * atmospheres) / ((1 - vapour) * (1 - theta))


def _check(temperature: Array, pressure: Array, salt: Array) -> None:
    if not np.all((temperature >= 0.0) & (temperature <= 40.0)):
        outside = np.atleast_1d(temperature)[~(np.atleast_1d((temperature >= 0.0) & (temperature <= 40.0)))][0]
        raise OutsideValidity(
            f"Water at {outside:g} degC is outside 0 to 40 degC, the fitted range of the saturation table.",
            "Check the thermometer and its unit; a value near 68 is often 20 degC read in degF.",
        )
    if not np.all((pressure >= 50.0) & (pressure <= 115.0)):
        raise OutsideValidity(
            f"An air pressure of {np.ravel(pressure)[0]:g} kPa is outside 50 to 115 kPa.",
            "Give the pressure at the place in kPa (1013 hPa is 101.3 kPa), or the altitude in metres instead.",
        )
    if not np.all((salt >= 0.0) & (salt <= 40.0)):
        raise OutsideValidity(
            f"A salinity of {np.ravel(salt)[0]:g} g/kg is outside 0 to 40 g/kg.", "Brews lie near 0 to 5; sea water is 35."
        )
