"""Rates, microbes per square metre, mesh and weather."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from aerobe.errors import AerobeError, UnusableRecord
from aerobe.safety import FAILS, NOT_SHOWN, SHOWN, amounts, applied_per_m2, judge_mesh, judge_weather, mesh_opening_mm, mix_for


@pytest.mark.parametrize(
    ("gallons_per_acre", "litres_per_ha"),
    # Rates of practice: 5 US gal/acre on leaves is 47 L/ha, 20 US gal/acre on soil 187 L/ha (recalled; units exact).
    [(5.0, 47.0), (20.0, 187.0)],
)
def test_rates_of_practice_in_litres_per_hectare(gallons_per_acre: float, litres_per_ha: float) -> None:
    use = amounts(tea_l=gallons_per_acre * 3.785411784, area_m2=4046.8564224)
    assert use.mix_l_per_ha == approx(litres_per_ha, abs=0.5)


def test_beds_pots_and_dilution() -> None:
    use = amounts(tea_l=2.0, water_l=8.0, area_m2=20.0, beds=4, pots=50)
    assert (use.parts_water_to_one_tea, use.mix_l, use.mix_l_per_m2, use.mix_l_per_bed, use.mix_ml_per_pot) == (
        4.0,
        10.0,
        0.5,
        2.5,
        200.0,
    )
    assert use.mix_l_per_ha == approx(5000.0) and use.tea_l_per_ha == approx(1000.0)
    assert mix_for(mix_l=10.0, parts_water_to_one_tea=4.0) == (2.0, 8.0)


@pytest.mark.parametrize(
    "bad",
    [
        {"tea_l": 0.0},
        {"tea_l": 1.0, "water_l": -1.0},
        {"tea_l": 1.0, "area_m2": 0.0},
        {"tea_l": 1.0, "pots": 0},
        {"tea_l": math.nan},
    ],
)
def test_impossible_amounts_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(AerobeError):
        amounts(**bad)  # type: ignore[arg-type]


def test_microbes_per_square_metre_agree_with_drawing_them() -> None:
    """The interval against 200,000 draws of the product of three independent lognormals (GUM Supplement 1 by hand)."""
    low, middle, high = 2e7, 1e8, 5e8
    got = applied_per_m2(per_ml=middle, low_per_ml=low, high_per_ml=high, tea_l=5.0, area_m2=20.0, volume_cv=0.1, area_cv=0.2)
    rng = np.random.default_rng(7)
    density = rng.normal(math.log(middle), math.log(high / middle) / 1.959964, 200_000)
    gear = rng.normal(0, math.sqrt(math.log1p(0.01)), 200_000) - rng.normal(0, math.sqrt(math.log1p(0.04)), 200_000)
    drawn = np.quantile(np.exp(density + gear) * 5000.0 / 20.0, [0.025, 0.5, 0.975])
    assert (got.low, got.per_m2, got.high) == (approx(drawn[0], rel=0.03), approx(drawn[1], rel=0.03), approx(drawn[2], rel=0.03))


def test_water_added_changes_nothing_and_doubt_only_widens() -> None:
    sharp = applied_per_m2(per_ml=1e8, low_per_ml=5e7, high_per_ml=2e8, tea_l=5.0, area_m2=20.0, volume_cv=0.0, area_cv=0.0)
    assert (sharp.low, sharp.per_m2, sharp.high) == (approx(1.25e10), approx(2.5e10), approx(5e10))
    rough = applied_per_m2(per_ml=1e8, low_per_ml=5e7, high_per_ml=2e8, tea_l=5.0, area_m2=20.0)
    assert rough.low < sharp.low and rough.high > sharp.high and rough.per_m2 == sharp.per_m2


@pytest.mark.parametrize("density", [(1e8, 0.0, 2e8), (1e8, 2e8, 3e8), (1e8, 1e7, math.inf)])
def test_no_number_from_a_result_below_detection(density: tuple[float, float, float]) -> None:
    with pytest.raises(UnusableRecord):
        applied_per_m2(per_ml=density[0], low_per_ml=density[1], high_per_ml=density[2], tea_l=1.0, area_m2=1.0)


@pytest.mark.parametrize(
    ("mesh", "nozzle", "state"), [(0.2, 1.0, SHOWN), (0.19, 1.0, FAILS), (0.5, 1.0, SHOWN), (0.51, 1.0, FAILS), (0.3, 0.5, FAILS)]
)
def test_mesh(mesh: float, nozzle: float, state: str) -> None:
    # Common practice, no source.
    assert judge_mesh(mesh_mm=mesh, nozzle_mm=nozzle).state == state


def test_sieve_numbers() -> None:
    # ASTM E11 (recalled): No. 50 is 300 um, No. 100 is 150 um.
    assert (mesh_opening_mm(50), mesh_opening_mm(100)) == (0.3, 0.15)
    with pytest.raises(UnusableRecord):
        mesh_opening_mm(51)


@pytest.mark.parametrize(
    ("wind", "state"),
    # Labels: 10 miles an hour is 4.47 m/s; under 3 (1.34 m/s) inversions are to be feared.
    [(4.5, SHOWN), (4.51, FAILS), (1.3, SHOWN), (1.2, NOT_SHOWN), (None, NOT_SHOWN), (math.nan, NOT_SHOWN)],
)
def test_wind(wind: float | None, state: str) -> None:
    found = {
        item.name: item.state
        for item in judge_weather(sprayed=True, wind_m_per_s=wind, temperature_degc=20.0, uv_index=1.0, drop_um=300.0)
    }
    assert found == {"warmth": SHOWN, "sun": SHOWN, "wind": state, "drops": SHOWN}


def test_fine_drops_heat_and_sun() -> None:
    found = {
        item.name: item.state
        for item in judge_weather(sprayed=True, wind_m_per_s=2.0, temperature_degc=31.0, uv_index=7.0, drop_um=100.0)
    }
    assert found == {"warmth": FAILS, "sun": FAILS, "wind": SHOWN, "drops": FAILS}
    poured = judge_weather(sprayed=False, wind_m_per_s=None, temperature_degc=20.0, uv_index=2.0)
    assert {item.name for item in poured} == {"warmth", "sun"}
