"""Air off and on in a live brew, uptake from a log, and how long a tea holds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_ivp

from aerobe.errors import NotEnoughData, OutsideValidity, UnusableReading
from aerobe.oxygen import holding_time, hours_to_floor, responses, saturation_mg_per_l, transfer_from_steps, uptake_from_log
from tests.oxygen._runs import LAG_H, noise_with_memory


def stepped_brew(rng: np.random.Generator):
    """A brew whose air goes off and on, read by a lagging probe: times, readings, switches, kLa and uptake."""
    kla = float(np.exp(rng.uniform(np.log(8.0), np.log(50.0))))
    saturation = saturation_mg_per_l(20.0) * np.exp(0.03 * rng.standard_normal())
    uptake = min(rng.uniform(0.15, 0.6) * kla * saturation, 80.0)
    start = saturation - uptake / kla
    off = min(2.0 / uptake, 0.25)
    switches = ((0.0, True), (0.05, False), (0.05 + off, True))
    times = np.arange(0.0, 0.05 + off + 3.0 / kla, 5.0 / 3600.0)
    lag = np.array([LAG_H * np.exp(0.3 * rng.standard_normal())])
    shown = responses(times, switches, np.array([kla]), lag, 0.0)[0] @ np.array([start, start, saturation, uptake])
    return times, shown + noise_with_memory(rng, times, 0.05, 15.0 / 3600.0), switches, kla, uptake


def test_steps_give_transfer_and_uptake_back() -> None:
    times, values, switches, kla, uptake = stepped_brew(np.random.default_rng(8))
    result = transfer_from_steps(times, values, switches, temperature_degc=20.0, probe_lag_h=LAG_H)
    assert result.kla_per_h == approx(kla, rel=0.15)
    assert result.uptake_mg_per_l_h == approx(uptake, rel=0.1)


def test_intervals_from_steps_hold_the_truth_about_nine_times_in_ten() -> None:
    rng = np.random.default_rng(3)
    hits = np.zeros(2)
    for _ in range(80):
        times, values, switches, kla, uptake = stepped_brew(rng)
        result = transfer_from_steps(times, values, switches, temperature_degc=20.0, probe_lag_h=LAG_H)
        hits += [
            result.kla_low_per_h <= kla <= result.kla_high_per_h,
            result.uptake_low_mg_per_l_h <= uptake <= result.uptake_high_mg_per_l_h,
        ]
    # 80 brews leave 3.4 percentage points; more than two of those either way. The full count stands in benchmarks/.
    assert np.all(hits / 80 > 0.82) and np.all(hits / 80 < 0.98)


def test_a_log_without_air_off_is_refused() -> None:
    times = np.linspace(0.0, 0.2, 50)
    with pytest.raises(NotEnoughData, match="no stretch without air"):
        transfer_from_steps(times, np.full(50, 6.0), ((0.0, True),), temperature_degc=20.0)
    with pytest.raises(UnusableReading):
        transfer_from_steps(times[::-1], np.full(50, 6.0), ((0.0, True), (0.05, False), (0.1, True)), temperature_degc=20.0)


def test_a_fall_that_is_hardly_there_is_named() -> None:
    times = np.linspace(0.0, 0.2, 100)
    values = 8.9 + 0.01 * np.random.default_rng(1).standard_normal(100)
    result = transfer_from_steps(times, values, ((0.0, True), (0.05, False), (0.1, True)), temperature_degc=20.0)
    assert {"hardly any fall", "uptake not seen"} <= {fault.name for fault in result.faults}


def brew_log(kla: float = 20.0, sd: float = 0.05, seed: int = 2):
    times = np.arange(0.0, 24.0, 0.1)
    uptake = 4.0 + 40.0 * np.exp(-0.5 * ((times - 12.0) / 3.0) ** 2)
    saturation = saturation_mg_per_l(20.0)
    path = solve_ivp(
        lambda time, oxygen: [kla * (saturation - oxygen[0]) - np.interp(time, times, uptake)],
        (0.0, 24.0),
        [saturation - uptake[0] / kla],
        t_eval=times,
        rtol=1e-8,
    ).y[0]
    return times, path + sd * np.random.default_rng(seed).standard_normal(len(times)), uptake


def test_uptake_follows_the_brew() -> None:
    times, values, uptake = brew_log()
    track = uptake_from_log(times, values, kla20_per_h=20.0, kla_log_sd=0.02)
    assert np.sqrt(np.mean((track.median - uptake) ** 2)) < 1.0
    assert track.peak_at_h == approx(12.0, abs=1.0)
    assert track.noise_mg_per_l == approx(0.05, rel=0.3)


def test_uptake_bands_hold_the_truth_and_grow_with_the_doubt_in_kla() -> None:
    rng = np.random.default_rng(6)
    inside = []
    for seed in range(12):
        times, values, uptake = brew_log(kla=20.0 * math.exp(0.15 * rng.standard_normal()), seed=seed)
        track = uptake_from_log(times, values, kla20_per_h=20.0, kla_log_sd=0.15)
        inside.append(np.mean((track.low <= uptake) & (uptake <= track.high)))
    # Twelve brews, each wholly in or out with its kLa: wide limits.
    assert 0.75 < np.mean(inside) <= 1.0
    times, values, _ = brew_log()
    sure, doubtful = (uptake_from_log(times, values, kla20_per_h=20.0, kla_log_sd=sd) for sd in (0.02, 0.4))
    assert np.mean(doubtful.high - doubtful.low) > 3.0 * np.mean(sure.high - sure.low)


def test_steady_log_gives_the_balance_of_the_worked_example() -> None:
    # kLa 20/h, 9.09 mg/L, steady 6.0: 61.8 mg/L/h.
    times = np.linspace(0.0, 5.0, 60)
    track = uptake_from_log(times, np.full(60, 6.0) + 0.001 * np.sin(50.0 * times), kla20_per_h=20.0, kla_log_sd=0.01)
    assert track.median[30] == approx(61.8, abs=0.3)


@pytest.mark.parametrize(("oxygen", "uptake", "minutes"), [(7.0, 10.0, 42.0), (7.0, 50.0, 8.4), (7.0, 2.0, 210.0)])
def test_holding_time_of_the_worked_examples(oxygen: float, uptake: float, minutes: float) -> None:
    # 60 DO / OUR: 42 min, 8 min and 3.5 h.
    assert holding_time(oxygen, uptake).median_min == approx(minutes)


def test_holding_time_with_a_surface_agrees_with_a_reference_solver() -> None:
    uptake, surface, saturation = 12.0, 0.5, 9.0
    path = solve_ivp(
        lambda _, oxygen: [surface * (saturation - oxygen[0]) - uptake],
        (0.0, 3.0),
        [7.0],
        rtol=1e-10,
        events=lambda _, oxygen: oxygen[0] - 2.0,
    )
    result = holding_time(7.0, uptake, floor_mg_per_l=2.0, surface_per_h=surface, saturation_mg_per_l=saturation)
    assert result.median_min == approx(60.0 * path.t_events[0][0], rel=1e-6)


def test_a_calm_tea_may_hold_for_ever_and_a_late_one_not_at_all() -> None:
    assert holding_time(7.0, 1.0, floor_mg_per_l=2.0, surface_per_h=1.0).median_min == math.inf
    assert holding_time(1.5, 10.0, floor_mg_per_l=2.0).median_min == 0.0
    doubtful = holding_time(7.0, 10.0, uptake_log_sd=0.3)
    assert doubtful.low_min < doubtful.median_min < doubtful.high_min


@pytest.mark.parametrize(("oxygen", "uptake", "minutes"), [(7.0, 10.0, 42.0), (7.0, 50.0, 8.4), (7.0, 2.0, 210.0)])
def test_holding_time_is_oxygen_over_uptake(oxygen: float, uptake: float, minutes: float) -> None:
    # Arithmetic of the balance without air: 60 x DO / OUR.
    assert hours_to_floor(oxygen, uptake) * 60.0 == approx(minutes)
    assert hours_to_floor(1.0, uptake, floor_mg_per_l=2.0) == 0.0
    assert hours_to_floor(oxygen, 0.0) == math.inf
    with pytest.raises(OutsideValidity):
        hours_to_floor(oxygen, -1.0)


def test_many_brews_are_asked_at_once_and_surface_air_only_lengthens() -> None:
    # On paper: 4 mg/L over 8 mg/L/h is half an hour; at the floor nothing is left; without uptake there is no end.
    found = hours_to_floor(np.array([6.0, 2.0, 6.0]), np.array([8.0, 8.0, 0.0]), 2.0)
    assert found.tolist() == [0.5, 0.0, math.inf]
    shut, still = (holding_time(6.0, 8.0, floor_mg_per_l=2.0, surface_per_h=k).median_min for k in (0.0, 0.5))
    assert shut == approx(30.0) and still > 30.0
