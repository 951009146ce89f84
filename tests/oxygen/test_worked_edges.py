"""Worked numbers where all terms of a formula matter at once: no nought, no one, nothing that cancels."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_ivp
from scipy.stats import norm

from aerobe.errors import OutsideValidity
from aerobe.oxygen import (
    FOODS,
    balance_ceiling_g_per_l,
    food_balance,
    holding_time,
    hours_to_floor,
    oxygen_from_percent,
    pressure_at_altitude_kpa,
    pump_power_w,
    responses,
    salinity_from_conductivity,
    saturation_mg_per_l,
    size_air,
    standard_transfer,
)
from aerobe.oxygen._faults import _unsteady
from aerobe.oxygen._foods import Range
from aerobe.oxygen._grid_fit import GridPosterior, _whitened
from aerobe.oxygen._models import Mixed
from aerobe.oxygen._reaeration import one_value_a_moment, thin_log
from aerobe.records import AirSupply, FoodDose, Recipe, Vessel


def garcia_gordon_mg_per_l(degc: float, salt: float) -> float:
    """Independent: the fit of Garcia and Gordon (Limnol. Oceanogr. 37, 1992, table 1, Benson and Krause's data; from memory)."""
    t = math.log((298.15 - degc) / (273.15 + degc))
    fresh = np.polyval([3.88767, -0.256847, 4.94457, 4.05010, 3.22014, 2.00907], t)
    salted = np.polyval([-8.17083e-3, -1.03410e-2, -7.37614e-3, -6.24523e-3], t)
    return 1.42905 * math.exp(fresh + salt * salted - 4.88682e-7 * salt**2)


@pytest.mark.parametrize(("degc", "salt"), [(4.3, 3.1), (17.2, 33.0), (29.9, 11.0), (36.3, 0.7)])
def test_saturation_in_salt_water_is_that_of_the_oceanographers(degc: float, salt: float) -> None:
    assert garcia_gordon_mg_per_l(10.0, 35.0) == approx(6.315 * 1.42905, rel=1e-4)  # their check value, from memory
    assert saturation_mg_per_l(degc, salinity=salt) == approx(garcia_gordon_mg_per_l(degc, salt), rel=6e-4)


def test_air_pressure_acts_on_dry_air() -> None:
    # Standard Methods 4500-O, 23rd edition, note to the table of saturation (from memory): C = C* P (1 - Pwv/P)(1 - theta P) /
    # ((1 - Pwv)(1 - theta)), Pwv of water 0.03126 atm at 25 degC (steam tables), theta there 0.000658.
    atm, vapour, theta = 71.3 / 101.325, 0.03126, 0.000975 - 1.426e-5 * 25.0 + 6.436e-8 * 25.0**2
    assert theta == approx(0.000658, abs=2e-6)
    factor = (atm - vapour) * (1.0 - theta * atm) / ((1.0 - vapour) * (1.0 - theta))
    assert saturation_mg_per_l(25.0, pressure_kpa=71.3) / saturation_mg_per_l(25.0) == approx(factor, rel=2e-5)
    # International standard atmosphere (from memory): 79.501 kPa at 2000 m, 54.020 kPa at 5000 m.
    assert pressure_at_altitude_kpa([2000.0, 5000.0]) == approx([79.501, 54.020], rel=2e-4)
    here = saturation_mg_per_l(14.6, altitude_m=2000.0, salinity=2.2)
    assert here == approx(saturation_mg_per_l(14.6, pressure_kpa=79.501, salinity=2.2), rel=2e-4)
    assert oxygen_from_percent(73.0, 14.6, altitude_m=2000.0, salinity=2.2) == approx(0.73 * here)


@pytest.mark.parametrize(("ratio", "degc", "dbar", "salinity"), [(1.2, 20.0, 2000.0, 37.245628), (0.65, 5.0, 1500.0, 27.995347)])
def test_salinity_has_the_check_values_of_the_scale(ratio: float, degc: float, dbar: float, salinity: float) -> None:
    # UNESCO technical papers in marine science 44 (1983), check values of the practical salinity scale (from memory). They are
    # given under pressure, which its own factor takes off here.
    top = dbar * (2.070e-5 + dbar * (-6.370e-10 + 3.989e-15 * dbar))
    pressed = 1.0 + top / (1.0 + 0.03426 * degc + 4.464e-4 * degc**2 + (0.4215 - 3.107e-3 * degc) * ratio)
    found = salinity_from_conductivity(42914.0 * ratio / pressed, temperature_degc=degc)
    assert found == approx(salinity, abs=2e-4)


def test_weak_salts_are_read_with_their_own_terms() -> None:
    # Standard Methods 2520 B, 23rd edition (from memory): S = S_PSS - a0 / (1 + 1.5 X + X2) - b0 f(t) / (1 + Y^0.5 + Y + Y^1.5),
    # X = 400 R, Y = 100 R, a0 = 0.008, b0 = 0.0005. There both terms are printed with a minus, and a0, b0 the scale's own first
    # constants: without salt the terms take off exactly what the scale starts from, and nothing is left.
    assert salinity_from_conductivity(0.0, temperature_degc=31.0) == approx(0.0, abs=1e-12)


def test_a_lagging_probe_follows_its_equations() -> None:
    # Independent: scipy's solver of dC/dt = (a kLa + s)(C* - C) - r, dM/dt = (C - M) / lag, piece by piece.
    switches, kla, lag, surface = ((0.0, True), (0.11, False), (0.29, True)), 17.0, 0.023, 0.9
    times = np.array([0.0, 0.05, 0.2, 0.33, 0.6])
    water, probe, saturation, uptake = 3.1, 2.2, 8.9, 13.0

    def slope(_: float, state: np.ndarray, rate: float) -> list[float]:
        return [rate * (saturation - state[0]) - uptake, (state[0] - state[1]) / lag]

    state, now, shown = np.array([water, probe]), 0.0, []
    for end in sorted({*times, 0.11, 0.29}):
        rate = surface + (0.0 if 0.11 <= now < 0.29 else kla)
        if end > now:
            state = solve_ivp(slope, (now, end), state, args=(rate,), rtol=1e-10, atol=1e-12).y[:, -1]
        now = end
        shown += [state[1]] if end in times else []
    unit = responses(times, switches, np.array([kla]), np.array([lag]), surface)[0]
    assert unit @ [water, probe, saturation, uptake] == approx(shown, rel=1e-7)
    # Without any transfer the water falls straight, and the probe trails:
    # M = C0 - r (t - lag (1 - e^(-t/lag))) + (M0 - C0) e^(-t/lag).
    still = responses(times, ((0.0, False),), np.array([kla]), np.array([lag]), 0.0)[0] @ [water, probe, saturation, uptake]
    gone = np.exp(-times / lag)
    assert still == approx(water - uptake * (times - lag * (1.0 - gone)) + (probe - water) * gone)


def test_a_balance_of_two_foods_is_added_up_by_hand() -> None:
    # On paper, from the library's ranges: each product's relative reach by Pythagoras, each sum's absolute reach likewise.
    doses = {"molasses": 1.7, "oat-flour": 0.6}
    recipe = Recipe(
        key="r",
        name="r",
        compost="c",
        compost_g_per_l=9.0,
        foods=tuple(FoodDose(food=name, g_per_l=grams) for name, grams in doses.items()),
    )
    low = mid = high = 0.0
    for name, grams in doses.items():
        demand, share = FOODS[name].oxygen_demand, FOODS[name].readily
        part = 1000.0 * grams * demand.mid * share.mid
        mid += part
        low += (part * math.hypot(1.0 - demand.low / demand.mid, 1.0 - share.low / share.mid)) ** 2
        high += (part * math.hypot(demand.high / demand.mid - 1.0, share.high / share.mid - 1.0)) ** 2
    found = food_balance(recipe, growth_yield=Range(low=0.45, mid=0.55, high=0.61))
    known = found.readily_demand_mg_per_l
    assert (known.low, known.mid, known.high) == approx((mid - math.sqrt(low), mid, mid + math.sqrt(high)))
    burnt = found.growth_demand_mg_per_l
    assert burnt.mid == approx(0.45 * mid)
    assert burnt.low == approx(0.45 * mid * (1.0 - math.hypot(math.sqrt(low) / mid, 1.0 - 0.39 / 0.45)))
    assert burnt.high == approx(0.45 * mid * (1.0 + math.hypot(math.sqrt(high) / mid, 0.55 / 0.45 - 1.0)))


def test_the_first_ceiling_with_every_term() -> None:
    # On paper: 13 (8.8 - 3.1) - 11 = 63.1 mg/L/h over 19 h, a peak of 1.6 times the mean; a gram burns 39 % of its ready demand.
    molasses = FOODS["molasses"]
    gram = 1000.0 * molasses.oxygen_demand.mid * molasses.readily.mid * 0.39
    found = balance_ceiling_g_per_l(
        molasses,
        kla_per_h=13.0,
        saturation_mg_per_l=8.8,
        floor_mg_per_l=3.1,
        hours=19.0,
        base_uptake_mg_per_l_h=11.0,
        peak_over_mean=1.6,
        growth_yield=0.61,
    )
    assert found == approx(63.1 * 19.0 / (1.6 * gram))
    # In a still vessel at 20 degC, 9.09 mg/L: the end is 9.09 - 10 / 0.5, minutes 120 ln((7 + 10.91) / (2 + 10.91)).
    still = holding_time(7.0, 10.0, floor_mg_per_l=2.0, surface_per_h=0.5)
    assert still.median_min == approx(120.0 * math.log(17.91 / 12.91))
    assert hours_to_floor([7.0, 1.0, 5.0], [3.0, 2.0, 0.0], 1.7) == approx([5.3 / 3.0, 0.0, math.inf])


def test_power_at_a_height_and_the_rate_of_a_tank() -> None:
    # On paper: adiabatic work p V (r^0.283 - 1) / 0.283 from 79.5 kPa at 2000 m, at 31 % from the wire; kLa C* V and its share of
    # the oxygen blown in, 0.27765 g a litre of air.
    ratio = 1.0 + 8.7 / 79.501
    assert pump_power_w(33.0, 8.7, efficiency=0.31, altitude_m=2000.0) == approx(
        33.0 / 60.0 * 79.501 / 0.283 * (ratio**0.283 - 1.0) / 0.31, rel=3e-4
    )
    found = standard_transfer(11.3, 47.0, flow_l_per_min=23.0, depth_m=0.83, saturation20_mg_per_l=8.87)
    assert found.sotr_g_per_h == approx(11.3 * 8.87 * 0.047)
    assert found.sote == approx(11.3 * 8.87 * 0.047 / (23.0 * 60.0 * 0.27765))
    assert found.sote_per_m == approx(found.sote / 0.83)


def test_no_flow_that_a_record_takes_gives_so_much() -> None:
    vessel = Vessel(key="b", name="b", volume_l=20.0, depth_m=0.4, air=AirSupply(flow_l_per_min=10.0, diffuser="open pipe"))
    with pytest.raises(OutsideValidity, match="No flow gives 90000000000 per hour"):
        size_air(vessel, kla20_per_h=9e10, diffusers=("open pipe",))


# --- the parts of a fit ----------------------------------------------------------------------------------------------


def test_whitening_is_the_inverse_of_the_noise_with_a_memory() -> None:
    # Independent: the correlation matrix exp(-|t - t'| / memory) written out and inverted.
    times = np.array([0.0, 0.4, 0.7, 1.6, 1.9])
    columns = np.stack([np.sin(np.outer(times, [1.0, 2.3])), np.cos(np.outer(times, [0.7, 1.9]))])
    values = np.array([1.1, 0.3, 2.2, 1.7, 0.4])
    gram, cross, square, logdet = _whitened(columns, values, np.diff(times), np.array([0.0, 0.55]))
    for place, matrix in enumerate([np.eye(5), np.exp(-np.abs(times[:, None] - times) / 0.55)]):
        inverse = np.linalg.inv(matrix)
        assert gram[1, place] == approx(columns[1].T @ inverse @ columns[1])
        assert cross[0, place] == approx(columns[0].T @ inverse @ values)
        assert (square[place], logdet[place]) == approx((values @ inverse @ values, np.linalg.slogdet(matrix)[1]), abs=1e-12)


def test_a_mixture_of_two_readings_is_as_wide_as_both_and_what_lies_between() -> None:
    # On paper: two normal posteriors of log kLa, sd 0.1 and 0.2, a third apart.
    def normal(centre: float, sd: float) -> GridPosterior:
        at = np.linspace(centre - 8.0 * sd, centre + 8.0 * sd, 4001)
        density = np.exp(-0.5 * ((at - centre) / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))
        return GridPosterior(log_kla=at, density=density, mean=np.zeros(1), sd=np.ones(1), noise=0.1)

    mixed = Mixed(names=("a", "b"), posteriors=(normal(2.0, 0.1), normal(2.0 + 1.0 / 3.0, 0.2)))
    assert mixed.log_sd == approx(math.sqrt((0.01 + 0.04) / 2.0 + 1.0 / 36.0), rel=1e-4)
    assert [math.log(one.kla_per_h) for one in mixed.each] == approx([2.0, 2.0 + 1.0 / 3.0], abs=1e-6)
    for share in (0.05, 0.6):
        at = math.log(mixed.quantile(share))
        assert norm.cdf([(at - 2.0) / 0.1, (at - 2.0 - 1.0 / 3.0) / 0.2]).mean() == approx(share, abs=1e-5)
    assert replace(mixed, names=("b", "a")).quantile(0.5) == mixed.quantile(0.5)


def test_a_log_is_put_in_order_and_thinned_by_means() -> None:
    times, values = one_value_a_moment(np.array([3.0, 1.0, 2.0, 1.0]), np.array([9.0, 4.0, 7.0, 5.0]))
    assert times.tolist() == [1.0, 2.0, 3.0] and values.tolist() == [4.5, 7.0, 9.0]
    few = thin_log(np.array([1.0, 2.0, 4.0, 8.0, 16.0]), np.array([3.0, 5.0, 7.0, 11.0, 13.0]), 2)
    assert few[0] == approx([1.5, 28.0 / 3.0]) and few[1] == approx([4.0, 31.0 / 3.0])


def test_a_probe_that_does_not_rise_is_not_said_to_rise_unevenly() -> None:
    # A median rate of next to nothing would make any wobble a huge share of it.
    hours = np.linspace(0.0, 0.5, 48)
    wobble = 1e-4 * np.sin(40.0 * hours)
    assert list(_unsteady(hours, 3.0 + wobble + 1e-9 * hours, 9.2)) == []
    surging = 9.2 - 6.0 * np.exp(-(4.0 * hours + 0.5 * np.sin(12.0 * hours)))
    assert [fault.name for fault in _unsteady(hours, surging, 9.2)] == ["unsteady rise"]
