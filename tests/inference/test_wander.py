"""What strays from a law: its covariance, its conditional given readings, and the evidence of a course."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from aerobe.inference import Measurement
from aerobe.inference._likelihood import log_t, results_of
from aerobe.inference._regression import evidence_under, regression_of, strays_given
from aerobe.inference._wander import Wander, wander_clock, wander_covariance
from aerobe.records import AssayError

WANDER = Wander(size_per_h=0.05, memory_h=6.0, belief=1.0)
ERROR = AssayError(constant_sd=0.01, proportional_cv=0.2, gain_log_sd=0.3)
GRID = np.arange(0.0, 48.5, 1.0)


def reading(hour, value, **more):
    return Measurement(elapsed_h=hour, value=value, error=ERROR, assay="kit", **more)


def test_without_forgetting_the_variance_is_that_of_an_integrated_ornstein_uhlenbeck_process():
    # Uhlenbeck and Ornstein 1930 (from memory): 2 s^2 tau^2 (t/tau - 1 + exp(-t/tau)).
    t = np.array([0.5, 3.0, 12.0, 40.0])
    found = np.diag(wander_covariance(t, t, WANDER, forgetting_h=1e9))
    textbook = 2.0 * 0.05**2 * 36.0 * (t / 6.0 - 1.0 + np.exp(-t / 6.0))
    assert found == pytest.approx(textbook, rel=1e-5)


@pytest.mark.parametrize(("t", "u", "forgetting"), [(4.0, 4.0, 30.0), (3.0, 11.0, 30.0), (10.0, 2.0, 6.0), (20.0, 21.0, 2.0)])
def test_the_covariance_is_the_double_integral_that_defines_it(t, u, forgetting):
    def inside(y, x):
        return np.exp(-(t - x) / forgetting - (u - y) / forgetting - abs(x - y) / WANDER.memory_h)

    # Split at the kink, so that quadrature is exact.
    whole = dblquad(inside, 0.0, t, 0.0, lambda x: min(x, u))[0] + dblquad(inside, 0.0, t, lambda x: min(x, u), u)[0]
    found = wander_covariance(np.array([t]), np.array([u]), WANDER, forgetting_h=forgetting)[0, 0]
    assert found == pytest.approx(0.05**2 * whole, rel=2e-4)


def test_the_clock_runs_with_the_warmth_and_slows_with_age():
    warm, cold = wander_clock(GRID, np.ones(len(GRID))), wander_clock(GRID, np.full(len(GRID), 0.5))
    assert warm[1] == pytest.approx(1.0, rel=0.05) and cold[1] == pytest.approx(0.5, rel=0.05)
    assert np.diff(warm)[-1] < 0.35 and np.all(np.diff(warm) > 0.0)


def test_the_conditional_of_what_strays_is_that_of_a_dense_normal_computation():
    # Readings right on the course: the t is there as sharp as a normal of half its variance, (nu + 1) / (nu - 2) = 2 for nu = 5.
    hours = (6.0, 14.0, 15.0)
    results = results_of(tuple(reading(h, 100.0) for h in hours))
    n = 20000
    flat, even = np.full((n, len(GRID)), np.log(100.0)), np.full((n, len(GRID)), -1.0)
    strays = strays_given(results, flat, even, GRID, GRID, np.zeros((n, 1)), WANDER, np.random.default_rng(1))
    at = np.array(hours)
    every, across, there = (wander_covariance(a, b, WANDER) for a, b in ((GRID, GRID), (GRID, at), (at, at)))
    # The curvature is in units of the scale; far above the constant error the generalised log is a log.
    noise = results.scale[0] ** 2 / 2.0
    dense = every - across @ np.linalg.solve(there + 0.3**2 + noise * np.eye(3), across.T)
    assert np.cov(strays.log_mass.T) == pytest.approx(dense, abs=0.03 * dense.max())
    assert np.abs(strays.log_mass.mean(axis=0)).max() < 0.02
    gain = 0.3**2 - 0.3**4 * np.linalg.inv(there + 0.3**2 + noise * np.eye(3)).sum()
    assert strays.log_gain.var() == pytest.approx(gain, rel=0.04)


def test_readings_pull_the_course_where_they_are_and_less_where_they_are_not():
    results = replace(results_of((reading(10.0, 200.0), reading(12.0, 210.0))), gain_log_sd=np.array([0.02]))
    n = 4000
    flat, even = np.full((n, len(GRID)), np.log(100.0)), np.full((n, len(GRID)), -1.0)
    moved = strays_given(results, flat, even, GRID, GRID, np.zeros((n, 1)), WANDER, np.random.default_rng(1)).log_mass
    here, far = moved[:, 11], moved[:, -1]
    assert np.exp(here.mean()) == pytest.approx(1.9, abs=0.2)
    assert far.mean() < here.mean() and far.std() > 1.5 * here.std()


@pytest.mark.parametrize("off", [-0.6, -0.2, 0.0, 0.3, 0.8])
def test_the_evidence_of_one_reading_is_the_integral_it_stands_for(off):
    results = results_of((reading(10.0, 100.0),))
    log_mass = np.full((1, len(GRID)), np.log(100.0) + off)
    regression = regression_of(results, log_mass, np.full((1, len(GRID)), -1.0), GRID, GRID, np.zeros((1, 1)), (WANDER,))
    found = evidence_under(regression)[0, 0]
    sd = float(np.sqrt(wander_covariance(np.array([10.0]), np.array([10.0]), WANDER)[0, 0] + 0.3**2))

    def weighed(x):
        seen = np.arcsinh(results.scale[0] * (100.0 / 0.01)) / results.scale[0]
        expected = np.arcsinh(results.scale[0] * np.exp(x) / 0.01) / results.scale[0]
        normal = np.exp(-0.5 * ((x - np.log(100.0) - off) / sd) ** 2) / (sd * np.sqrt(2.0 * np.pi))
        return float(np.exp(log_t(np.array(seen - expected))) * normal)

    whole = quad(weighed, np.log(100.0) - 3.0, np.log(100.0) + 3.0, points=[np.log(100.0), np.log(100.0) + off], limit=200)[0]
    # Laplace's method leaves out what lies in the tails of the t: nearly the same part for every course, so it cancels.
    assert found == pytest.approx(np.log(whole), abs=0.25)


def test_a_bound_counts_only_where_it_is_broken():
    results = results_of((reading(10.0, 20.0, below_detection=True),))
    courses = np.log(np.array([2.0, 5.0, 400.0]))[:, None] + np.zeros((3, len(GRID)))
    evidence = evidence_under(
        regression_of(results, courses, np.full(courses.shape, -1.0), GRID, GRID, np.zeros((3, 1)), (WANDER,))
    )[:, 0]
    assert abs(evidence[0] - evidence[1]) < 0.1 and evidence[2] < evidence[0] - 3.0
