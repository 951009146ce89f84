"""Answers of the forward model at awkward brews, kept so that no number changes unseen: see tests/kept_answers."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from aerobe.kinetics import Surroundings, decay_factor, growth_factor, simulate, simulate_nitrogen
from aerobe.kinetics import _compiled as model
from aerobe.kinetics import _nitrogen as second
from aerobe.oxygen import transfer_factor
from tests.kinetics.plain import as_written

P = np.array([0.41, 0.23, 0.44, 9.0, 0.27, 0.09, 0.015, 0.031, 0.083, 17.0])
Y = np.array([71.0, 23.0, 9.0, 13.0, 57.0, 1.7, 0.43])
Q = np.array([0.41, 0.23, 0.44, 9.0, 0.27, 0.09, 0.015, 0.031, 4e-4, 5.7, 0.6, 0.29, 0.14, 110.0, 17.0])
S = np.array([71.0, 23.0, 13.0, 57.0, 2.2, 31.0, 0.43])
AROUND = Surroundings(
    times_h=np.array([0.0, 0.4, 1.0, 2.5]),
    temperature_degc=np.array([21.0, 17.0, 26.0, 23.0]),
    saturation_mg_per_l=np.array([8.9, 9.6, 8.1, 8.6]),
    added_food_mg_c_per_l=np.array([0.0, 40.0, 0.0, 0.0]),
    added_slow_mg_c_per_l=np.array([0.0, 5.0, 30.0, 0.0]),
    air=np.array([1.0, 0.05, 0.7, 0.7]),
    kept_share=np.array([1.0, 1.0, 0.8, 1.0]),
)


def answers() -> dict[str, Callable[[], object]]:
    """Each by what it holds."""
    return {
        "slopes of the first structure with all that lives and is eaten": partial(_plainly, _first_slopes),
        "derivatives of those slopes by the states": partial(_plainly, _derivatives),
        "slopes of the second structure, and its oxygen": partial(_plainly, _second_slopes),
        "growth from cold to too hot, with minima below and above 20 degC, then decay": _factors,
        "a wide first step that fails and is cut: states, oxygen summed up, and the step to come": partial(
            _plainly, _steps, 0.9, 1e-3, 1.0
        ),
        "a tiny first step that grows, over a long span": partial(_plainly, _steps, 1e-4, 1e-2, 5.0),
        "two brews of the first structure through food, water and still air": partial(_plainly, _first_brews),
        "two brews of the second structure through the same": partial(_plainly, _second_brews),
    }


def _plainly(do: Callable[..., object], *given: float) -> object:
    with as_written():
        return do(*given)


def _first_slopes() -> object:
    out = np.full(7, np.nan)
    model.slopes(Y, P, 1.6, 1.2, 0.7, 9.2, out)
    return out


def _derivatives() -> object:
    matrix = np.full((7, 7), np.nan)
    model.jacobian(Y, P, 1.6, 1.2, 0.7, matrix)
    return matrix


def _second_slopes() -> object:
    out = np.full(7, np.nan)
    oxygen = second._slopes(S, Q, 1.6, 1.2, 12.0, 9.2, out)
    return [out, oxygen]


def _factors() -> object:
    at = ((3.0, -7.0), (33.0, 4.0), (45.0, -2.0), (49.0, 0.0), (28.0, 21.0))
    return [[growth_factor(t, low) for t, low in at], [decay_factor(t) for t in (7.0, 31.0)]]


def _steps(step: float, tolerance: float, hours: float) -> object:
    """Steps so loose that their number shows in the answer."""
    y, work = Y.copy(), np.full((12, 7), np.nan)
    work[11, 0] = 0.0
    left, right = np.array([1.1, 0.9, 1.2, 9.0]), np.array([1.7, 1.3, 0.6, 8.2])
    spare = np.full((7, 7), np.nan), np.zeros(7, np.int64)
    after = model.advance(y, P, 0.2, 0.2 + hours, left, right, tolerance, step, work, *spare)
    return [y, work[11, 0], after]


def _first_brews() -> object:
    parameters = np.stack([P, P[[1, 0, *range(2, 10)]]])
    minima, scale = np.array([-7.0, 3.0]), np.array([1.0, 0.7])
    return simulate(np.stack([Y, 0.6 * Y]), parameters, minima, AROUND, food_scale=scale, tolerance=1e-3)


def _second_brews() -> object:
    degc = AROUND.temperature_degc
    shared = np.stack(
        [
            decay_factor(degc),
            transfer_factor(degc),
            AROUND.saturation_mg_per_l,
            np.array([1.0, 0.0, 0.7, 0.7]),
            AROUND.added_food_mg_c_per_l,
            AROUND.added_slow_mg_c_per_l,
            np.array([0.0, 2.0, 0.0, 0.0]),
            AROUND.shares_kept(),
        ]
    )
    growth = np.asarray(growth_factor(degc[None], np.array([[-7.0], [3.0]])))
    start, parameters = np.stack([S, 0.6 * S]), np.stack([Q, 1.1 * Q])
    return simulate_nitrogen(start, parameters, growth, shared, np.array([1.0, 0.7]), AROUND.times_h)
