"""Each term of the equations has its number: worked out here on paper, term by term, in plain Python.

The compiled functions are taken as they are written, so that nothing is compiled here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_ivp

from aerobe.kinetics import PARAMETERS, decay_factor, growth_factor
from aerobe.kinetics import _compiled as model
from aerobe.kinetics import _nitrogen as second

P = {
    "bacteria_growth_per_h": 0.4,
    "fungi_growth_per_h": 0.2,
    "yield_fraction": 0.5,
    "half_food_mg_c_per_l": 10.0,
    "half_oxygen_mg_per_l": 0.5,
    "release_per_h": 0.1,
    "decay_per_h": 0.01,
    "starvation_per_h": 0.03,
    "grazer_growth_per_h": 0.06,
    "kla_per_h": 15.0,
}
ORDER = np.array([P[name] for name in PARAMETERS])


@pytest.fixture(autouse=True)
def plain(monkeypatch: pytest.MonkeyPatch) -> None:
    """All functions as they are written, also where they call each other."""
    for module in (model, second):
        for name, thing in list(vars(module).items()):
            if hasattr(thing, "py_func"):
                monkeypatch.setattr(module, name, thing.py_func)


def change(bacteria=0.0, fungi=0.0, grazers=0.0, food=0.0, slow=0.0, oxygen=0.0, ready=1.0, *, growth=1.0, decay=1.0, air=1.0):  # type: ignore[no-untyped-def]
    """dy/dt at 9 mg/L saturation."""
    out = np.zeros(7)
    model.slopes(np.array([bacteria, fungi, grazers, food, slow, oxygen, ready]), ORDER, growth, decay, air, 9.0, out)
    return out


def test_derivatives_of_the_slopes_are_their_differences() -> None:
    """Independent computation: central differences of the slopes, at brews rich and poor in everything."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        y = rng.uniform([1, 1, 0.1, 0.5, 0.5, 0.05, 0.05], [300, 100, 20, 400, 900, 9, 1])
        p = ORDER * rng.uniform(0.5, 2.0, len(ORDER))
        growth, decay, air = rng.uniform(0.5, 1.5, 3)
        found, other = np.empty((7, 7)), np.empty((7, 7))
        model.jacobian(y, p, growth, decay, air, found)
        for j in range(7):
            above, below, step = np.empty(7), np.empty(7), np.zeros(7)
            step[j] = 1e-5 * y[j]
            model.slopes(y + step, p, growth, decay, air, 9.0, above)
            model.slopes(y - step, p, growth, decay, air, 9.0, below)
            other[:, j] = (above - below) / (2.0 * step[j])
        assert found == approx(other, rel=1e-5, abs=1e-6)


def test_growth_of_bacteria_and_fungi_by_monod() -> None:
    # On paper: food 10 of half 10 and oxygen 4.5 of half 0.5 give 0.5 x 0.9; readiness 0.8: 0.4 x 0.8 x 0.45 x 50 = 7.2 made;
    # decay 0.01 + 0.03 x 0.5 = 0.025 of 50 is 1.25 lost. Fungi: 0.2 x 0.8 x 0.45 x 20 = 1.44, half of 0.025 of 20 is 0.25.
    out = change(bacteria=50.0, fungi=20.0, food=10.0, oxygen=4.5, ready=0.8)
    assert out[0] == approx(7.2 - 1.25) and out[1] == approx(1.44 - 0.25)
    # Eaten at a yield of one half: 2 x 8.64. Nothing is released where nothing is stored.
    assert out[3] == approx(-17.28)
    # Decayed 1.5: half is slow food, and of the other half the tenth that no oxygen reaches stays as well.
    assert out[4] == approx(0.75 + 0.75 * 0.1)
    # Respired: 8.64 of the food and 0.75 x 0.9 of the decayed, 32/12 mg O2 each; the air brings 15 (9 - 4.5).
    assert out[5] == approx(15.0 * 4.5 - 32.0 / 12.0 * (8.64 + 0.675))
    # Readiness grows as bacteria would (baranyi-roberts-1994): 0.4 x 0.8 x 0.2.
    assert out[6] == approx(0.064)


