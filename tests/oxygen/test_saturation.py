"""Saturation against published tables."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from aerobe.errors import OutsideValidity
from aerobe.oxygen import (
    oxygen_from_percent,
    pressure_at_altitude_kpa,
    salinity_from_conductivity,
    saturation_mg_per_l,
)
from tests.conftest import truth


@pytest.mark.parametrize("row", truth("oxygen_saturation.csv"), ids=lambda row: row.id)
def test_saturation_agrees_with_published_table(row) -> None:
    assert saturation_mg_per_l(row.temperature_degc, salinity=row.salinity) == approx(row.saturation_mg_per_l, abs=row.tolerance)


def test_pressure_example_at_nine_tenths_of_an_atmosphere() -> None:
    # Standard Methods 4500-O G formula (from memory), worked by hand: 8.16; plain proportion would give 8.18.
    assert saturation_mg_per_l(20.0, pressure_kpa=0.9 * 101.325) == approx(8.16, abs=0.005)


@pytest.mark.parametrize(("altitude", "kpa"), [(0.0, 101.325), (1000.0, 89.87), (2000.0, 79.50), (3000.0, 70.11)])
def test_pressure_at_altitude_agrees_with_the_standard_atmosphere(altitude: float, kpa: float) -> None:
    # U.S. Standard Atmosphere 1976, printed table (recalled): 89.87, 79.50 and 70.12 kPa.
    assert pressure_at_altitude_kpa(altitude) == approx(kpa, abs=0.02)


def test_altitude_and_its_pressure_are_the_same_thing() -> None:
    assert saturation_mg_per_l(18.0, altitude_m=1600.0) == saturation_mg_per_l(
        18.0, pressure_kpa=pressure_at_altitude_kpa(1600.0)
    )


def test_saturation_falls_as_water_warms_and_as_salt_rises() -> None:
    warm = saturation_mg_per_l(np.linspace(0.0, 40.0, 81))
    assert warm.shape == (81,) and np.all(np.diff(warm) < 0.0)
    assert np.all(np.diff(saturation_mg_per_l(20.0, salinity=np.linspace(0.0, 40.0, 21))) < 0.0)


def test_percent_and_back_is_the_same_reading() -> None:
    full = saturation_mg_per_l(17.0, altitude_m=500.0, salinity=2.0)
    assert oxygen_from_percent(100.0 * 6.0 / full, 17.0, altitude_m=500.0, salinity=2.0) == approx(6.0)
    assert oxygen_from_percent(100.0, 20.0) == approx(9.092, abs=0.001)


def test_salinity_scale_is_35_for_its_own_reference() -> None:
    # UNESCO 1983 (from memory): conductivity ratio 1 at 15 degC is 35 by definition; standard sea water at 25 degC conducts
    # 53.09 mS/cm.
    assert salinity_from_conductivity(42914.0, temperature_degc=15.0) == approx(35.0, abs=1e-4)
    assert salinity_from_conductivity(53087.0) == approx(35.0, abs=0.03)


@pytest.mark.parametrize(("conductivity", "salinity"), [(100.0, 0.046), (1000.0, 0.49), (1413.0, 0.71), (2000.0, 1.02)])
def test_dilute_waters_have_the_salinity_of_the_extended_scale(conductivity: float, salinity: float) -> None:
    # Standard Methods 2520 B as tabulated by makers of meters (recalled): about 0.49 at 1 mS/cm and 1.02 at 2 mS/cm.
    assert salinity_from_conductivity(conductivity) == approx(salinity, rel=0.03)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [((68.0, {}), "degF"), ((20.0, {"pressure_kpa": 1013.0}), "hPa"), ((20.0, {"salinity": 400.0}), "sea water")],
)
def test_a_value_outside_the_range_is_refused_with_a_remedy(arguments, word: str) -> None:
    temperature, rest = arguments
    with pytest.raises(OutsideValidity) as fault:
        saturation_mg_per_l(temperature, **rest)
    assert word in fault.value.remedy


def test_a_spoiled_formula_would_be_noticed() -> None:
    row = next(row for row in truth("oxygen_saturation.csv") if row.id == "sm-20")
    assert abs(saturation_mg_per_l(20.0) * 1.001 - row.saturation_mg_per_l) > row.tolerance
