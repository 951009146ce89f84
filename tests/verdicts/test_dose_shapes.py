"""A dose series calls a peak only where one is: not where the outcome levels off, nor where the curve does not fit."""

from __future__ import annotations

import numpy as np

from aerobe.verdicts import answer_dose_series

DOSES = [d for d in (0.0, 1.0, 2.0, 4.0, 8.0) for _ in range(4)]


def kinds(shape, sd: float, trials: int = 300) -> list[str]:
    rng = np.random.default_rng(3)
    truth = np.array([shape(d) for d in DOSES])
    return [answer_dose_series(DOSES, truth + rng.normal(0, sd, truth.size)).kind for _ in range(trials)]


def test_an_outcome_that_levels_off_has_no_peak() -> None:
    levelled = kinds(lambda d: 1.5 * d / (0.5 + d), 0.25)
    stepped = kinds(lambda d: 1.0 if d > 0 else 0.0, 0.25)
    assert levelled.count("peak") <= 0.05 * 300 and stepped.count("peak") <= 0.06 * 300


def test_a_true_peak_is_found() -> None:
    assert kinds(lambda d: -0.6 * (np.sqrt(d) - 1.5) ** 2, 0.3).count("peak") > 250


def test_points_that_leave_the_curve_are_no_shape() -> None:
    jagged = kinds(lambda d: {0.0: 0.0, 1.0: 2.0, 2.0: 0.0, 4.0: 2.0, 8.0: 0.0}[d], 0.2)
    assert jagged.count("not settled") > 290
