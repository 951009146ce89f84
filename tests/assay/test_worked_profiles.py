"""Ends of the components of scatter: where the restricted likelihood, written out, has risen by its quantile (scipy's roots)."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from pytest import approx
from scipy import optimize, stats

from aerobe.assay import components

READINGS = 20.0 * np.array([1.0, 1.3, 1.1, 1.4, 2.6, 2.9, 2.4, 2.7, 0.2, 0.5, 0.6, 0.1, 1.7, 2.0, 1.6, 1.9])


def roots(rise: Callable[[float], float], at: float) -> tuple[float, float]:
    return float(optimize.brentq(rise, 0.05 * at, at)), float(optimize.brentq(rise, at, 20.0 * at))


@pytest.mark.parametrize("level", [0.7, 0.9])
def test_one_scatter_has_the_ends_of_its_restricted_likelihood(level: float) -> None:
    # On paper: (n - 1) (log v + s^2 / v), least at the variance with n - 1.
    s2 = float(np.var(READINGS, ddof=1))
    (found,) = components(list(READINGS), {}, level=level).shares

    def rise(sd: float) -> float:
        return 15.0 * (math.log(sd**2 / s2) + s2 / sd**2 - 1.0) - float(stats.chi2.ppf(level, 1))

    assert (found.low, found.sd, found.high) == approx(
        (roots(rise, found.sd)[0], math.sqrt(s2), roots(rise, found.sd)[1]), rel=1e-3
    )


@pytest.mark.parametrize("level", [0.7, 0.9])
def test_days_and_tests_have_the_ends_of_theirs(level: float) -> None:
    # On paper, four tests on each of four days (v of a test, w of a day): 12 log v + S_within / v + 3 log(v + 4 w) + S_between /
    # (v + 4 w), the other part at its best.
    groups = READINGS.reshape(4, 4)
    within = float(((groups - groups.mean(axis=1, keepdims=True)) ** 2).sum())
    between = 4.0 * float(((groups.mean(axis=1) - READINGS.mean()) ** 2).sum())

    def deviance(day: float, test: float) -> float:
        v, total = test**2, test**2 + 4.0 * day**2
        return 12.0 * math.log(v) + within / v + 3.0 * math.log(total) + between / total

    day, test = components(list(READINGS), {"day": [i // 4 for i in range(16)]}, level=level).shares
    best_test = math.sqrt(within / 12.0)
    best_day = math.sqrt((between / 3.0 - within / 12.0) / 4.0)
    assert (day.sd, test.sd) == approx((best_day, best_test), rel=1e-4)
    bar = deviance(best_day, best_test) + float(stats.chi2.ppf(level, 1))

    def of_day(sd: float) -> float:
        return float(optimize.minimize_scalar(lambda log: deviance(sd, math.exp(log)), (0.0, 3.0)).fun) - bar

    def of_test(sd: float) -> float:
        return float(optimize.minimize_scalar(lambda log: deviance(math.exp(log), sd), (1.0, 5.0)).fun) - bar

    assert (day.low, day.high) == approx(roots(of_day, best_day), rel=1e-3)
    assert (test.low, test.high) == approx(roots(of_test, best_test), rel=1e-3)


def test_a_day_that_adds_nothing_has_no_lower_end() -> None:
    same = list(np.tile([1.0, 1.4, 0.9, 1.2], 4))
    day, _ = components(same, {"day": [i // 4 for i in range(16)]}).shares
    assert day.sd == approx(0.0, abs=1e-6) and day.low == 0.0 and day.high > 0.0
