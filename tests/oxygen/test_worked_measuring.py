"""Worked numbers of water, probes, chemicals, runs and uptake, from a printed source or computed here on paper, named as such."""

from __future__ import annotations

import inspect
import math

import numpy as np
from pytest import approx
from scipy.stats import multivariate_normal, norm

from aerobe import oxygen
from aerobe.oxygen import (
    check_probe,
    flow_exponent,
    holding_time,
    kla_at_20,
    linear_window_kla,
    oxygen_from_percent,
    pressure_at_altitude_kpa,
    probe_troubles,
    rising_window,
    salinity_from_conductivity,
    saturation_mg_per_l,
    standard_transfer,
    sulphite_dose,
    transfer_factor,
    transfer_from_steps,
    uptake_from_log,
    warming_until_h,
)
from aerobe.oxygen._faults import _clock, _slope
from aerobe.oxygen._grid_fit import _MEMORY_STEPS, Prior, _evidence
from aerobe.oxygen._uptake import _filter, _smooth
from aerobe.records import AirSupply, FoodDose, Recipe, Vessel

BUCKET = Vessel(key="b", name="b", volume_l=20.0, depth_m=0.4, air=AirSupply(flow_l_per_min=10.0, diffuser="coarse bubble"))


def of(**grams: float) -> Recipe:
    doses = tuple(FoodDose(food=name.replace("_", " "), g_per_l=amount) for name, amount in grams.items())
    return Recipe(key="r", name="r", compost="c", compost_g_per_l=10.0, foods=doses)


# --- water, probes, chemicals ----------------------------------------------------------------------------------------


def test_saturation_pressure_and_salt_have_their_printed_values() -> None:
    # From memory. Standard Methods 4500-O, 23rd edition, Table 4500-O:I: 9.092 mg/L at 20 degC; 7.457 at chlorinity 18.1
    # (about 32.7 g/kg).
    assert saturation_mg_per_l(20.0) == approx(9.092, abs=0.001)
    # Standard atmosphere 1976, 1500 m (from memory): 84.556 kPa.
    assert pressure_at_altitude_kpa(1500.0) == approx(84.556, abs=0.01)
    assert oxygen_from_percent(50.0, 20.0) == approx(4.546, abs=0.001)
    # From memory: practical salinity scale 1978 (UNESCO 1983): 42.914 mS/cm at 15 degC is 35 by definition; check value S = 40
    # at R = 1.888091
    # needs pressure and is left out. Independent: 2 mS/cm at 25 degC is 1.02 (APHA 2520 B, from memory: about 1.0).
    assert salinity_from_conductivity(42914.0, temperature_degc=15.0) == approx(35.0, abs=0.01)
    assert salinity_from_conductivity(2000.0) == approx(1.01, abs=0.02)


def test_transfer_has_its_textbook_temperature() -> None:
    # 1.024 a degree (ASCE/EWRI 2-06): 1.024^10 = 1.2677.
    assert transfer_factor(30.0) == approx(1.2677, abs=1e-4) and kla_at_20(12.677, 30.0) == approx(10.0, abs=1e-3)
    # On paper: 10/h x 9.092 mg/L x 1 m3 = 90.9 g/h; 100 L/min of air carry 100 x 60 x 0.27765 = 1666 g/h: 5.46 %.
    # Oxygen in air at 20 degC: 0.23135 by mass x 1.2041 g/L = 0.2786; the house takes 0.27765 (within half a percent).
    found = standard_transfer(10.0, 1000.0, flow_l_per_min=100.0, depth_m=2.0)
    assert found.sotr_g_per_h == approx(90.92, abs=0.02)
    assert found.sote == approx(0.0546, abs=2e-4) and found.sote_per_m == approx(0.0273, abs=1e-4)
    assert found.sotr_g_per_h / found.sote == approx(100.0 * 60.0 * 0.23135 * 1.2041, rel=0.005)


def test_a_probe_is_put_on_the_line_through_its_two_points() -> None:
    check = check_probe(9.3, 20.0, zero_mg_per_l=0.1)
    assert check.slope == approx(9.092 / 9.2, rel=1e-3) and check.sound and not check.findings
    assert check.correct(4.7) == approx(4.6 * 9.092 / 9.2, rel=1e-3)
    assert [check_probe(9.092 * factor, 20.0).sound for factor in (0.96, 0.98, 1.02, 1.04)] == [False, True, True, False]
    assert [check_probe(9.1, 20.0, zero_mg_per_l=zero).sound for zero in (-0.3, 0.15, 0.25)] == [False, True, False]


