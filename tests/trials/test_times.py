"""Sampling times: D-optimal times of known models, and times that serve an aim."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from aerobe.errors import NotEnoughData
from aerobe.trials import SamplingTimes, optimal_times
from tests.conftest import truth


def michaelis_menten(x: np.ndarray) -> np.ndarray:
    return np.column_stack([x / (0.0641210 + x), -212.68 * x / (0.0641210 + x) ** 2])


def exponential_rise(t: np.ndarray) -> np.ndarray:
    return np.column_stack([1 - np.exp(-0.2 * t), t * np.exp(-0.2 * t)])


def compartment(t: np.ndarray) -> np.ndarray:
    a, b, c = 0.05884, 4.298, 21.80
    return np.column_stack([-c * t * np.exp(-a * t), c * t * np.exp(-b * t), np.exp(-a * t) - np.exp(-b * t)])


def logistic(t: np.ndarray) -> np.ndarray:
    f = 1 / (1 + np.exp(-t))
    return np.column_stack([f, t * f * (1 - f), -f * (1 - f)])


MODELS = {
    "michaelis-menten": (michaelis_menten, 2, 1e-4, 1.1),
    "exponential-rise": (exponential_rise, 2, 0.0, 30.0),
    "compartment": (compartment, 3, 0.001, 30.0),
    "logistic": (logistic, 3, -8.0, 8.0),
}


@cache
def solved(name: str) -> SamplingTimes:
    model, samples, start, end = MODELS[name]
    return optimal_times(model, samples=samples, start_h=start, end_h=end, grid=241)


@pytest.mark.parametrize("row", truth("optimal_times.csv"), ids=lambda row: f"{row.id}-{row.place:g}")
def test_times_of_known_models(row) -> None:
    assert solved(row.id).times_h[int(row.place)] == pytest.approx(row.time, abs=row.tolerance)


@pytest.mark.parametrize("name", MODELS)
def test_the_equivalence_theorem_confirms_them(name: str) -> None:
    # Kiefer & Wolfowitz 1960 (from memory): at the D-optimum the largest standardised variance equals the number of parameters.
    assert solved(name).most_sensitive == pytest.approx(MODELS[name][1], abs=2e-3)


def test_evenly_spread_times_are_worse() -> None:
    assert solved("compartment").efficiency_of_even < 0.5


def test_times_for_an_aim_beat_the_general_ones_at_it() -> None:
    aim = np.array([0.0, 0.0, 1.0])
    own = optimal_times(compartment, samples=4, start_h=0.01, end_h=30.0, aim=aim)
    general = optimal_times(compartment, samples=4, start_h=0.01, end_h=30.0)
    rows = compartment(np.array(general.times_h))
    variance = aim @ np.linalg.solve(rows.T @ rows, aim)
    assert np.exp(-own.criterion) <= variance * (1 + 1e-9)


def test_doubtful_parameters_spread_the_times() -> None:
    def slopes(*rates: float) -> Callable[[np.ndarray], np.ndarray]:
        # Of 1 - exp(-k t), by its height and its rate, one set of rows for each believed rate.
        return lambda t: np.array([np.column_stack([1 - np.exp(-k * t), t * np.exp(-k * t)]) for k in rates])

    doubtful = optimal_times(slopes(0.05, 0.2, 0.8), samples=4, start_h=0.0, end_h=30.0)
    sure = optimal_times(slopes(0.2), samples=4, start_h=0.0, end_h=30.0)
    assert len({round(time, 1) for time in doubtful.times_h}) > len({round(time, 1) for time in sure.times_h})


def test_a_least_gap_is_kept() -> None:
    found = optimal_times(exponential_rise, samples=4, start_h=0.0, end_h=30.0, earliest_gap_h=2.0)
    assert min(np.diff(found.times_h)) >= 2.0 - 1e-6


def test_fewer_samples_than_unknowns_need_prior_knowledge() -> None:
    with pytest.raises(NotEnoughData, match="known beforehand"):
        optimal_times(compartment, samples=2, start_h=0.1, end_h=30.0)
    assert len(optimal_times(compartment, samples=2, start_h=0.1, end_h=30.0, prior_information=np.eye(3)).times_h) == 2
