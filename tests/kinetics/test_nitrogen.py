"""The second structure: against an independent solver, and balances of carbon and nitrogen."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from aerobe.kinetics import NITROGEN_PARAMETERS, simulate_nitrogen
from aerobe.kinetics._nitrogen import FUNGAL_DECAY, KEPT_IN_BREW, OXYGEN_PER_CARBON, RELEASE_HALF, _slopes

TIMES = np.arange(0.0, 48.5, 0.5)
USUAL = {
    "bacteria_growth_per_h": 0.27,
    "fungi_growth_per_h": 0.18,
    "yield_fraction": 0.5,
    "half_food_mg_c_per_l": 10.0,
    "half_oxygen_mg_per_l": 0.2,
    "release_per_h": 0.06,
    "decay_per_h": 0.014,
    "starvation_per_h": 0.02,
    "crowding_l_per_mg_c_h": 1e-4,
    "carbon_to_nitrogen": 5.5,
    "half_nitrogen_mg_per_l": 0.5,
    "fermented_share": 0.3,
    "acid_growth_per_h": 0.1,
    "acid_limit_mg_c_per_l": 200.0,
    "kla_per_h": 12.0,
}
START = np.array([18.0, 6.0, 400.0, 160.0, 30.0, 0.0, np.exp(-1.0)])


def run(start=START, **changed):
    p = np.array([[(USUAL | changed)[name] for name in NITROGEN_PARAMETERS]])
    ones, noughts = np.ones(len(TIMES)), np.zeros(len(TIMES))
    forcing = np.stack([ones, ones, 9.09 * ones, ones, noughts, noughts, noughts, ones])
    return simulate_nitrogen(start[None], p, ones[None], forcing, np.ones(1), TIMES)[0], p[0]


@pytest.mark.parametrize("changed", [{}, {"kla_per_h": 1.5}, {"half_food_mg_c_per_l": 2.0}])
def test_the_course_is_that_of_an_independent_solver(changed):
    found, p = run(**changed)
    out = np.empty(7)

    def slopes(t, y):
        _slopes(y, p, 1.0, 1.0, p[14], 9.09, out)
        return out.copy()

    exact = solve_ivp(slopes, (0.0, 48.0), START, "LSODA", t_eval=TIMES, rtol=1e-9, atol=1e-9).y
    assert pytest.approx(exact[:2], rel=2e-3) == found[:, :2].T


@pytest.mark.parametrize("nitrogen", [1.0, 5.0, 20.0])
@pytest.mark.parametrize("half", [0.1, 0.5])
def test_a_crowd_that_has_eaten_its_nitrogen_is_that_of_an_independent_solver(nitrogen, half):
    """Where 200 mg C/L of life meets the last of it, nitrogen answers within a minute."""
    start = START * np.array([8.0, 8.0, 3.0, 1.0, 1.0, 1.0, 2.0])
    start[4] = nitrogen
    found, p = run(start, half_nitrogen_mg_per_l=half)
    out = np.empty(7)

    def slopes(t, y):
        _slopes(y, p, 1.0, 1.0, p[14], 9.09, out)
        return out.copy()

    exact = solve_ivp(slopes, (0.0, 48.0), start, "LSODA", t_eval=TIMES, rtol=1e-9, atol=1e-9).y
    assert pytest.approx(exact[:2], rel=1e-4) == found[:, :2].T


def test_life_is_bounded_by_nitrogen_and_by_carbon():
    found, _ = run(START * np.array([1, 1, 10, 1, 0.1, 1, 1]))
    assert found[:, :2].sum(axis=1).max() < 24.0 + 3.0 * 5.5 + 24.0 + 1.0
    rich, _ = run(START * np.array([1, 1, 1, 1, 100, 1, 1]))
    assert rich[:, :2].sum(axis=1).max() < 24.0 + 0.5 * 560.0 + 24.0


def test_oxygen_lies_where_transfer_meets_uptake():
    y, out = START.copy(), np.empty(7)
    p = np.array([USUAL[name] for name in NITROGEN_PARAMETERS])
    y[6] = 1.0
    oxygen = _slopes(y, p, 1.0, 1.0, 12.0, 9.09, out)
    aerobic = oxygen / (0.2 + oxygen)
    grown = (0.27 * 18.0 + 0.18 * 6.0) * 400.0 / 410.0 * 30.0 / 30.5 * aerobic
    lost = (0.014 + 0.02 * 10.0 / 410.0 + 1e-4 * 24.0) * (18.0 + FUNGAL_DECAY * 6.0)
    uptake = OXYGEN_PER_CARBON * (grown + (1.0 - KEPT_IN_BREW) * lost * aerobic)
    assert 12.0 * (9.09 - oxygen) == pytest.approx(uptake, rel=1e-9)
    assert out[3] == pytest.approx(KEPT_IN_BREW * lost - 0.06 * 160.0 * 24.0 / (RELEASE_HALF * 24.0 + 160.0), rel=1e-9)


def test_without_air_acids_build_up_and_growth_all_but_ends():
    aired, _ = run()
    stifled, _ = run(kla_per_h=0.05)
    assert stifled[:, :2].sum(axis=1).max() < 0.6 * aired[:, :2].sum(axis=1).max()
    assert stifled[10:30, 2].max() < 0.5