def test_sulphite_is_7_88_times_the_oxygen() -> None:
    # 2 Na2SO3 (126.04) an O2 (31.998): 7.878 mg a mg.
    dose = sulphite_dose(20.0, 9.0)
    assert dose.exact_g == approx(20.0 * 9.0 * 2.0 * 126.04 / 31.998 / 1000.0, rel=1e-4) and dose.usual_g == approx(
        1.1 * dose.exact_g
    )


def test_the_window_of_a_run_is_20_to_80_percent_and_its_slope_is_kla() -> None:
    # On paper: C = 9 (1 - exp(-12 t)).
    times = np.linspace(0.0, 0.3, 301)
    values = 9.0 * (1.0 - np.exp(-12.0 * times))
    assert linear_window_kla(times, values, saturation_mg_per_l=9.0) == approx(12.0, rel=1e-6)
    # From a fifth of saturation on: 1 - exp(-12 t) passes 0.2 at t = 0.0186 h, between the 18th and 19th step.
    assert rising_window(times, values, 9.0) == slice(19, 301)
    assert flow_exponent([10.0, 20.0, 40.0], [5.0, 5.0 * 2.0**0.7, 5.0 * 4.0**0.7]) == approx(0.7)


# --- uptake ----------------------------------------------------------------------------------------------------------


def test_holding_time_and_its_careful_end() -> None:
    # On paper: (7 - 2) mg/L at 10 mg/L/h last 30 min; at a log sd of 0.2 the 5 and 95 % ends are exp(-/+ 1.645 x 0.2) of it.
    found = holding_time(7.0, 10.0, uptake_log_sd=0.2, floor_mg_per_l=2.0)
    assert (found.low_min, found.median_min, found.high_min) == approx(
        (30.0 * math.exp(-0.32898), 30.0, 30.0 * math.exp(0.32898))
    )
    # With a surface of 0.5/h towards 9 mg/L the end is 9 - 20 = -11: 120 ln(18 / 13) min.
    surface = holding_time(7.0, 10.0, floor_mg_per_l=2.0, surface_per_h=0.5, saturation_mg_per_l=9.0)
    assert surface.median_min == approx(120.0 * math.log(18.0 / 13.0))


def test_uptake_of_a_steady_log_is_transfer_times_deficit_with_the_doubt_of_transfer() -> None:
    # On paper: 15/h (9.092 - 5) = 61.4 mg/L/h; a log sd of 0.1 in kLa gives a 90 % band of exp(-/+ 0.1645).
    times = np.arange(0.0, 8.0, 0.1)
    noise = 0.01 * np.sin(37.0 * times)
    track = uptake_from_log(times, 5.0 + noise, kla20_per_h=15.0, kla_log_sd=0.1)
    middle = len(times) // 2
    assert track.median[middle] == approx(61.4, rel=0.02)
    assert track.low[middle] / track.median[middle] == approx(math.exp(-0.1645), abs=0.05)
    assert track.high[middle] / track.median[middle] == approx(math.exp(0.1645), abs=0.05)


def test_a_closed_vessel_warms_up_until_its_highest_reading() -> None:
    times = np.arange(0.0, 10.0, 0.25)
    values = np.where(times <= 2.0, 8.0 + 0.5 * times, 9.0 - 0.2 * (times - 2.0))
    assert warming_until_h(times, values) == approx(2.0, abs=0.25)
    assert warming_until_h(times, 8.0 - 0.2 * times) == 0.0
    warm = np.where(times <= 3.0, 15.0 + times, 18.0)
    assert warming_until_h(times, 8.0 - 0.2 * times, times, warm) == approx(2.25)  # the last under 17.5 degC


def test_a_rise_at_once_two_early_temperatures_and_a_late_one() -> None:
    times = np.arange(0.0, 10.0, 0.25)
    early = np.full(len(times), 7.4)
    early[:4] = 8.0, 9.2, 8.4, 7.8
    assert warming_until_h(times, early) == 0.25  # on paper: means of three are 8.40, 8.53, 8.47
    falling = 8.0 - 0.2 * times
    # Two temperatures of the first six hours are too few; three and those after tell where it settles.
    assert warming_until_h(times, falling, [0.0, 5.0, 9.0], [10.0, 17.0, 18.0]) == 0.0
    assert warming_until_h(times, falling, [0.0, 2.0, 5.0, 8.0, 9.0], [10.0, 15.0, 19.0, 20.0, 20.0]) == 5.0
    assert warming_until_h(times, falling, [0.0, 2.0, 4.0], [10.0, 15.0, 20.0]) == 2.0


