"""How often a verdict is right when it is used over and over, counted by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aerobe.verdicts import (
    answer_dose_series,
    call_contrasts,
    fit_effects,
    lay_out,
)


@pytest.mark.parametrize(("arms", "brews", "brew_sd", "test_sd"), [(2, 3, 0.5, 0.1), (2, 5, 0.05, 0.4), (4, 3, 1.2, 0.2)])
def test_recipes_that_do_not_differ_are_rarely_told_apart(arms: int, brews: int, brew_sd: float, test_sd: float) -> None:
    rng = np.random.default_rng(11)
    n = arms * brews
    y = rng.normal(0, brew_sd, (20000, n)) + rng.normal(0, test_sd, (20000, n))
    rows = np.eye(arms)[1:] - np.eye(arms)[0]
    calls = call_contrasts(fit_effects(y, lay_out([i % arms for i in range(n)]), rows), math.log(1.25))
    assert calls.above.any(axis=1).mean() <= 0.05  # false "better"
    assert (calls.above | calls.below).any(axis=1).mean() <= 0.055  # any false claim: 5 % within simulation error


@pytest.mark.parametrize("tests", [[1], [1, 5]])
@pytest.mark.parametrize(("brew_sd", "test_sd"), [(0.5, 0.2), (0.05, 0.4), (1.2, 0.1)])
def test_intervals_hold_the_truth_nine_times_in_ten(tests: list[int], brew_sd: float, test_sd: float) -> None:
    rng = np.random.default_rng(12)
    trials = 6000 if len(tests) == 1 else 1500
    n = np.array([tests[i % len(tests)] for i in range(8)])
    y = np.repeat([0.0, 0.7], 4) + rng.normal(0, brew_sd, (trials, 8)) + rng.normal(0, 1, (trials, 8)) * test_sd / np.sqrt(n)
    found = fit_effects(y, lay_out([0] * 4 + [1] * 4), np.array([[-1.0, 1.0]]))
    inside = (found.quantile(0.05) < 0.7) & (found.quantile(0.95) > 0.7)
    assert 0.87 <= inside.mean() <= 0.93


def test_the_coverage_count_notices_intervals_made_too_narrow() -> None:
    rng = np.random.default_rng(12)
    y = np.repeat([0.0, 0.7], 4) + rng.normal(0, 0.5, (6000, 8))
    found = fit_effects(y, lay_out([0] * 4 + [1] * 4), np.array([[-1.0, 1.0]]))
    inside = (found.quantile(0.10) < 0.7) & (found.quantile(0.90) > 0.7)
    assert not 0.87 <= inside.mean() <= 0.93


def test_colour_bias_is_covered_when_it_was_characterised() -> None:
    rng = np.random.default_rng(13)
    bias = rng.normal(0, 0.3, (8000, 2))
    y = np.repeat(bias, 4, axis=1) + np.repeat([0.0, 0.7], 4) + rng.normal(0, 0.4, (8000, 8))
    found = fit_effects(y, lay_out([0] * 4 + [1] * 4), np.array([[-1.0, 1.0]]), np.array([2 * 0.3**2]))
    inside = (found.quantile(0.05) < 0.7) & (found.quantile(0.95) > 0.7)
    assert 0.87 <= inside.mean() <= 0.93


def test_the_best_dose_lies_in_its_interval_nine_times_in_ten() -> None:
    rng = np.random.default_rng(14)
    doses = [d for d in (0.0, 1.0, 2.0, 4.0, 8.0) for _ in range(4)]
    inside = []
    for _ in range(1000):
        y = [-0.6 * (math.sqrt(d) - 1.5) ** 2 + rng.normal(0, 0.3) for d in doses]
        answer = answer_dose_series(doses, y)
        if answer.kind == "peak":
            inside.append(answer.best_low <= 2.25 <= answer.best_high)
    assert len(inside) > 900
    assert 0.87 <= np.mean(inside) <= 0.93
