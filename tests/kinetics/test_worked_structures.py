"""Both structures written a second time as tables of processes, what each makes of what, and compared whole.

The form is that of Henze and others, Activated Sludge Models (2000): rates in a column, stoichiometry in a matrix (the matrix of
Petersen). Every state differs from every other, none is nought or one, and all factors of temperature differ.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest import approx

from aerobe.kinetics import Surroundings, growth_factor, simulate_nitrogen
from aerobe.kinetics import _compiled as model
from aerobe.kinetics import _nitrogen as second
from aerobe.oxygen import transfer_factor
from tests.kinetics.plain import as_written

Array = NDArray[np.float64]

P = np.array([0.37, 0.21, 0.46, 11.0, 0.31, 0.083, 0.013, 0.027, 0.071, 14.0])
Y = np.array([63.0, 27.0, 7.0, 19.0, 41.0, 2.3, 0.61])
Q = np.array([0.37, 0.21, 0.46, 11.0, 0.31, 0.083, 0.013, 0.027, 3e-4, 5.3, 0.7, 0.34, 0.16, 130.0, 14.0])
S = np.array([63.0, 27.0, 19.0, 41.0, 1.9, 37.0, 0.61])
O2_PER_C = 2.6666666666666665


@pytest.fixture(autouse=True)
def plain() -> Iterator[None]:
    with as_written():
        yield


def by_processes(y: Array, p: Array, growth: float, decay: float, air: float, saturation: float) -> Array:
    """The first structure: growth of bacteria and fungi, release, three losses, grazing, air, readiness."""
    bacteria, fungi, grazers = y[:3]
    food, slow, oxygen = max(y[3], 0.0), max(y[4], 0.0), max(y[5], 0.0)
    mu_b, mu_f, share, k_s, k_o, k_h, b_low, b_more, mu_g, kla = p
    fed, aired = food / (k_s + food), oxygen / (k_o + oxygen)
    loss = (b_low + b_more * (1.0 - fed)) * decay
    ready = y[6]
    rates = np.array(
        [
            mu_b * growth * ready * fed * aired * bacteria,
            mu_f * growth * ready * fed * aired * fungi,
            k_h * growth * (slow / (bacteria + fungi)) / (0.03 + slow / (bacteria + fungi)) * (bacteria + fungi),
            loss * bacteria,
            0.5 * loss * fungi,
            0.02 * decay * grazers,
            mu_g * growth * aired * bacteria / (30.0 + bacteria) * grazers,
            kla * air * (saturation - y[5]),
            mu_b * growth * ready * (1.0 - ready),
        ]
    )
    # A decayed carbon: half is stored, half of it is burnt as far as there is oxygen, and the rest is stored too.
    burnt, stored = 0.5 * aired, 1.0 - 0.5 * aired
    # A carbon of grazers takes 1 / 0.3 of bacteria; of the 7/3 left half is burnt, half is spilt.
    eaten, rest = 10.0 / 3.0, 7.0 / 6.0
    matrix = np.array(
        [  # bacteria, fungi, grazers, food, slow, oxygen, readiness
            [1.0, 0.0, 0.0, -1.0 / share, 0.0, -O2_PER_C * (1.0 / share - 1.0), 0.0],
            [0.0, 1.0, 0.0, -1.0 / share, 0.0, -O2_PER_C * (1.0 / share - 1.0), 0.0],
            [0.0, 0.0, 0.0, 1.0, -1.0, 0.0, 0.0],
            [-1.0, 0.0, 0.0, 0.0, stored, -O2_PER_C * burnt, 0.0],
            [0.0, -1.0, 0.0, 0.0, stored, -O2_PER_C * burnt, 0.0],
            [0.0, 0.0, -1.0, 0.0, stored, -O2_PER_C * burnt, 0.0],
            [-eaten, 0.0, 1.0, 0.0, rest, -O2_PER_C * rest, 0.0],
            [0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0],
            [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
        ]
    )
    return rates @ matrix


@pytest.mark.parametrize("nought", [(), (3,), (4,), (5,), (3, 4, 5)])
def test_the_first_structure_is_its_table_of_processes(nought: tuple[int, ...]) -> None:
    # Independent computation. A hair below nought, as a solver steps, counts as none; only the air sees it as it is.
    y, out = Y.copy(), np.full(7, np.nan)
    y[list(nought)] = -0.37
    model.slopes(y, P, 1.7, 1.3, 0.8, 9.3, out)
    assert out == approx(by_processes(y, P, 1.7, 1.3, 0.8, 9.3), rel=1e-9)


@pytest.mark.parametrize("nought", [(), (3,), (4,), (5,)])
def test_slopes_of_the_slopes_are_their_differences_and_each_place_is_written(nought: tuple[int, ...]) -> None:
    # Independent computation: central differences of the table of processes.
    y, found, other = Y.copy(), np.full((7, 7), np.nan), np.empty((7, 7))
    y[list(nought)] = -0.37
    model.jacobian(y, P, 1.7, 1.3, 0.8, found)
    for j in range(7):
        step = np.zeros(7)
        step[j] = 1e-5
        above, below = (by_processes(y + sign * step, P, 1.7, 1.3, 0.8, 9.3) for sign in (1.0, -1.0))
        other[:, j] = (above - below) / 2e-5
    assert found == approx(other, rel=1e-6, abs=1e-9)


def by_processes_of_nitrogen(
    y: Array, p: Array, growth: float, decay: float, kla: float, saturation: float
) -> tuple[Array, float]:
    """The second structure, its oxygen by bisection of the balance instead of the root of a square."""
    bacteria, fungi = y[:2]
    food, slow, nitrogen, acids = np.maximum(y[2:6], 0.0)
    mu_b, mu_f, share, k_s, k_o, k_h, b_low, b_more, crowd, c_n, k_n, ferments, mu_a, k_i, _ = p
    fed, rich, held = food / (k_s + food), nitrogen / (k_n + nitrogen), k_i**2 / (k_i**2 + acids**2)
    slow_per = slow / (bacteria + fungi)
    with_air = np.array(
        [
            mu_b * growth * y[6] * fed * rich * held * bacteria,
            mu_f * growth * y[6] * fed * rich * held * fungi,
            mu_a * growth * acids / (15.0 + acids) * (1.0 - fed) * rich * bacteria,
        ]
    )
    loss = (b_low + b_more * (1.0 - fed) + crowd * (bacteria + fungi)) * decay
    lost = np.array([loss * bacteria, 0.5 * loss * fungi])
    demand = O2_PER_C * (with_air.sum() * (1.0 / share - 1.0) + 0.5 * lost.sum())
    low, high = 0.0, saturation
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if kla * (saturation - middle) > demand * middle / (k_o + middle) else (low, middle)
    aired = low / (k_o + low)
    ferment = ferments * (1.0 - aired) * with_air[0]
    rates = np.array(
        [
            *(aired * with_air),
            ferment,
            k_h * growth * slow_per / (0.03 + slow_per) * (bacteria + fungi),
            *lost,
            mu_b * growth * y[6],
        ]
    )
    matrix = np.array(
        [  # bacteria, fungi, food, slow, nitrogen, acids, readiness
            [1.0, 0.0, -1.0 / share, 0.0, -1.0 / c_n, 0.0, 0.0],
            [0.0, 1.0, -1.0 / share, 0.0, -1.0 / c_n, 0.0, 0.0],
            [1.0, 0.0, 0.0, 0.0, -1.0 / c_n, -1.0 / share, 0.0],
            [1.0, 0.0, -1.0 / 0.12, 0.0, -1.0 / c_n, 0.67 * (1.0 / 0.12 - 1.0), 0.0],
            [0.0, 0.0, 1.0, -1.0, 0.0, 0.0, 0.0],
            [-1.0, 0.0, 0.0, 0.5, 0.5 / c_n, 0.0, 0.0],
            [0.0, -1.0, 0.0, 0.5, 0.5 / c_n, 0.0, 0.0],
            [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0 - y[6]],
        ]
    )
    return rates @ matrix, low


@pytest.mark.parametrize("nought", [(), (2,), (3,), (4,), (5,)])
@pytest.mark.parametrize("kla", [22.0, 0.6])
def test_the_second_structure_is_its_table_of_processes(nought: tuple[int, ...], kla: float) -> None:
    y, out = S.copy(), np.full(7, np.nan)
    y[list(nought)] = -0.37
    oxygen = second._slopes(y, Q, 1.7, 1.3, kla, 9.3, out)
    expected, balance = by_processes_of_nitrogen(y, Q, 1.7, 1.3, kla, 9.3)
    assert oxygen == approx(balance, rel=1e-9) and out == approx(expected, rel=1e-8)


HOURS = np.array([0.0, 0.7, 1.6, 3.0])
GROWTH = np.array([[1.0, 1.4, 0.8, 1.1], [0.9, 1.2, 0.7, 1.3]])
SHARED = np.array(
    [
        [1.1, 0.9, 1.3, 0.8],
        [1.05, 0.95, 1.1, 0.9],
        [9.1, 8.7, 9.4, 8.9],
        [1.0, 0.0, 0.6, 0.6],
        [0.0, 30.0, 0.0, 0.0],
        [0.0, 0.0, 50.0, 0.0],
        [0.0, 3.0, 0.0, 0.0],
        [1.0, 1.0, 0.7, 1.0],
    ]
)


def test_a_brew_of_the_second_structure_is_carried_by_runge_and_kutta() -> None:
    # Independent computation: the classical tableau on the table of processes above, the forcings straight between the hours,
    # water first, then food, and the air as it is from each hour on (none leaves a millionth: nothing is divided by nought).
    scale = np.array([1.0, 0.6])
    found = simulate_nitrogen(np.array([S, S]), np.array([Q, Q]), GROWTH, SHARED, scale, HOURS)
    for brew in (0, 1):
        y = S.copy()
        for i in range(4):
            kla = 14.0 * SHARED[1, i] * max(SHARED[3, i], 1e-6)
            shown = by_processes_of_nitrogen(y, Q, GROWTH[brew, i], SHARED[0, i], kla, SHARED[2, i])[1]
            assert found[brew, i] == approx([y[0], y[1], shown], rel=2e-5, abs=1e-7)
            if i == 3:
                break
            y[:6] *= SHARED[7, i]
            y[2:5] += SHARED[4, i] * scale[brew], SHARED[5, i], SHARED[6, i]
            span = HOURS[i + 1] - HOURS[i]
            h = span / 24

            def slope(at: float, y: Array, i: int = i, kla: float = kla, span: float = span, brew: int = brew) -> Array:
                g, d, s = (row[i] + at / span * (row[i + 1] - row[i]) for row in (GROWTH[brew], SHARED[0], SHARED[2]))
                return by_processes_of_nitrogen(y, Q, g, d, kla, s)[0]

            for step in range(24):
                k1 = slope(step * h, y)
                k2 = slope((step + 0.5) * h, y + 0.5 * h * k1)
                k3 = slope((step + 0.5) * h, y + 0.5 * h * k2)
                k4 = slope((step + 1.0) * h, y + h * k3)
                y = y + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)


@pytest.mark.parametrize(
    ("bacteria", "half_food", "half_nitrogen", "fermented", "steps"),
    [
        (0.1, 11.0, 0.7, 0.34, 5),  # slow: 1.1 h by quarters of an hour
        # 0.8 x 0.61 x (0.37 x 200 + 0.21 x 100) = 46.36 mg C/L/h; at a yield of 0.46 over 2 mg C/L 50.4/h, x 1.1 h / 1.5 = 36.95
        (200.0, 2.0, 50.0, 0.1, 37),
        (200.0, 2.0, 50.0, 0.3, 43),  # fermented at 0.12: 0.3 / 0.12 is more than 1 / 0.46; 57.95 x 1.1 / 1.5 = 42.5
        (200.0, 50.0, 0.2, 0.1, 33),  # nitrogen: 46.36 / (5.3 x 0.2) = 43.74/h, x 1.1 / 1.5 = 32.07
    ],
)
def test_steps_are_short_where_food_or_nitrogen_answers_fast(
    monkeypatch: pytest.MonkeyPatch, bacteria: float, half_food: float, half_nitrogen: float, fermented: float, steps: int
) -> None:
    calls = []

    def still(y: Array, p: Array, g: float, d: float, kla: float, sat: float, out: Array) -> float:
        calls.append(g)
        out[:] = 0.0
        return 1.0

    monkeypatch.setattr(second, "_slopes", still)
    q, s = Q.copy(), S.copy()
    q[3], q[10], q[11] = half_food, half_nitrogen, fermented
    s[0], s[1] = bacteria, 0.5 * bacteria
    shared = np.ones((8, 2))
    shared[4:7] = 0.0
    simulate_nitrogen(s[None], q[None], np.array([[0.8, 0.8]]), shared, np.ones(1), np.array([0.4, 1.5]))
    assert len(calls) == 2 + 4 * steps


def test_what_acts_from_outside_is_cut_and_told() -> None:
    # On paper: air below a tenth of the usual is that of the surface; transfer by its own theta times the air.
    around = Surroundings(
        times_h=np.arange(4.0),
        temperature_degc=np.array([20.0, 24.0, 16.0, 20.0]),
        saturation_mg_per_l=np.array([9.0, 8.4, 9.8, 9.0]),
        added_food_mg_c_per_l=np.array([0.0, 5.0, 0.0, 1.0]),
        added_slow_mg_c_per_l=np.array([0.0, 2.0, 0.0, 3.0]),
        air=np.array([1.0, 0.09, 0.11, 0.5]),
        kept_share=np.array([1.0, 0.7, 1.0, 0.9]),
    )
    assert list(around.running()) == [1.0, 0.0, 1.0, 1.0] and list(around.shares_kept()) == [1.0, 0.7, 1.0, 0.9]
    assert around.transfer() == approx(transfer_factor(around.temperature_degc) * around.air)
    cut = around.until(2)
    assert cut.air is not None and cut.kept_share is not None
    rows = (cut.times_h, cut.temperature_degc, cut.saturation_mg_per_l, cut.added_food_mg_c_per_l, cut.added_slow_mg_c_per_l)
    assert [list(row) for row in rows] == [[0.0, 1.0], [20.0, 24.0], [9.0, 8.4], [0.0, 5.0], [0.0, 2.0]]
    assert list(cut.air) == [1.0, 0.09] and list(cut.kept_share) == [1.0, 0.7]


def test_growth_whose_minimum_is_at_20_degrees_stays_finite() -> None:
    # On paper: the root at 20 degC is nought, and a thousandth stands for it.
    root = 9.5 * (1.0 - math.exp(0.25 * (30.0 - 47.0)))
    assert growth_factor(30.0, 20.5) == approx((root / 1e-3) ** 2) and growth_factor(20.2, 20.5) == 0.0
