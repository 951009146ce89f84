"""Transfer from re-aeration runs: printed values, real runs, known faults, and intervals that keep their promise."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_ivp

from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.oxygen import (
    judge_series,
    kla_at_20,
    kla_from_reaeration,
    linear_window_kla,
    responses,
    standard_transfer,
)
from tests.conftest import truth
from tests.oxygen._runs import COURSE_SATURATION_AT_22, LAG_H, least_squares_kla, runs_of_2019, simulated_run

RUNS = runs_of_2019()
PRINTED = truth("reaeration_2019.csv")


def clean_run(kla: float, *, start: float = 1.0, saturation: float = 9.0, minutes: float = 15.0, step_s: float = 5.0):
    times = np.arange(0.0, minutes / 60.0 + 1e-9, step_s / 3600.0)
    return times, saturation - (saturation - start) * np.exp(-kla * times)


@pytest.mark.parametrize(("minutes", "oxygen"), [(5.0, 6.057), (10.0, 7.917), (15.0, 8.602)])
def test_the_textbook_example_of_twelve_an_hour(minutes: float, oxygen: float) -> None:
    # C0 1, C* 9, kLa 12/h: values of the exponential itself.
    shown = responses(np.array([0.0, minutes / 60.0]), ((0.0, True),), np.array([12.0]), np.array([0.0]), 0.0)
    assert (shown[0] @ np.array([1.0, 1.0, 9.0, 0.0]))[1] == approx(oxygen, abs=0.0006)


def test_a_still_basin_takes_ten_and_a_half_days_to_recover() -> None:
    # A textbook exercise (read on a public page; its answer worked by hand): 3 m deep, K_L 0.03 m/h at the surface, 1.5 to
    # 8.5 mg/L at 20 degC, saturation 9.09: ln((9.09 - 1.5) / (9.09 - 8.5)) x 3 / 0.03 h = 255 h = 10.6 d.
    times = np.linspace(0.0, 400.0, 4001)
    shown = responses(times, ((0.0, False),), np.array([10.0]), np.array([0.0]), 0.03 / 3.0)[0] @ np.array([1.5, 1.5, 9.09, 0.0])
    assert np.interp(8.5, shown, times) / 24.0 == approx(10.6, abs=0.05)


def test_theta_brings_ten_at_12_degc_to_12_09_at_20() -> None:
    assert kla_at_20(10.0, 12.0) == approx(12.09, abs=0.005)


def test_standard_transfer_of_a_fine_pore_tank_is_in_the_handbook_range() -> None:
    # EPA fine pore manual (from memory): 5 to 7 % a metre. 3 m deep, 1 m3, 6/h with 5 L/min of air.
    result = standard_transfer(3.0, 1000.0, flow_l_per_min=10.0, depth_m=3.0)
    assert result.sotr_g_per_h == approx(27.3, abs=0.05)
    assert result.sote == approx(27.276 / (10.0 * 60.0 * 0.27765), rel=1e-3)
    assert 0.05 < result.sote_per_m < 0.07


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: f"{row.run:.0f}")
def test_runs_of_2019_give_the_published_slopes(row) -> None:
    found = linear_window_kla(*RUNS[int(row.run)], saturation_mg_per_l=COURSE_SATURATION_AT_22)
    assert found == approx(row.kla_per_h, abs=row.half_digit)


def test_the_faulty_runs_of_2019_stand_out_beside_their_neighbours() -> None:
    flows = sorted(RUNS)
    slopes = [linear_window_kla(*RUNS[flow], saturation_mg_per_l=COURSE_SATURATION_AT_22) for flow in flows]
    outlying = {int(run.flow) for run in judge_series(flows, slopes) if run.outlying}
    # 800 reads like 825 beside it (25.8 where its neighbours give 33 to 41); the published list leaves it out, we do not.
    assert outlying == {200, 550, 800, 825, 925}


def test_the_run_without_a_window_is_named() -> None:
    result = kla_from_reaeration(*RUNS[550], temperature_degc=22.0)
    assert not result.usable
    assert "no usable window" in [fault.name for fault in result.faults]


def test_run_200_comes_right_once_its_fall_is_left_out() -> None:
    # The recipe by oxygen alone takes in the sulphite's fall and gives 5.0; neighbours at 175 and 225 give 12.6 and 15.1.
    result = kla_from_reaeration(*RUNS[200], temperature_degc=22.0)
    assert "falls before it rises" in [fault.name for fault in result.faults]
    assert 10.0 < result.kla_per_h < 14.0


@pytest.mark.parametrize("run", [100, 125, 225, 350, 475, 700, 750, 850, 950])
def test_sound_runs_of_2019_agree_with_the_recipe_within_a_fifth(run: int) -> None:
    # The recipe fixes C* at 8.896, we let the run decide; so they differ, but not by more.
    result = kla_from_reaeration(*RUNS[run], temperature_degc=22.0, probe_lag_h=3.0 / 3600.0)
    printed = next(row.kla_per_h for row in PRINTED if row.run == run)
    assert result.usable
    assert result.kla_per_h == approx(printed, rel=0.2)


def names(times, values, **more) -> list[str]:
    return [fault.name for fault in kla_from_reaeration(times, values, temperature_degc=20.0, **more).faults]


def test_a_sound_run_has_no_fault() -> None:
    times, values = clean_run(15.0, saturation=9.09, start=0.2)
    values = values + 0.02 * np.random.default_rng(1).standard_normal(len(times))
    assert names(times, values, nominal_step_h=5.0 / 3600.0) == []


def test_a_slow_clock_is_named() -> None:
    times, values = clean_run(15.0, saturation=9.09)
    assert "slow clock" in names(0.9 * times, values, nominal_step_h=5.0 / 3600.0)
    assert "fast clock" in names(1.1 * times, values, nominal_step_h=5.0 / 3600.0)


def test_a_clock_that_stands_still_or_runs_back_is_named_and_gives_no_number() -> None:
    times, values = clean_run(15.0, saturation=9.09)
    times[20:40] = times[19]
    result = kla_from_reaeration(times, values, temperature_degc=20.0)
    assert "clock" in [fault.name for fault in result.faults] and not result.usable
    assert np.isfinite(result.kla_per_h)


def test_a_probe_that_never_rises_is_named() -> None:
    times = np.arange(0.0, 0.2, 5.0 / 3600.0)
    with pytest.raises(NotEnoughData, match="probe never rises"):
        kla_from_reaeration(times, 0.2 + 0.02 * np.sin(50.0 * times), temperature_degc=20.0)


def test_residual_sulphite_is_named() -> None:
    def change(_: float, state: np.ndarray) -> list[float]:
        oxygen, sulphite = state
        eaten = 25.0 * max(sulphite, 0.0) * oxygen / (oxygen + 0.2)  # slow oxidation without a catalyst
        return [15.0 * (9.09 - oxygen) - eaten, -eaten]

    times = np.arange(0.0, 0.35, 5.0 / 3600.0)
    path = solve_ivp(change, (0.0, 0.35), [0.1, 9.0], t_eval=times, rtol=1e-8).y[0]
    assert "residual sulphite" in names(times, path)


def test_a_probe_as_slow_as_the_water_is_named() -> None:
    times = np.arange(0.0, 0.2, 2.0 / 3600.0)
    shown = responses(times, ((0.0, True),), np.array([40.0]), np.array([0.05]), 0.0)[0] @ np.array([0.2, 0.2, 9.09, 0.0])
    assert "probe too slow" in names(times, shown, probe_lag_h=0.05)


def test_readings_above_saturation_and_below_zero_are_named() -> None:
    times, values = clean_run(15.0, saturation=11.0, start=-0.6)
    found = names(times, values)
    assert "above saturation" in found and "probe reads below zero" in found


def test_lag_is_allowed_for() -> None:
    # A probe of 20 s on water of 30/h: ignoring it is wrong by more than its interval, allowing for it is not.
    times = np.arange(0.0, 0.12, 2.0 / 3600.0)
    lag = 20.0 / 3600.0
    shown = responses(times, ((0.0, True),), np.array([30.0]), np.array([lag]), 0.0)[0] @ np.array([0.1, 0.1, 9.09, 0.0])
    shown = shown + 0.01 * np.random.default_rng(2).standard_normal(len(times))
    allowed = kla_from_reaeration(times, shown, temperature_degc=20.0, probe_lag_h=lag, probe_lag_log_sd=0.1)
    ignored = kla_from_reaeration(times, shown, temperature_degc=20.0, probe_lag_h=0.0)
    assert allowed.kla_low_per_h < 30.0 < allowed.kla_high_per_h
    assert ignored.kla_high_per_h < 30.0


def test_the_response_agrees_with_a_reference_solver() -> None:
    kla, lag, surface, saturation, uptake = 18.0, 0.004, 0.3, 8.7, 40.0
    switches = ((0.0, True), (0.05, False), (0.09, True))
    times = np.linspace(0.0, 0.25, 60)
    shown = responses(times, switches, np.array([kla]), np.array([lag]), surface)[0] @ np.array([6.0, 5.5, saturation, uptake])

    def change(time: float, state: np.ndarray) -> list[float]:
        air = 0.0 if 0.05 <= time < 0.09 else 1.0
        return [(air * kla + surface) * (saturation - state[0]) - uptake, (state[0] - state[1]) / lag]

    path = solve_ivp(change, (0.0, 0.25), [6.0, 5.5], t_eval=times, rtol=1e-10, atol=1e-12, max_step=5e-4).y[1]
    assert np.max(np.abs(shown - path)) < 2e-3
    # Where probe and water are equally fast the formula is 0/0; the limit must join smoothly.
    even, near = (
        responses(times, ((0.0, True),), np.array([rate]), np.array([0.05]), 0.0) for rate in (20.0, 20.0 * (1.0 + 1e-5))
    )
    assert np.max(np.abs(even - near)) < 1e-4


@functools.cache
def intervals(count: int, seed: int) -> list[tuple[float, float, float]]:
    """Lower edge, truth and upper edge of simulated runs, as logs of the ratio to the estimate."""
    rng, found = np.random.default_rng(seed), []
    for _ in range(count):
        times, values, temperature, kla = simulated_run(rng)
        result = kla_from_reaeration(times, values, temperature_degc=temperature, probe_lag_h=LAG_H)
        found.append(tuple(np.log(np.array([result.kla_low_per_h, kla, result.kla_high_per_h]) / result.kla_per_h)))
    return found


def coverage(count: int, seed: int, shrink: float = 1.0) -> float:
    return float(np.mean([low * shrink <= true <= high * shrink for low, true, high in intervals(count, seed)]))


def test_90_percent_intervals_hold_the_truth_and_intervals_made_too_narrow_are_noticed() -> None:
    # The interval also spans the other reasonable models. These runs obey one of them, so it holds more often than 90 %.
    assert coverage(60, 7) >= 0.85
    assert coverage(60, 7, shrink=0.5) < 0.85


@pytest.mark.night
def test_90_percent_intervals_hold_the_truth_at_least_so_often_and_not_nearly_always() -> None:
    # 300 runs: the count itself is uncertain by 1.5 percentage points. The full study stands in benchmarks/.
    assert 0.88 <= coverage(300, 20) <= 0.985


def test_noise_taken_as_independent_would_give_intervals_far_too_narrow() -> None:
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(80):
        times, values, _, kla = simulated_run(rng)
        found, error = least_squares_kla(times, values)
        hits += abs(found - kla) < 1.645 * error
    assert hits / 80 < 0.75


def test_the_same_log_gives_the_same_interval_in_any_unit_of_length() -> None:
    times, values = clean_run(15.0, saturation=9.09)
    values = values + 0.03 * np.random.default_rng(5).standard_normal(len(times))
    once, twice = (kla_from_reaeration(times, values, temperature_degc=20.0) for _ in range(2))
    shifted = kla_from_reaeration(times + 3.0, values, temperature_degc=20.0)
    assert once == twice
    assert shifted.kla_per_h == approx(once.kla_per_h, rel=1e-6)


def test_logs_that_do_not_match_are_refused() -> None:
    with pytest.raises(UnusableReading, match="unequal"):
        kla_from_reaeration([0.0, 0.1], [1.0], temperature_degc=20.0)
    with pytest.raises(NotEnoughData):
        kla_from_reaeration([0.0, 0.1], [1.0, 2.0], temperature_degc=20.0)
    with pytest.raises(NotEnoughData):
        linear_window_kla([0.0, 0.1, 0.2], [0.0, 0.1, 0.2], saturation_mg_per_l=9.0)
