"""One worked number for each formula of the room, from a printed source or computed here on paper, named as such."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.stats import norm

from aerobe.oxygen import (
    FOODS,
    YIELD,
    DoseOutcome,
    air_spans,
    balance_ceiling_g_per_l,
    compare_changes,
    depth_as_wide_m,
    dose_row,
    first_guess_kla,
    food_balance,
    food_ceiling,
    pump_power_w,
    pump_pressure_kpa,
    scale_vessel,
    size_air,
    split_feeds,
    trade_off,
    vessel_kla,
    with_flow_guessed,
)
from aerobe.oxygen._demand import _add, _product
from aerobe.oxygen._first_guess import GUESS_LOG_SD
from aerobe.oxygen._foods import Range
from aerobe.records import AirSupply, FoodDose, Recipe, Vessel

BUCKET = Vessel(key="b", name="b", volume_l=20.0, depth_m=0.4, air=AirSupply(flow_l_per_min=10.0, diffuser="coarse bubble"))


def of(**grams: float) -> Recipe:
    doses = tuple(FoodDose(food=name.replace("_", " "), g_per_l=amount) for name, amount in grams.items())
    return Recipe(key="r", name="r", compost="c", compost_g_per_l=10.0, foods=doses)


# --- demand ----------------------------------------------------------------------------------------------------------


def test_the_yield_is_that_of_the_sludge_models_and_of_the_observations() -> None:
    # ASM1, Table of typical parameters, Y_H = 0.67 g cell COD a g COD (Henze and others 2000); mean of soils and waters
    # 0.50 +/- 0.25 (the middle lies within it); between 0.4 and 0.67 for aerobic heterotrophs (from memory).
    assert (YIELD.low, YIELD.mid, YIELD.high) == (0.40, 0.53, 0.67)


def test_what_growth_burns_is_the_demand_that_is_not_built_in() -> None:
    # On paper: glucose takes 192/180 = 1.067 g O2 a g; of 1 g/L that is used at once, 1 - 0.53 is burnt.
    food = replace(FOODS.find("glucose"), readily=Range(low=1.0, mid=1.0, high=1.0))
    balance = food_balance(of(glucose=1.0))
    share = FOODS.find("glucose").readily.mid
    assert balance.growth_demand_mg_per_l.mid == approx(1000.0 * food.oxygen_demand.mid * share * 0.47)
    assert balance.growth_demand_mg_per_l.mid == approx(1067.0 * share * 0.47, rel=0.02)
    # The careful end burns 1 - 0.40 and the hopeful one 1 - 0.67: relative reaches joined as a root of squares.
    known = replace(
        balance, growth_demand_mg_per_l=_product(Range(low=100.0, mid=100.0, high=100.0), Range(low=0.33, mid=0.47, high=0.6))
    )
    assert known.growth_demand_mg_per_l.low == approx(33.0) and known.growth_demand_mg_per_l.high == approx(60.0)
    certain = Range(low=0.4, mid=0.4, high=0.4)
    assert food_balance(of(glucose=1.0), growth_yield=certain).growth_demand_mg_per_l.mid == approx(
        food_balance(of(glucose=1.0)).growth_demand_mg_per_l.mid * 0.6 / 0.47
    )


def test_ranges_join_as_independent_errors() -> None:
    # On paper: 3 % and 4 % below join to 5 %, 6 % and 8 % above to 10 %; sums likewise in absolute terms.
    joined = _product(Range(low=0.97, mid=1.0, high=1.06), Range(low=1.92, mid=2.0, high=2.16))
    assert (joined.low, joined.mid, joined.high) == (approx(1.9), approx(2.0), approx(2.2))
    total = _add([Range(low=7.0, mid=10.0, high=16.0), Range(low=16.0, mid=20.0, high=28.0)])
    assert (total.low, total.mid, total.high) == (approx(25.0), approx(30.0), approx(40.0))
    assert _product(Range(low=0.0, mid=1.0, high=2.0), Range(low=0.0, mid=1.0, high=2.0)).low == 0.0
    assert _add([Range(low=0.0, mid=1.0, high=2.0), Range(low=0.0, mid=1.0, high=2.0)]).low == approx(2.0 - math.sqrt(2.0))


def test_the_balance_of_carbon_and_nitrogen_is_the_library_times_the_dose() -> None:
    molasses = FOODS.find("molasses")
    balance = food_balance(of(molasses=2.5))
    assert balance.carbon_mg_per_l.mid == approx(2500.0 * molasses.carbon.mid)
    assert balance.nitrogen_mg_per_l.high == approx(2500.0 * molasses.nitrogen.high)
    assert balance.carbon_to_nitrogen == approx(molasses.carbon.mid / molasses.nitrogen.mid)
    assert balance.readily_mg_c_per_l.mid == approx(2500.0 * molasses.carbon.mid * molasses.readily.mid)
    assert balance.slow_mg_c_per_l.mid == approx(2500.0 * molasses.carbon.mid * molasses.slow.mid)
    assert balance.readily_demand_mg_per_l.mid == approx(2500.0 * molasses.oxygen_demand.mid * molasses.readily.mid)


def test_the_first_ceiling_is_supply_over_peak_demand() -> None:
    # On paper: 20/h (9 - 6) - 10 = 50 mg/L/h over 24 h at a peak of twice the mean carries 600 mg O2/L of growth.
    food = FOODS.find("molasses")
    burnt = 1000.0 * food.oxygen_demand.mid * food.readily.mid * 0.47
    dose = balance_ceiling_g_per_l(
        food, kla_per_h=20.0, saturation_mg_per_l=9.0, floor_mg_per_l=6.0, hours=24.0, base_uptake_mg_per_l_h=10.0
    )
    assert dose * burnt == approx(600.0)
    assert (
        balance_ceiling_g_per_l(
            food, kla_per_h=1.0, saturation_mg_per_l=9.0, floor_mg_per_l=6.0, hours=24.0, base_uptake_mg_per_l_h=5.0
        )
        == 0.0
    )


# --- ceiling ---------------------------------------------------------------------------------------------------------


def ramp(draws: int) -> object:
    """Oxygen falls by 1 mg/L a gram; draws spread evenly over 4 to 8 mg/L without food."""
    start = np.linspace(4.0, 8.0, draws)

    def forecast(dose: float) -> DoseOutcome:
        return DoseOutcome(
            lowest_oxygen_mg_per_l=start - dose, peak_biomass=100.0 + dose * np.ones(draws), peak_at_h=np.full(draws, 20.0)
        )

    return forecast


def test_the_ceiling_and_the_range_that_the_number_of_draws_leaves() -> None:
    # On paper: with a floor of 2 mg/L, 90 % of 400 draws hold up to a dose of 2.4 g/L. The standard error of that share is
    # root(0.9 0.1 / 400) = 0.015; a share moves by a quarter for each gram: 0.06 g/L either way.
    found = food_ceiling(ramp(400), floor_mg_per_l=2.0, highest_g_per_l=20.0, tolerance=0.001)  # type: ignore[arg-type]
    assert found.dose_g_per_l == approx(2.4, abs=0.01)
    assert found.dose_low_g_per_l == approx(2.34, abs=0.02) and found.dose_high_g_per_l == approx(2.46, abs=0.02)
    assert found.chance == approx(0.9, abs=0.005) and not found.beyond_range
    assert {round(row.dose_g_per_l, 4) for row in found.rows} >= {0.0, 0.2, 20.0, round(20.0 * 0.01**0.5, 4)}


def test_a_row_has_the_5_50_and_95_percent_points() -> None:
    (row,) = trade_off(ramp(401), [1.5], floor_mg_per_l=4.5)  # type: ignore[arg-type]
    assert row.lowest_oxygen_mg_per_l == approx((2.7, 4.5, 6.3)) and row.peak_biomass[1] == approx(101.5)
    assert row.chance_above_floor == approx(201 / 401)
    assert split_feeds(6.0, [0.0, 5.0, 9.0]) == ((0.0, 2.0), (5.0, 2.0), (9.0, 2.0))


def test_ways_are_compared_draw_by_draw() -> None:
    now = ramp(401)(3.0)  # type: ignore[operator]
    less = replace(ramp(401)(1.0), peak_biomass=now.peak_biomass * 0.8)  # type: ignore[operator]
    changes = compare_changes({"now": now, "less": less}, {"now": 1.0, "less": 0.5}, floor_mg_per_l=2.0)
    assert changes.rows[1].biomass_ratio == approx((0.8, 0.8, 0.8)) and changes.rows[1].cost == 0.5
    assert changes.rows[1].chance_above_floor == 1.0 and changes.rows[1].lowest_oxygen_mg_per_l == approx((3.2, 5.0, 6.8))
    assert "'less' grows most: 0.80 (0.80 to 0.80)" in changes.says


def test_the_row_of_one_dose_counts_its_brews() -> None:
    # On paper: 0, 0.1 ... 10 mg/L in 101 brews: 81 of them hold 2 mg/L; quantiles lie at 5, 50 and 95 of a hundred steps.
    steps = np.linspace(0.0, 10.0, 101)
    row = dose_row(1.5, DoseOutcome(lowest_oxygen_mg_per_l=steps, peak_biomass=3.0 * steps, peak_at_h=steps + 20.0), 2.0)
    assert row.dose_g_per_l == 1.5 and row.chance_above_floor == approx(81.0 / 101.0)
    assert row.lowest_oxygen_mg_per_l == approx((0.5, 5.0, 9.5)) and row.peak_biomass == approx((1.5, 15.0, 28.5))
    assert row.peak_at_h == approx((20.5, 25.0, 29.5))


# --- air -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("diffuser", "factor", "log_sd"),
    [("fine bubble", 0.60, 0.7), ("venturi", 0.45, 0.9), ("coarse bubble", 0.25, 0.6), ("open pipe", 0.15, 0.7)],
)
def test_the_guess_is_a_power_of_the_gas_velocity(diffuser: str, factor: float, log_sd: float) -> None:
    # On paper: 10 L/min over 0.05 m2 is 1/300 m/s. The form u^0.7 is van't Riet's (1979); its factor for coalescing bubbles
    # is 0.32; ours lie about it (see the room). Surface: 0.05 m/h over 0.4 m is 0.125/h (our own order).
    vessel = replace(BUCKET, air=AirSupply(flow_l_per_min=10.0, diffuser=diffuser))
    kla, sd = first_guess_kla(vessel)
    assert kla == approx(3600.0 * factor * (1.0 / 300.0) ** 0.7 + 0.125) and sd == log_sd


def test_a_still_vessel_takes_up_through_its_surface_only_and_a_measured_one_is_believed() -> None:
    assert first_guess_kla(replace(BUCKET, air=AirSupply(flow_l_per_min=0.0))) == (approx(0.125), 0.8)
    measured = AirSupply(flow_l_per_min=10.0, kla_per_h=17.0)
    assert vessel_kla(replace(BUCKET, air=measured)) == (17.0, 0.2)
    assert vessel_kla(replace(BUCKET, air=replace(measured, kla_log_sd=0.05))) == (17.0, 0.05)


def test_pressure_is_water_stone_and_hose() -> None:
    # On paper: 0.5 m of water is 4.895 kPa; a coarse stone 1 kPa; a tenth for the hose.
    assert pump_pressure_kpa(0.5) == approx(1.1 * 5.895)
    assert [pump_pressure_kpa(0.5, kind) / 1.1 - 4.895 for kind in ("fine bubble", "open pipe", "venturi")] == approx(
        [4.0, 0.3, 0.0]
    )


def test_power_is_adiabatic_work_over_efficiency() -> None:
    # On paper: 60 L/min at 10 kPa above 101.325: 101325 / 0.283 ((1 + 10/101.325)^0.283 - 1) J/m3 = 9659 J/m3; a litre a
    # second is 9.66 W in the air, 38.6 W at the wire.
    assert pump_power_w(60.0, 10.0) == approx(0.001 * 101325.0 / 0.283 * ((1.0 + 10.0 / 101.325) ** 0.283 - 1.0) / 0.25, rel=1e-4)
    assert pump_power_w(60.0, 10.0) == approx(38.7, abs=0.3)
    assert pump_power_w(60.0, 10.0, efficiency=0.5) == approx(pump_power_w(60.0, 10.0) / 2.0)


def test_the_air_that_nobody_looked_at() -> None:
    # On paper: 20 L as deep as wide: pi/4 d^3 = 0.02 m3, d = 0.294 m. Flow: a quarter litre a litre a minute, seven tenths of a
    # label, or what the watts push (common practice, no source).
    assert depth_as_wide_m(20.0) == approx(0.2942, abs=1e-4)
    watts = pump_power_w(8.0, pump_pressure_kpa(0.4))
    ways = [with_flow_guessed(BUCKET), with_flow_guessed(BUCKET, 20.0), with_flow_guessed(BUCKET, None, watts)]
    assert [way.air.flow_l_per_min for way in ways] == approx([5.0, 14.0, 8.0])
    middle, low, high = air_spans(ways[0])["flow"]
    assert (
        middle == 5.0
        and low * high == approx(25.0)
        and math.log(high / 5.0) == approx(norm.ppf(0.95) * GUESS_LOG_SD["flow"], rel=1e-3)
    )


def test_a_plan_turns_the_guess_round() -> None:
    (plan,) = size_air(BUCKET, kla20_per_h=20.0, hours=36.0, price_per_kwh=0.4, diffusers=("coarse bubble",))
    velocity = ((20.0 - 0.125) / (3600.0 * 0.25)) ** (1.0 / 0.7)
    assert plan.flow_l_per_min == approx(velocity * 0.05 * 60000.0)
    # Nine in ten such vessels reach it where the middle of the guess is exp(1.2816 x 0.6) higher.
    sure = ((20.0 * math.exp(norm.ppf(0.9) * 0.6) - 0.125) / (3600.0 * 0.25)) ** (1.0 / 0.7)
    assert plan.flow_assured_l_per_min == approx(sure * 0.05 * 60000.0, rel=1e-4)
    assert plan.flow_per_volume_per_min == approx(plan.flow_l_per_min / 20.0)
    assert plan.energy_kwh == approx(plan.power_w * 36.0 / 1000.0) and plan.cost == approx(0.4 * plan.energy_kwh)
    assert plan.power_w == approx(pump_power_w(plan.flow_l_per_min, pump_pressure_kpa(0.4)))


def test_a_measured_vessel_calibrates_its_own_stone() -> None:
    kla, _ = first_guess_kla(BUCKET)
    measured = replace(BUCKET, air=replace(BUCKET.air, kla_per_h=1.5 * kla, kla_log_sd=0.1))
    (plan,) = size_air(measured, kla20_per_h=1.5 * kla, diffusers=("coarse bubble",))
    assert plan.flow_l_per_min == approx(10.0)
    sure = ((kla * math.exp(norm.ppf(0.9) * 0.35) - 0.125) / (3600.0 * 0.25)) ** (1.0 / 0.7)
    assert plan.flow_assured_l_per_min == approx(sure * 0.05 * 60000.0, rel=1e-4)
    tank = scale_vessel(measured, 1280.0)
    assert tank.large.depth_m == approx(1.6)  # four times as deep as wide, 64 times the volume
    assert tank.log_sd == approx(math.hypot(0.1, 0.35)) and tank.kla20_per_h == approx(1.5 * kla)
    assert scale_vessel(BUCKET, 1280.0).log_sd == 0.6