def test_warmth_speeds_growth_decay_and_air_apart() -> None:
    out = change(bacteria=50.0, food=10.0, oxygen=4.5, growth=2.0, decay=3.0, air=0.5)
    assert out[0] == approx(2.0 * 0.4 * 0.45 * 50.0 - 3.0 * 0.025 * 50.0)
    respired = 2.0 * 9.0 + 0.5 * 3.75 * 0.9
    assert out[5] == approx(0.5 * 15.0 * 4.5 - 32.0 / 12.0 * respired)


def test_release_of_stored_food_takes_bacteria_and_fungi() -> None:
    # ASM1 (Henze and others 2000): hydrolysis is k_h (X_S / X_B) / (K_X + X_S / X_B) X_B with K_X = 0.03 at 20 degC.
    # On paper: 0.1 x (6 / 100) / (0.03 + 6 / 100) x 100 = 6.667, with 60 bacteria and 40 fungi.
    assert change(bacteria=60.0, fungi=40.0, slow=6.0)[3] == approx(6.6667, abs=1e-4)
    assert change(bacteria=100.0, slow=6.0)[3] == approx(6.6667, abs=1e-4)
    assert change(bacteria=60.0, fungi=40.0, slow=6.0, growth=2.0)[3] == approx(13.3333, abs=1e-4)


def test_grazers_eat_by_a_saturating_appetite() -> None:
    # On paper: 30 mg C/L of bacteria are half appetite (order of Fenchel 1982, from memory): 0.06 x 0.9 x 0.5 x 10 = 0.27 made
    # of 0.9 eaten (a yield of 0.3); of the 0.63 lost half is respired. Grazers die at 0.02/h.
    out = change(bacteria=30.0, grazers=10.0, oxygen=4.5)
    lost = (0.01 + 0.03) * 30.0
    assert out[0] == approx(-lost - 0.9) and out[2] == approx(0.27 - 0.2)
    decayed = lost + 0.2
    assert out[4] == approx(0.5 * decayed * 1.1 + 0.315)
    assert out[5] == approx(15.0 * 4.5 - 32.0 / 12.0 * (0.5 * decayed * 0.9 + 0.315))
    assert change(bacteria=90.0, grazers=10.0, oxygen=4.5)[2] == approx(0.06 * 0.9 * 0.75 * 10.0 - 0.2)


def test_the_second_structure_term_by_term() -> None:
    names = dict(zip(second.NITROGEN_PARAMETERS, range(15), strict=True))
    p = np.zeros(15)
    for name, value in P.items():
        if name in names:
            p[names[name]] = value
    p[names["crowding_l_per_mg_c_h"]], p[names["carbon_to_nitrogen"]], p[names["half_nitrogen_mg_per_l"]] = 1e-4, 5.0, 2.0
    p[names["fermented_share"]], p[names["acid_growth_per_h"]], p[names["acid_limit_mg_c_per_l"]] = 0.3, 0.2, 40.0
    state = np.array([50.0, 20.0, 10.0, 6.0, 2.0, 15.0, 0.8])
    out = np.zeros(7)
    oxygen = second._slopes(state, p, 1.0, 1.0, 15.0, 9.0, out)
    # On paper, term by term.
    pace = 0.8 * 0.5 * 0.5 / (1.0 + (15.0 / 40.0) ** 2)
    bacteria, fungi = 0.4 * pace * 50.0, 0.2 * pace * 20.0
    regrown = 0.2 * 0.5 * 0.5 * 0.5 * 50.0
    rate = 0.01 + 0.03 * 0.5 + 1e-4 * 70.0
    lost = rate * 60.0
    demand = 32.0 / 12.0 * (bacteria + fungi + regrown + 0.5 * lost)
    # Oxygen in balance: what the air brings is what is taken.
    assert 15.0 * (9.0 - oxygen) == approx(demand * oxygen / (0.5 + oxygen), rel=1e-9)
    aerobic = oxygen / (0.5 + oxygen)
    fermented = 0.3 * (1.0 - aerobic) * bacteria
    released = 0.1 * (6.0 / 70.0) / (0.03 + 6.0 / 70.0) * 70.0
    grown = aerobic * (bacteria + fungi)
    assert out[0] == approx(aerobic * (bacteria + regrown) + fermented - rate * 50.0)
    assert out[1] == approx(aerobic * fungi - 0.5 * rate * 20.0)
    assert out[2] == approx(released - 2.0 * grown - fermented / 0.12, rel=1e-6)
    assert out[3] == approx(0.5 * lost - released, rel=1e-6)
    assert out[4] == approx((0.5 * lost - grown - aerobic * regrown - fermented) / 5.0)
    assert out[5] == approx(0.67 * (fermented / 0.12 - fermented) - 2.0 * aerobic * regrown)
    assert out[6] == approx(0.4 * 0.8 * 0.2)