def test_the_smoother_agrees_with_the_whole_covariance_at_once() -> None:
    # Independent computation: oxygen and uptake at all times and all readings are one normal vector; conditioned by matrices.
    times, seen = np.array([0.0, 0.2, 0.5, 0.9]), np.array([6.0, 5.2, 5.5, 5.1])
    saturation, rate = np.array([9.0, 9.1, 8.9, 9.0]), np.array([[12.0, 13.0, 12.0, 11.0]])
    wander, noise = 6.0, 0.2
    count = len(times)
    start = rate[0, 0] * (saturation[0] - seen[0])
    mean, cover = np.zeros((count, 2)), np.zeros((count, count, 2, 2))
    mean[0], cover[0, 0] = (seen[0], start), np.diag([4.0, max(start**2, 25.0)])
    for i in range(1, count):
        step = times[i] - times[i - 1]
        k = 0.5 * (rate[0, i] + rate[0, i - 1])
        decay, reach = math.exp(-k * step), (1.0 - math.exp(-k * step)) / k
        move = np.array([[decay, -reach], [0.0, 1.0]])
        mean[i] = move @ mean[i - 1] + [k * reach * 0.5 * (saturation[i] + saturation[i - 1]), 0.0]
        for j in range(i):
            cover[i, j] = move @ cover[i - 1, j]
            cover[j, i] = cover[i, j].T
        cover[i, i] = move @ cover[i - 1, i - 1] @ move.T + np.diag([wander**2 * step * reach**2 / 3.0, wander**2 * step])
    oxygen, uptake = cover[:, :, 0, 0] + noise**2 * np.eye(count), cover[:, :, 1, 0]
    gain = uptake @ np.linalg.inv(oxygen)
    means, spreads = _smooth(times, seen, saturation, rate, np.array([wander]), np.array([noise]))
    assert means[0] == approx(mean[:, 1] + gain @ (seen - mean[:, 0]), rel=1e-8)
    assert spreads[0] ** 2 == approx(np.diag(cover[:, :, 1, 1] - gain @ uptake.T), rel=1e-8)
    evidence = _filter(times, seen, saturation, rate, np.array([wander]), np.array([noise]))[0][0]
    exact = multivariate_normal(mean[:, 0], oxygen).logpdf(seen)
    assert evidence == approx(exact + 0.5 * count * math.log(2.0 * math.pi), rel=1e-8)


def test_the_evidence_of_a_run_is_that_of_one_normal_vector() -> None:
    # Independent computation: readings are X b with b normal, and noise with a memory: one normal vector, up to a constant.
    times = np.linspace(0.0, 0.3, 31)
    rng = np.random.default_rng(2)

    def design(kla: np.ndarray, lag: np.ndarray) -> np.ndarray:
        gone = np.exp(-kla[:, None] * times)
        return np.stack([gone, 1.0 - gone], axis=2)

    seen = design(np.array([12.0]), np.zeros(1))[0] @ [1.0, 9.0] + 0.05 * rng.standard_normal(31)
    prior = Prior(mean=np.array([0.5, 9.1]), sd=np.array([1.0, 0.3]))
    klas = np.array([8.0, 12.0, 18.0])
    found, means, variances, noises = _evidence(times, seen, design, prior, klas, np.zeros(1), np.ones(1))
    memories = [part * 0.01 for part in _MEMORY_STEPS if part * 0.01 <= 0.3 / 4.0]
    exact = np.zeros(found.shape)
    for i, kla in enumerate(klas):
        x = design(np.array([kla]), np.zeros(1))[0]
        for m, memory in enumerate(memories):
            keep = np.exp(-np.abs(times[:, None] - times) / memory) if memory else np.eye(31)
            for n, noise in enumerate(noises):
                whole = noise**2 * keep + x @ np.diag(prior.sd**2) @ x.T
                exact[i, 0, m, n] = multivariate_normal(x @ prior.mean, whole).logpdf(seen)
                if (i, n) == (1, 2):
                    after = np.diag(prior.sd**2) - np.diag(prior.sd**2) @ x.T @ np.linalg.solve(whole, x @ np.diag(prior.sd**2))
                    shift = np.diag(prior.sd**2) @ x.T @ np.linalg.solve(whole, seen - x @ prior.mean)
                    assert means[i, 0, m, n] == approx(prior.mean + shift, rel=1e-6)
                    assert variances[i, 0, m, n] == approx(np.diag(after), rel=1e-6)
    assert found - exact == approx(np.full(found.shape, (found - exact).flat[0]), abs=1e-6)


