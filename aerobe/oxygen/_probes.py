"""Is the probe right? Two checks that cost nothing, and the correction they give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.errors import OutsideValidity, UnusableReading
from aerobe.oxygen._saturation import saturation_mg_per_l

Array = NDArray[np.float64]


def oxygen_from_percent(
    percent: float, temperature_degc: float, *, altitude_m: float = 0.0, pressure_kpa: float | None = None, salinity: float = 0.0
) -> float:
    """A reading in percent of saturation as mg/L.

    Parameters
    ----------
    percent
        The reading, relative to air at this place. [%]
    temperature_degc, altitude_m, pressure_kpa, salinity
        As for `saturation_mg_per_l`. [degC, m, kPa, g/kg]

    Returns
    -------
    float
        Dissolved oxygen. [mg/L]

    Source
    ------
    benson-krause-1984
    """
    return (
        percent
        / 100.0
        * saturation_mg_per_l(temperature_degc, altitude_m=altitude_m, pressure_kpa=pressure_kpa, salinity=salinity)
    )


def salinity_from_conductivity(conductivity_us_per_cm: float, *, temperature_degc: float = 25.0) -> float:
    """Practical salinity from conductivity, also below 2 where most brews lie.

    Parameters
    ----------
    conductivity_us_per_cm
        As read. Most meters show the value at 25 degC whatever the water is. [uS/cm]
    temperature_degc
        That the value refers to: 25 for a meter that compensates, else the water's. [degC]

    Returns
    -------
    float
        Salinity on the practical scale. [g/kg]

    Raises
    ------
    OutsideValidity
        Outside 0 to 70,000 uS/cm or 0 to 40 degC.

    Notes
    -----
    The scale is made for sea salt; the salts of a brew are others. At 2000 uS/cm all of it moves saturation by 0.6 %.

    Source
    ------
    unesco-1983, apha-2520-b
    """
    if not 0.0 <= conductivity_us_per_cm <= 70000.0 or not 0.0 <= temperature_degc <= 40.0:
        raise OutsideValidity(
            f"{conductivity_us_per_cm:g} uS/cm at {temperature_degc:g} degC is outside 0 to 70,000 uS/cm and 0 to 40 degC.",
            "Check the unit: 2 mS/cm is 2000 uS/cm.",
        )
    t = temperature_degc
    reference = 0.6766097 + 2.00564e-2 * t + 1.104259e-4 * t**2 - 6.9698e-7 * t**3 + 1.0031e-9 * t**4
    ratio = conductivity_us_per_cm / 42914.0 / reference
    root = np.sqrt(ratio)
    bend = (t - 15.0) / (1.0 + 0.0162 * (t - 15.0))
    sea = np.polyval([2.7081, -7.0261, 14.0941, 25.3851, -0.1692, 0.0080], root)
    warmth = bend * np.polyval([-0.0144, 0.0636, -0.0375, -0.0066, -0.0056, 0.0005], root)
    x, y = 400.0 * ratio, 100.0 * ratio
    dilute = 0.0080 / (1.0 + 1.5 * x + x**2) + 0.0005 * bend / (1.0 + np.sqrt(y) + y + y**1.5)
    return max(float(sea + warmth - dilute), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeCheck:
    """Result of checking a probe in air-saturated water and in water without oxygen."""

    expected_mg_per_l: float  # saturation at this temperature and pressure [mg/L]
    read_mg_per_l: float
    zero_mg_per_l: float | None
    slope: float  # true over read, between the two points [-]
    sound: bool
    findings: tuple[str, ...]

    def correct(self, oxygen_mg_per_l: ArrayLike) -> float | Array:
        """Readings brought onto the line through the two points.

        Parameters
        ----------
        oxygen_mg_per_l
            As read, a number or an array. [mg/L]

        Returns
        -------
        float or array
            Corrected. [mg/L]
        """
        result = (np.asarray(oxygen_mg_per_l, dtype=float) - (self.zero_mg_per_l or 0.0)) * self.slope
        return float(result) if np.ndim(result) == 0 else result


def check_probe(
    read_mg_per_l: float,
    temperature_degc: float,
    *,
    zero_mg_per_l: float | None = None,
    altitude_m: float = 0.0,
    pressure_kpa: float | None = None,
    salinity: float = 0.0,
) -> ProbeCheck:
    """Judge a probe by its reading in air-saturated water and, where there is one, in water without oxygen.

    Parameters
    ----------
    read_mg_per_l
        In clean water bubbled with air for half an hour. [mg/L]
    temperature_degc, altitude_m, pressure_kpa, salinity
        As for `saturation_mg_per_l`. [degC, m, kPa, g/kg]
    zero_mg_per_l
        In water with fresh sulphite, after five minutes. [mg/L]

    Returns
    -------
    ProbeCheck
        Sound within 3 % of saturation and 0.2 mg/L of zero (common practice, no source).

    Raises
    ------
    UnusableReading
        If the two readings leave no span to work with.

    Source
    ------
    benson-krause-1984
    """
    expected = saturation_mg_per_l(temperature_degc, altitude_m=altitude_m, pressure_kpa=pressure_kpa, salinity=salinity)
    zero = 0.0 if zero_mg_per_l is None else zero_mg_per_l
    if read_mg_per_l - zero < 0.3 * expected:
        raise UnusableReading(
            f"The probe reads {read_mg_per_l:g} mg/L in water that holds {expected:.2f} mg/L, and {zero:g} mg/L without oxygen.",
            "Renew membrane and electrolyte or the sensor cap, calibrate, and check again.",
        )
    findings = []
    off = read_mg_per_l / expected - 1.0
    if abs(off) > 0.03:
        findings.append(
            f"It reads {100 * abs(off):.0f} % {'above' if off > 0 else 'below'} saturation: calibrate it in air-saturated water, "
            "and check that it knows the temperature and the air pressure."
        )
    if zero_mg_per_l is not None and abs(zero_mg_per_l) > 0.2:
        findings.append(f"It reads {zero_mg_per_l:g} mg/L where there is no oxygen: set its zero, or renew the membrane or cap.")
    if zero_mg_per_l is None:
        findings.append("The zero is not checked: a probe can be right in air and wrong near the floor that matters.")
    return ProbeCheck(
        expected_mg_per_l=expected,
        read_mg_per_l=read_mg_per_l,
        zero_mg_per_l=zero_mg_per_l,
        slope=expected / (read_mg_per_l - zero),
        findings=tuple(findings),
        sound=abs(off) <= 0.03 and (zero_mg_per_l is None or abs(zero_mg_per_l) <= 0.2),
    )