@pytest.mark.parametrize("order", ["as it comes", "needs pivots"])
def test_linear_equations_are_solved(order: str) -> None:
    rng = np.random.default_rng(3)
    matrix = rng.normal(size=(7, 7)) + (8.0 * np.eye(7) if order == "as it comes" else 8.0 * np.eye(7)[::-1])
    right = rng.normal(size=7)
    factors, pivots, x = matrix.copy(), np.zeros(7, np.int64), right.copy()
    model.factorise(factors, pivots)
    model.solve(factors, pivots, x)
    assert x == approx(np.linalg.solve(matrix, right), rel=1e-12)


def test_the_solver_has_the_printed_coefficients() -> None:
    # Hairer and Wanner, Solving Ordinary Differential Equations II, 2nd edition 1996, section IV.7, method RODAS (coefficients
    # from memory of its published code; the order conditions are checked by the rate at which error falls elsewhere).
    assert model.GAMMA == 0.25 and (model.T2, model.T3, model.T4) == (0.386, 0.21, 0.63)
    # A stiffly accurate method: after the change of variables each stage has its time as the sum of its row.
    a = np.zeros((6, 6))
    a[1, 0] = model.A21
    a[2, :2] = model.A31, model.A32
    a[3, :3] = model.A41, model.A42, model.A43
    a[4, :4] = model.A51, model.A52, model.A53, model.A54
    a[5] = a[4]
    a[5, 4] = 1.0
    c = np.zeros((6, 6))
    c[1, 0] = model.C21
    c[2, :2] = model.C31, model.C32
    c[3, :3] = model.C41, model.C42, model.C43
    c[4, :4] = model.C51, model.C52, model.C53, model.C54
    c[5, :5] = model.C61, model.C62, model.C63, model.C64, model.C65
    # Independent: transform back. With U = Gamma K, Gamma^-1 = I / gamma - C and alpha = A Gamma; b = (last row of A, 1) Gamma.
    gamma = np.linalg.inv(np.eye(6) / model.GAMMA - c)
    alpha = a @ gamma
    b = np.append(a[5, :5], 1.0) @ gamma
    times, ends = alpha.sum(axis=1), gamma.sum(axis=1)
    assert times[1:4] == approx([model.T2, model.T3, model.T4], abs=1e-12) and times[4:] == approx([1.0, 1.0], abs=1e-12)
    assert ends[:4] == approx([model.D1, model.D2, model.D3, model.D4], abs=1e-12) and ends[4:] == approx([0.0, 0.0], abs=1e-12)
    both = alpha + gamma
    beta = both.sum(axis=1)
    # Order conditions of Rosenbrock methods up to four (the same book, Table 7.1, from memory).
    assert b.sum() == approx(1.0, abs=1e-12) and b @ beta == approx(0.5, abs=1e-12)
    assert b @ times**2 == approx(1.0 / 3.0, abs=1e-11) and b @ both @ beta == approx(1.0 / 6.0, abs=1e-11)
    assert b @ times**3 == approx(0.25, abs=1e-11) and b @ (times * (alpha @ beta)) == approx(0.125, abs=1e-11)
    assert b @ both @ times**2 == approx(1.0 / 12.0, abs=1e-11) and b @ both @ both @ beta == approx(1.0 / 24.0, abs=1e-11)