def test_sea_level_and_fresh_water_are_taken_where_nothing_is_said() -> None:
    asked = {"altitude_m": 0.0, "salinity": 0.0, "pressure_kpa": None, "base_uptake_mg_per_l_h": 0.0, "surface_per_h": 0.0}
    for function in (getattr(oxygen, name) for name in oxygen.__all__):
        for name, given in inspect.signature(function).parameters.items() if inspect.isfunction(function) else ():
            if name in asked and given.default is not inspect.Parameter.empty:
                assert given.default == asked[name], f"{function.__name__}: {name}"


def test_a_live_probe_is_judged_by_the_thresholds_that_are_said() -> None:
    # Common practice, no source: a spike is 1.5 mg/L, 2 degC, 0.5 pH or 300 uS/cm off the middle of its
    # neighbours, two in an hour.
    hours = np.arange(0.0, 3.0, 0.05)
    for channel, height in (("oxygen", 1.5), ("temperature", 2.0), ("pH", 0.5), ("conductivity", 300.0)):
        level = 6.0 + 0.01 * np.sin(5.0 * hours)
        for factor, kinds in ((0.93, set()), (1.07, {"jumping"})):
            shown = level.copy()
            shown[[-6, -12]] += factor * height
            assert {item.kind for item in probe_troubles(channel, hours, shown, now_h=3.0)} == kinds
            if kinds:
                old = level.copy()
                old[[10, 20]] += factor * height  # two hours ago is history
                assert probe_troubles(channel, hours, old, now_h=3.0) == ()
    moving = 6.0 + 0.1 * np.sin(5.0 * hours)
    # Silent after a quarter of an hour, and after five of its steps.
    assert [len(probe_troubles("oxygen", hours, moving, now_h=now)) for now in (3.19, 3.21)] == [0, 1]
    assert [len(probe_troubles("oxygen", 4.0 * hours, moving, now_h=now)) for now in (12.79, 12.81)] == [0, 1]
    for last, kind in ((-0.4, "out of range"), (25.1, "out of range"), (-0.2, ""), (7.0, "")):
        found = probe_troubles("oxygen", hours, np.append(moving[:-1], last), now_h=3.0)
        assert [item.kind for item in found] == ([kind] if kind else [])
    # Stuck after an hour of one value where it moved before: 21 points of three minutes.
    for points, kinds in ((20, []), (22, ["stuck"])):
        still = moving.copy()
        still[-points:] = still[-points]
        assert [item.kind for item in probe_troubles("oxygen", hours, still, now_h=3.0)] == kinds


def test_uptake_from_steps_has_the_interval_of_its_error() -> None:
    # On paper: without air oxygen falls by the uptake, 10 mg/L/h; with it, it comes back at 20/h.
    times = np.arange(0.0, 0.8, 0.01)
    steady = 9.092 - 10.0 / 20.0
    fall = steady - 10.0 * (times - 0.1)
    low = steady - 10.0 * 0.3
    back = steady - (steady - low) * np.exp(-20.0 * (times - 0.4))
    values = np.where(times < 0.1, steady, np.where(times < 0.4, fall, back)) + 0.005 * np.sin(900.0 * times)
    found = transfer_from_steps(times, values, [(0.1, False), (0.4, True)], temperature_degc=20.0)
    reach = norm.ppf(0.95) * found.uptake_sd_mg_per_l_h
    assert found.uptake_low_mg_per_l_h == approx(found.uptake_mg_per_l_h - reach, rel=1e-4)
    assert found.uptake_high_mg_per_l_h == approx(found.uptake_mg_per_l_h + reach, rel=1e-4)
    assert found.lowest_mg_per_l == approx(values.min())


def test_a_gap_and_the_rate_between_two_shares_of_saturation() -> None:
    times = np.linspace(0.0, 0.2, 101)
    assert _clock(times, None) == []
    gap = np.delete(times, range(40, 60))
    assert [fault.name for fault in _clock(gap, None)] == ["gap in the log"] and "151 s are missing" in _clock(gap, None)[
        0
    ].problem
    values = 9.0 * (1.0 - np.exp(-12.0 * times))
    bent = np.where(values < 3.6, values, 3.6 + (values - 3.6) * 0.5)
    assert _slope(times, values, 9.0, 0.2, 0.4) == approx(12.0)
    inside = (bent >= 1.8) & (bent <= 3.6)
    assert _slope(times, bent, 9.0, 0.2, 0.4) == approx(-np.polyfit(times[inside], np.log(9.0 - bent[inside]), 1)[0])
    assert _slope(times, values, 9.0, 0.2, 0.21) is None
