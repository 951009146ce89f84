"""The room's cases of runs, logs and live probes: what each reading says on both sides of its thresholds."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from aerobe import oxygen as o
from aerobe.oxygen import _classic as classic
from aerobe.oxygen import _faults as faults
from aerobe.oxygen import _grid_fit as grid
from aerobe.oxygen import _live_probe as live
from aerobe.oxygen import _reaeration as runs
from aerobe.oxygen import _steps as steps
from aerobe.oxygen import _uptake as uptake
from aerobe.oxygen._models import Mixed
from tests.kept_answers import numbers_in, refused

HOURS = np.linspace(0.0, 0.31, 94)
WOBBLE = np.sin(1.7 * np.arange(400)) + 0.6 * np.cos(0.9 * np.arange(400) ** 1.1)


def rise(kla: float = 13.0, end: float = 9.4, start: float = 0.3, noise: float = 0.03, times: np.ndarray = HOURS) -> np.ndarray:
    """A run of re-aeration with noise that is no draw."""
    return end - (end - start) * np.exp(-kla * times) + noise * WOBBLE[: len(times)]


def told(found: object) -> list[object]:
    """Faults by name, whether they forbid, and their figures."""
    return [[item.name, item.forbids, numbers_in(item.problem)] for item in found]  # type: ignore[attr-defined]


def run_of(times: np.ndarray, values: np.ndarray, **given: object) -> list[object]:
    """All figures of a run that is read."""
    found = o.kla_from_reaeration(times, values, **({"temperature_degc": 16.4} | given))  # type: ignore[arg-type]
    return [replace(found, faults=()), told(found.faults), found.usable]


def steps_of(times: np.ndarray, values: np.ndarray, switches: tuple[tuple[float, bool], ...], **given: object) -> list[object]:
    """All figures of a test by steps."""
    found = o.transfer_from_steps(times, values, switches, **({"temperature_degc": 23.1} | given))  # type: ignore[arg-type]
    return [replace(found, faults=()), told(found.faults)]


def off_and_on(kla: float = 21.0, used: float = 17.0, noise: float = 0.02, lowest: float = 4.1) -> np.ndarray:
    """Oxygen of a brew whose air goes off at 0.05 h and on again at 0.17 h; read 60 times in half an hour."""
    times = np.linspace(0.0, 0.5, 60)
    start = lowest + used * 0.12
    top = 8.7 - used / kla
    back = top - (top - lowest) * np.exp(-kla * (times - 0.17))
    line = np.where(times < 0.05, start, np.where(times < 0.17, start - used * (times - 0.05), back))
    return line + noise * WOBBLE[:60]


def series() -> list[object]:
    flows = [4.0, 4.2, 4.4, 4.1, 4.3, 9.0, 17.0, 4.15, 0.0, 21.0]
    klas = [5.0, 5.3, 5.2, 5.15, 3.4, 9.1, 14.2, 8.8, 0.0, -1.0]
    judged = o.judge_series(flows, klas)
    return [
        [[one.expected_per_h, one.log_distance, one.outlying, one.reason != ""] for one in judged],
        [one.outlying for one in o.judge_series(flows, klas, tolerance=5.9)],
        [one.expected_per_h for one in o.judge_series(0.07 * np.array(flows), 0.05 * np.array(klas))],
        o.flow_exponent(0.07 * np.array(flows), 0.05 * np.array(klas)),
        [o.flow_exponent(flows, klas), refused(lambda: o.flow_exponent([3.0, 3.0], [4.0, 5.0]))],
        [refused(lambda: o.judge_series(flows[:4], klas[:4])), len(o.judge_series(flows[:5], klas[:5]))],
        classic._median_slope(np.array([0.1, 0.5, 0.5, 1.7]), np.array([1.0, 1.2, 1.7, 2.2])),
        o.linear_window_kla(HOURS, rise(), saturation_mg_per_l=9.2),
        o.linear_window_kla(HOURS, rise(), saturation_mg_per_l=9.2, low_mg_per_l=1.1, high_mg_per_l=7.9),
        refused(lambda: o.linear_window_kla(HOURS, rise(), saturation_mg_per_l=6.0)),
        refused(lambda: o.linear_window_kla(HOURS[[0, 8, 20, 90]], rise()[[0, 8, 20, 90]], saturation_mg_per_l=9.2)),
        o.linear_window_kla(HOURS[[0, 6, 12, 20, 90]], rise()[[0, 6, 12, 20, 90]], saturation_mg_per_l=9.2),
    ]


def slow_below(share: float) -> np.ndarray:
    """A run whose rate up to 40 % of saturation is a share of what it is above."""
    turn = 0.034 / share
    spent = np.where(turn > HOURS, share * HOURS, share * turn + HOURS - turn)
    return 9.2 - 8.4 * np.exp(-13.0 * spent)


def seen_in_logs() -> list[object]:
    fall = np.concatenate([np.linspace(8.8, 0.6, 30), rise()[:30]])
    ends = [np.linspace(2.0, 4.0, 40), np.linspace(2.0, 4.0, 40)]
    ends[0][-5], ends[1][-6] = 6.0, 6.0
    part = np.concatenate([np.linspace(3.1, 0.6, 20), rise()[: 94 - 20]])
    bent = rise() - 2.2 * np.exp(-(((HOURS - 0.05) / 0.03) ** 2))
    surge = 9.1 - 8.8 * np.exp(-13.0 * (HOURS + 0.012 * np.sin(60.0 * HOURS)))
    logs = [
        rise(),
        fall,
        part,
        bent,
        surge,
        rise() * 0.09,
        rise() * 0.13,
        rise() - 0.7,
        rise() - 0.5,
        rise(end=10.3),
        rise(end=9.9),
        rise()[:8],
        rise(kla=90.0)[:9],
        np.full(94, 3.0),
        np.linspace(3.5, 3.0, 94),
        np.linspace(4.5, 3.0, 94),
    ]
    nominal = [HOURS[1] * factor for factor in (0.97, 0.985, 1.015, 1.03)]
    holes = [np.delete(HOURS, slice(30, 30 + many)) for many in (4, 8, 9, 14, 16)]
    long_hole = np.concatenate([HOURS[:5], HOURS[:7] + 0.2])
    fits = ((70.0, 0.01, 0.2, 9.3), (55.0, 0.01, 0.36, 9.95), (100.0, 0.016, 0.6, 8.4), (100.0, 0.0145, 0.34, 8.5))
    return [
        [told(faults.faults_before_fit(HOURS[: len(values)], values, 9.1, None)) for values in logs],
        told(faults.faults_before_fit(HOURS[:2], rise()[:2], 9.1, None)),
        [told(faults._clock(HOURS, step)) for step in nominal],
        [told(faults._clock(times, None)) for times in (*holes, long_hole, HOURS[:1], np.array([0.0, 1.0, 1.0]))],
        [
            told(faults.faults_of_fit(times=HOURS, values=rise(), table=9.1, kla=k, lag_h=h, log_sd=s, fitted_saturation=f))
            for k, h, s, f in fits
        ],
        [
            told(
                faults.faults_of_fit(
                    times=HOURS, values=rise(kla=k), table=9.1, kla=k, lag_h=0.0, log_sd=0.1, fitted_saturation=9.4
                )
            )
            for k in (2.6, 3.4, 6.0)
        ],
        [
            told(faults._unsteady(HOURS, values, 9.2))
            for values in (surge, bent, rise(kla=-0.4), rise(noise=0.4), rise(noise=0.2))
        ],
        [told(faults._unsteady(HOURS[:many], surge[:many], 9.2)) for many in (11, 12, 13, 23)],
        [faults._slope(HOURS, rise(), 9.2, low, high) for low, high in ((0.2, 0.4), (0.31, 0.83), (0.2, 0.25), (0.9, 0.91))],
        [
            told(
                faults.faults_of_fit(times=HOURS[:40], values=v, table=9.1, kla=9.0, lag_h=0.0, log_sd=0.1, fitted_saturation=9.2)
            )
            for v in ends
        ],
        [told(faults._sulphite(HOURS, slow_below(share), 9.1)) for share in (0.45, 0.7, 0.77, 0.83)],
        [told(faults.faults_before_fit(HOURS[:many], rise(kla=90.0)[:many], 9.1, None)) for many in (3, 6, 7, 8)],
        [
            str(faults.rising_window(np.arange(float(len(one))), np.array(one), 9.1))
            for one in ([2.0, 3.0, 5.0], [0.0, 1.0, 5.0], [0.0, 1.0, 3.0, 5.0], [0.0, 1.0, 1.1, 1.2, 1.3])
        ],
        [str(faults.rising_window(HOURS[: len(values)], values, 9.1)) for values in (*logs, rise()[:2], rise()[:3])],
        [faults._median_of_three(np.array(one)) for one in ([3.0, 1.0, 7.0, 2.0, 9.0], [3.0, 1.0, 2.0], [4.0, 1.0])],
    ]


def fitted() -> list[object]:
    twice = np.sort(np.concatenate([HOURS, HOURS[10:20]]))
    long = np.linspace(0.0, 0.4, 230)
    made = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 17.0, 20.0])
    mixed = Mixed(
        names=("a", "b"),
        posteriors=tuple(
            grid.GridPosterior(
                log_kla=np.linspace(1.0, 3.0, 9) + shift,
                density=np.array([0.0, 1.0, 3.0, 7.0, 6.0, 2.0, 1.5, 0.5, 0.1]),
                mean=np.zeros(1),
                sd=np.ones(1),
                noise=0.1,
            )
            for shift in (0.0, 0.37)
        ),
    )
    return [
        run_of(HOURS, rise(), altitude_m=390.0),
        run_of(HOURS[::2], rise(kla=8.0)[::2], probe_lag_h=0.006, saturation_log_sd=None),
        run_of(long, rise(times=long, noise=0.08), nominal_step_h=float(long[1])),
        run_of(HOURS[::3], rise(noise=0.08)[::3], probe_lag_h=0.009, probe_lag_log_sd=0.17),
        run_of(HOURS[:40], rise(kla=6.0)[:40], saturation_log_sd=0.011),
        run_of(HOURS[:7], rise(kla=90.0)[:7]),
        [runs.one_value_a_moment(twice[5:24], np.sqrt(twice[5:24] + 0.01 * np.arange(19))), runs.one_value_a_moment(made, made)],
        [runs.thin_log(made, made**2, most) for most in (3, 6, 7)],
        runs.clean_log([0.1, np.nan, 0.4, 0.5], [1.0, 2.0, np.inf, 3.0]),
        refused(lambda: runs.clean_log([0.1, 0.2], [1.0])),
        refused(lambda: o.kla_from_reaeration(HOURS[:7], rise()[:7], temperature_degc=16.4)),
        refused(lambda: o.kla_from_reaeration(HOURS, np.full(94, 1.0), temperature_degc=16.4)),
        [mixed.quantile(0.05), mixed.quantile(0.5), mixed.log_sd, mixed.each],
        [mixed.posteriors[0].quantile(0.3), mixed.posteriors[0].below(1.77), mixed.posteriors[0].log_sd],
    ]


def stepped() -> list[object]:
    times, switches = np.linspace(0.0, 0.5, 60), ((0.05, False), (0.17, True), (-0.1, True))
    few = np.linspace(0.0, 0.5, 12)
    inner = partial(steps._faults, times, switches=tuple(sorted(switches)))
    return [
        steps_of(times, off_and_on(), switches, altitude_m=510.0, surface_per_h=0.7),
        steps_of(times, off_and_on(used=9.0), switches, probe_lag_h=0.011, probe_lag_log_sd=0.2),
        steps_of(times, off_and_on(), switches, probe_lag_h=0.009)[0],
        told(inner(values=off_and_on(), uptake=17.0, spread=9.0, lag_ratio=0.7)),
        told(inner(values=off_and_on(), uptake=17.0, spread=11.0, lag_ratio=0.5)),
        told(inner(values=off_and_on(lowest=1.2, used=1.4), uptake=17.0, spread=1.0, lag_ratio=1.6)),
        told(inner(values=off_and_on(lowest=0.9, used=3.4), uptake=17.0, spread=1.0, lag_ratio=1.1)),
        refused(lambda: steps._check(times[:9], ((0.0, True), (0.01, False), (0.04, True)))),
        refused(lambda: steps._check(times[::-1], switches)),
        [refused(partial(steps._check, few, bad)) for bad in ((), ((0.0, True), (0.1, False), (0.2, True)), ((0.0, True),))],
        refused(lambda: steps._check(few, ((0.0, True), (0.1, False), (0.37, True)))),
        steps._check(few[:10], ((0.0, True), (0.03, False), (0.2, True))),
    ]


def taken_up() -> list[object]:
    hours = np.linspace(0.0, 11.0, 71)
    log = 6.1 - 2.3 * np.sin(0.4 * hours) + 0.04 * WOBBLE[:71]
    warmth = 19.0 + 3.0 * np.cos(0.5 * hours)
    track = o.uptake_from_log(
        hours, log, kla20_per_h=9.0, kla_log_sd=0.14, temperature_degc=warmth, altitude_m=300.0, salinity=2.0
    )
    dense = np.linspace(0.0, 9.0, 301)
    early = np.where(hours < 2.1, 5.0 + 0.4 * hours, 5.84 - 0.1 * (hours - 2.1)) + 0.02 * WOBBLE[:71]
    warm = np.where(hours < 3.3, 15.0 + hours, 18.3)
    return [
        [track.median[::9], track.low[::9], track.high[::9], track.noise_mg_per_l, track.peak_at_h],
        len(o.uptake_from_log(dense, 6.0 + 0.1 * WOBBLE[:301], kla20_per_h=9.0, kla_log_sd=0.1).elapsed_h),
        [len(o.uptake_from_log(hours[:10], log[:10], kla20_per_h=9.0, kla_log_sd=0.1).median)],
        refused(lambda: o.uptake_from_log(hours[:9], log[:9], kla20_per_h=9.0, kla_log_sd=0.1)),
        refused(lambda: o.uptake_from_log(hours[::-1], log, kla20_per_h=9.0, kla_log_sd=0.1)),
        o.hours_to_floor([7.0, 1.0, 5.0, 3.0], [3.0, 2.0, 0.0, 7.0], 1.7),
        [refused(lambda: o.hours_to_floor(-0.1, 3.0)), refused(lambda: o.holding_time(3.0, -0.1))],
        [
            o.holding_time(7.1, 13.0, uptake_log_sd=0.23, floor_mg_per_l=1.9, surface_per_h=surface, saturation_mg_per_l=8.4)
            for surface in (0.0, 0.6, 2.1)
        ],
        [o.holding_time(7.1, used, floor_mg_per_l=7.2, surface_per_h=0.4) for used in (13.0, 0.0)],
        o.holding_time(7.1, 0.0, surface_per_h=0.4),
        uptake._minutes_under_air(7.1, 13.0, 0.0, 0.4, 9.09),
        [
            o.warming_until_h(hours, early),
            o.warming_until_h(hours, early, hours, warm),
            o.warming_until_h(hours, 6.0 - 0.1 * hours),
        ],
        [o.warming_until_h(hours, early, hours[:many], warm[:many]) for many in (2, 3, 20, 39)],
        [o.warming_until_h(hours[:many], early[:many]) for many in (2, 3, 4, 9)],
        [
            o.warming_until_h(hours, 6.0 + np.where(hours < 1.0, up * hours, up) - 0.001 * hours)
            for up in (0.015, 0.03, 0.05, 0.3)
        ],
        [
            o.warming_until_h(hours, 6.0 + 0.05 * (-1.0) ** np.arange(71) + up * np.minimum(hours, 1.0))
            for up in np.linspace(0.2, 0.4, 41)
        ],
        o.warming_until_h(hours + 2.5, early, hours + 2.5, warm),
    ]


def live_probes() -> list[object]:
    hours = np.arange(0.0, 4.0, 0.05)
    calm = 6.0 + 0.3 * WOBBLE[:80]
    jumps = calm.copy()
    jumps[[70, 74]] += 2.4
    still = calm.copy()
    found: list[object] = []
    for channel, scale in (("oxygen", 1.0), ("temperature", 1.4), ("pH", 0.35), ("conductivity", 200.0)):
        found += [[item.kind for item in o.probe_troubles(channel, hours, jumps * scale, now_h=now)] for now in (4.0, 4.19, 4.3)]
    for points in (11, 12, 20, 21, 22, 23, 30):
        still[-points:] = 5.5
        found.append([item.kind for item in o.probe_troubles("oxygen", hours, still, now_h=4.0)])
    for last in (-0.4, -0.2, 24.0, 26.0, 61.0):
        ended = np.append(calm[:-1], last)
        found.append([item.kind for item in o.probe_troubles("oxygen", hours, ended, now_h=4.0)])
        found.append([item.kind for item in o.probe_troubles("temperature", hours, ended, now_h=4.0)])
    ends = {"temperature": (-3.0, -1.0), "pH": (-0.5, 0.5, 13.0, 15.0), "conductivity": (-0.5, 0.5, 9e4, 1.2e5)}
    for channel, lasts in ends.items():
        for last in lasts:
            found.append([item.kind for item in o.probe_troubles(channel, hours, np.append(calm[:-1], last), now_h=4.0)])
    for places in ((50, 55), (60, 70), (70,), (62, 66, 70)):
        spiky = calm.copy()
        spiky[list(places)] += 2.4
        found.append([numbers_in(item.problem) for item in o.probe_troubles("oxygen", hours, spiky, now_h=4.0)])
    for points in (11, 12, 23, 24):
        rests = np.concatenate([np.repeat(calm[:8], 8)[: 80 - points], np.full(points, 5.1)])[-80:]
        quick = np.append(calm[: 80 - points], np.full(points, 5.1))
        found.append([item.kind for item in o.probe_troubles("oxygen", hours[-len(rests) :] * 3.0, rests, now_h=11.9)])
        found.append([item.kind for item in o.probe_troubles("oxygen", hours * 2.0, quick, now_h=7.9)])
    slowing = np.concatenate([np.arange(0.0, 20.0, 0.5), 20.0 + hours])
    walk = np.append(calm[:40], calm)
    return [
        found,
        [len(o.probe_troubles("oxygen", hours[:many], calm[:many] * 9.0, now_h=4.0)) for many in (2, 3)],
        [[item.kind for item in o.probe_troubles("oxygen", hours * 3.0, calm, now_h=11.85 + late)] for late in (0.7, 0.8)],
        [len(o.probe_troubles("oxygen", slowing, walk, now_h=23.95 + late)) for late in (0.24, 0.27)],
        [len(o.probe_troubles("oxygen", slowing[:60], walk[:60], now_h=20.95 + late)) for late in (0.4, 2.6)],
        live.spike_heights([1.0, 4.0, 2.0, 9.0, 3.5]),
        [live._spoken(hours) for hours in (0.33, 1.98, 2.01)],
        [numbers_in(item.problem) for item in o.probe_troubles("oxygen", hours, still, now_h=6.7)],
    ]