def test_one_step_of_constant_air_is_the_textbook_rise() -> None:
    # On paper: without life, C = 9 - 9 exp(-15 t); its mean over 0.1 h is 9 - 9 (1 - exp(-1.5)) / 1.5.
    y, work = np.zeros(7), np.zeros((12, 7))
    left = np.array([1.0, 1.0, 1.0, 9.0])
    step = 0.01
    for start in (0.0, 0.05):
        step = model.advance(y, ORDER, start, start + 0.05, left, left, 1e-8, step, work, np.zeros((7, 7)), np.zeros(7, np.int64))
    assert step > 0.0 and y[5] == approx(9.0 * (1.0 - math.exp(-1.5)), rel=1e-6)
    assert work[11, 0] / 0.1 == approx(9.0 - 9.0 * (1.0 - math.exp(-1.5)) / 1.5, rel=2e-3)


def test_forcing_runs_straight_between_its_ends() -> None:
    # On paper: saturation rising from 8 to 10 within half an hour at 15/h: C = 8 + 4 t - 4/15 + k exp(-15 t), with C(0) = 0.
    y, work = np.zeros(7), np.zeros((12, 7))
    left, right = np.array([1.0, 1.0, 1.0, 8.0]), np.array([1.0, 1.0, 1.0, 10.0])
    model.advance(y, ORDER, 2.0, 2.5, left, right, 1e-8, 0.01, work, np.zeros((7, 7)), np.zeros(7, np.int64))
    assert y[5] == approx(10.0 - 4.0 / 15.0 + (4.0 / 15.0 - 8.0) * math.exp(-7.5), rel=1e-6)


def test_growth_and_decay_follow_their_forcing_within_a_step() -> None:
    # On paper: without food, bacteria decay at 0.04/h times a factor that runs from 1 to 3 in half an hour: exp(-0.04 x 0.5 x 2).
    y, work = np.array([50.0, 0.0, 0.0, 0.0, 0.0, 9.0, 0.5]), np.zeros((12, 7))
    left, right = np.array([1.0, 1.0, 1.0, 9.0]), np.array([2.0, 3.0, 1.0, 9.0])
    model.advance(y, ORDER, 2.0, 2.5, left, right, 1e-6, 0.01, work, np.zeros((7, 7)), np.zeros(7, np.int64))
    # What decays becomes slow food, and a little of it is eaten again: within a thousandth.
    assert y[0] == approx(50.0 * math.exp(-0.04), rel=3e-3)
    # Readiness by the logistic law: odds grow by exp of 0.4 x 0.5 x 1.5.
    assert y[6] / (1.0 - y[6]) == approx(math.exp(0.3), rel=1e-5)


def test_temperature_factors_have_their_numbers() -> None:
    # Ratkowsky 1983 (from memory): root of the rate b (T - Tmin)(1 - exp(c (T - Tmax))); here Tmin = 5, c = 0.25, Tmax = 47.
    def root(t: float) -> float:
        return (t - 5.0) * (1.0 - math.exp(0.25 * (t - 47.0)))

    assert growth_factor(30.0, 5.0) == approx((root(30.0) / root(20.0)) ** 2)
    assert growth_factor(30.0, 5.0) == approx(2.71, abs=0.01)
    assert growth_factor(44.0, 5.0) == approx((root(44.0) / root(20.0)) ** 2)
    assert growth_factor(4.0, 5.0) == 0.0 and growth_factor(48.0, 5.0) == 0.0
    # 1.10 a degree: between 1.04 of handbooks and 1.12 of ASM1's pair 0.62 and 0.20 per day ten degrees apart.
    assert decay_factor(30.0) == approx(1.1**10) and 1.04**10 < float(decay_factor(30.0)) < 0.62 / 0.20


def test_the_second_structure_takes_smaller_steps_where_food_answers_fast() -> None:
    # A reference solver on the same slopes; much life on little food turns over within minutes, where a tenth of an hour is far
    # too long.
    p = np.zeros((1, 15))
    given = P | {
        "half_food_mg_c_per_l": 1.0,
        "carbon_to_nitrogen": 5.0,
        "half_nitrogen_mg_per_l": 0.5,
        "acid_limit_mg_c_per_l": 40.0,
    }
    for place, name in enumerate(second.NITROGEN_PARAMETERS):
        p[0, place] = given.get(name, 0.0)
    start = np.array([[300.0, 50.0, 30.0, 5.0, 40.0, 0.0, 1.0]])
    shared = np.array([[1.5, 1.5], [1.2, 1.2], [9.0, 9.0], [4.0, 4.0], [0.0, 0.0], [0.0, 0.0], [0.0, 0.0], [1.0, 1.0]])
    found = second.simulate_nitrogen(start, p, np.ones((1, 2)), shared, np.ones(1), np.array([0.0, 1.0]))

    def slopes(_: float, y: np.ndarray) -> np.ndarray:
        out = np.zeros(7)
        second._slopes(y, p[0], 1.0, 1.5, 72.0, 9.0, out)
        return out

    exact = solve_ivp(slopes, (0.0, 1.0), start[0], method="LSODA", rtol=1e-9, atol=1e-9).y[:, -1]
    assert found[0, 1, :2] == approx(exact[:2], rel=2e-4)
    told = second._slopes(start[0], p[0], 1.0, 1.5, 72.0, 9.0, np.zeros(7))
    assert found[0, 0, 2] == approx(told)


def test_food_water_and_air_of_a_brew_through_its_hours() -> None:
    # On paper, without life: at 1 h the air halves; 6 mg C/L of food (of which this brew gets a half) and 2 of slow food go in;
    # at 2 h a fifth is replaced by water at saturation 9.
    hours = np.array([0.0, 1.0, 2.0, 3.5])
    shared = np.ones((7, 4))
    shared[2] = 9.0
    shared[3] = 1.0, 0.5, 0.5, 0.5
    shared[4], shared[5] = (0.0, 6.0, 0.0, 0.0), (0.0, 2.0, 0.0, 0.0)
    shared[6] = 1.0, 1.0, 0.8, 1.0
    p = np.zeros(10)
    p[2], p[3], p[4], p[9] = 0.5, 10.0, 0.5, 2.0
    start = np.array([10.0, 5.0, 0.0, 4.0, 3.0, 1.0, 0.7])
    out = np.zeros((1, 4, 8))
    model.run_all(start[None], p[None], np.ones((1, 4)), shared, np.array([0.5]), hours, 1e-8, out)
    first = 9.0 - 8.0 * math.exp(-2.0)
    second_hour = 9.0 - (9.0 - first) * math.exp(-1.0)
    mixed = 0.8 * second_hour + 0.2 * 9.0
    last = 9.0 - (9.0 - mixed) * math.exp(-1.5)
    assert out[0, :, 5] == approx([1.0, first, second_hour, last], rel=1e-6)
    assert out[0, :, 3] == approx([4.0, 4.0, 7.0, 5.6], rel=1e-9) and out[0, :, 4] == approx([3.0, 3.0, 5.0, 4.0], rel=1e-9)
    assert out[0, :, 0] == approx([10.0, 10.0, 10.0, 8.0]) and out[0, :, 1] == approx([5.0, 5.0, 5.0, 4.0])
    assert out[0, :, 6] == approx([0.7] * 4)
    # The mean oxygen of an hour: 9 - 8 (1 - exp(-2)) / 2, by steps of a trapezium.
    assert out[0, :2, 7] == approx([1.0, 9.0 - 8.0 * (1.0 - math.exp(-2.0)) / 2.0], rel=2e-3)
