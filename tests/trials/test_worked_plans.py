"""Numbers of designs, of calls that are counted, of doses and of hours: on paper or by a law of the textbook."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from types import SimpleNamespace

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.errors import NotEnoughData
from aerobe.records import Arm, AssayError, Costs, Trial
from aerobe.trials import (
    CLEAR,
    Budget,
    Circumstances,
    Controls,
    Design,
    Power,
    Scatter,
    optimal_times,
    plan_trial,
    plots_of,
    power_of,
)
from aerobe.trials._best_arm import _scatter, believed
from aerobe.trials._budget import brews_a_round, cost_of, rounds_for
from aerobe.trials._checked import like
from aerobe.trials._next import _closer_doses
from aerobe.trials._plan import (
    _alternatives,
    _counts_to_try,
    _design,
    _more_of_the_standard,
    _tests_to_try,
)
from aerobe.trials._power import allowance_at_end, shift_of
from aerobe.trials._through_model import Tested, _count, _measured
from aerobe.trials._times import _criterion, _crowded, _even
from aerobe.verdicts import allowance_now
from tests.trials.test_promises import TWO, several
from tests.trials.test_worked_numbers import arms_of

CONTROLS = Controls(roles=("killed control",), round_roles=("blank",), tests_per_brew=1, tests_per_round=2, reasons=())


def test_what_brews_cost_and_how_many_fit() -> None:
    # By hand: 8 brews x (2 + 1) tests x 3 hours + 2 rounds x 2; 20 a brew, 10 a test.
    budget = Budget(costs=Costs(test=10.0, brew=20.0), money=2000.0, vessels=4, days=12.0, samplings=3)
    assert cost_of(budget, CONTROLS, 8, 2, 2) == (76, 920.0)
    # Four rounds of four vessels; three arms take three of them, five take all four. What needs more than one round is spread
    # over all four, one of each arm in each, until only full rounds hold it: sets of 2 in 4 rounds are 8 brews.
    assert [brews_a_round(trial, budget, 16) for trial in (TWO, several(2), several(4))] == [4, 3, 4]
    assert [brews_a_round(TWO, budget, brews) for brews in (4, 6, 8, 9, 10, 16, 40)] == [4, 2, 2, 4, 4, 4, 4]
    assert budget.rounds == 4 and [rounds_for(TWO, budget, brews) for brews in (4, 6, 8, 9)] == [1, 3, 4, 3]
    assert (
        _tests_to_try(2.4) == (1, 2, 3)
        and _tests_to_try(9.0) == (1, 6)
        and _tests_to_try(math.inf) == (1, 6)
        and _tests_to_try(0.3) == (1, 2)
    )
    # By hand: 12 brews take 3 rounds, 24 tests with controls and 6 for the rounds; 10 brews 26 tests, 200 + 260 of money.
    one = replace(budget, samplings=1)

    def most(**limit: float) -> int:
        return max(counts[0] for counts in _counts_to_try(TWO, replace(one, **limit), CONTROLS, 1))  # type: ignore[arg-type]

    assert (most(), most(tests=30), most(tests=29), most(money=460.0), most(money=459.0)) == (8, 6, 5, 5, 4)
    assert _counts_to_try(TWO, replace(one, money=100.0), CONTROLS, 1) == []


def test_a_standard_has_root_k_times_the_brews() -> None:
    # Dunnett 1955 (from memory): four others, twice the brews; two others, root 2.
    assert _more_of_the_standard(several(4), 5) == (10, 5, 5, 5, 5) and _more_of_the_standard(several(2), 5) == (7, 5, 5)
    assert _more_of_the_standard(TWO, 5) == (5, 5) and _more_of_the_standard(several(1), 5) == (5, 5)


def power(told: float, error: float = 0.01) -> Power:
    return Power(
        told=told, assurance=told, same_told=0.5, false_claims=0.05, detectable_ratio=1.5, simulations=100, standard_error=error
    )


def test_a_quick_count_is_corrected_in_proportion_to_its_room() -> None:
    # By hand: another design counted 0.8 was 0.74 when checked; at 0.6 the room is 0.24 over 0.16, no more than all: -0.06;
    # at 0.95 it is 0.0475 over 0.16: -0.0178.
    other, checked = power(0.8), power(0.74)
    assert like(power(0.6), other, checked).assurance == approx(0.54) and like(power(0.95), other, checked).told == approx(
        0.95 - 0.06 * 0.0475 / 0.16
    )
    assert like(power(0.6), power(1.0), power(0.9)).assurance == 0.6
    assert like(power(0.5), power(0.5), power(-0.2)).told == 0.0


def design(cost: float, told: float) -> Design:
    return Design(
        brews_per_arm=2,
        brews_of=(2, 2),
        tests_per_brew=1,
        plots=(),
        rounds=1,
        controls=CONTROLS,
        tests=4,
        cost=cost,
        power=power(told),
    )


def test_alternatives_are_those_that_no_other_beats() -> None:
    # By hand: dearer must tell a point more.
    rows = [design(100.0, 0.5), design(90.0, 0.4), design(110.0, 0.505), design(120.0, 0.6), design(95.0, 0.3), design(90.0, 0.2)]
    kept = _alternatives(rows, None)
    assert [(one.cost, one.power.told) for one in kept] == [(90.0, 0.4), (100.0, 0.5), (120.0, 0.6)]
    assert [one.cost for one in _alternatives(rows, rows[0])] == [90.0, 110.0, 120.0]


def test_looks_on_the_way_take_their_part_of_the_allowance() -> None:
    # Twelve brews, three looks: at 4, 8 and 12; one look has all.
    assert allowance_at_end(12, Circumstances(looks=3)) == allowance_now([4, 8, 12], 12)
    assert allowance_at_end(12, CLEAR).difference == 0.05 and allowance_at_end(3, Circumstances(looks=6)) == allowance_now(
        [1, 2, 3], 3
    )
    assert list(shift_of(TWO)) == [0.0, 1.0]


@pytest.mark.parametrize(
    ("kind", "best", "doses"),
    [
        ("still rising", (None, None, None), [0.0, 4.0, 6.0, 8.0]),
        ("still falling", (None, None, None), [0.0, 0.25, 0.5, 1.0]),
        ("peak", (2.0, 1.0, 3.0), [0.0, 1.0, 2.0, 3.0]),
        ("peak", (2.0, 2.0, 3.0), None),
        ("peak", (2.0, 1.99, 3.0), [0.0, 1.99, 2.0, 3.0]),
        ("flat", (None, None, None), [0.0, 2.0, 4.0]),
    ],
)
def test_the_next_doses(kind: str, best: tuple[float | None, ...], doses: list[float] | None) -> None:
    # As told in the room: half as much again and twice the highest; a quarter and a half of the lowest; the ends of the best
    # dose,
    # unless they lie within half of each other; else fewer doses.
    arms = tuple(Arm(key=f"d{d:g}", recipe="x", dose=d, is_standard=d == 0.0) for d in (0.0, 1.0, 2.0, 4.0))
    trial = Trial(key="d", name="d", question="dose series", margin_ratio=1.5, arms=arms)
    verdict = SimpleNamespace(dose=SimpleNamespace(kind=kind, best=best[0], best_low=best[1], best_high=best[2]))
    found = _closer_doses(trial, verdict, [])  # type: ignore[arg-type]
    assert (None if found is None else [arm.dose for arm in found]) == doses
    above = replace(trial, arms=arms[1:])
    if kind == "still falling":
        assert [arm.dose for arm in _closer_doses(above, verdict, [])] == [0.0, 0.25, 0.5, 1.0]  # type: ignore[union-attr, arg-type]


def test_a_brew_is_measured_less_its_control() -> None:
    # On paper: 40 with constant error 2 and a tenth, four tests: variance (4 + 16) / 4 + 4 = 9; never under the limit.
    rng, error = np.random.default_rng(4), AssayError(constant_sd=2.0, proportional_cv=0.1)
    drawn = np.array([_measured(40.0, Tested(error=error, at_h=24.0, tests_per_brew=4), rng) for _ in range(20_000)])
    assert drawn.mean() == approx(40.0, abs=0.08) and drawn.std() == approx(3.0, rel=0.02)
    faint = [_measured(0.01, Tested(error=error, at_h=24.0), rng) for _ in range(200)]
    assert (
        min(faint) == approx(0.2)
        and min(_measured(0.01, Tested(error=replace(error, detection_limit=1.5), at_h=24.0), rng) for _ in range(200)) == 1.5
    )


def test_calls_of_simulated_trials_are_counted_against_their_truth() -> None:
    # By hand: four brews an arm and next to no scatter: 2, 0.5, 1, 2 and 0.5 times; in the last two the truth was the other way.
    plots = plots_of(2, 4, 8)
    shifts = np.log([2.0, 0.5, 1.0, 2.0, 0.5])
    arms = np.array([plot.arm for plot in plots])
    noise = np.random.default_rng(1).normal(0.0, 0.001, (5, 8))
    truth = np.stack([np.zeros(5), np.log([2.0, 0.5, 1.0, 0.5, 1.5])], axis=1)
    told = _count(TWO, plots, shifts[:, None] * arms + noise, truth)
    assert (told.better, told.worse, told.same, told.wrong) == ((0.4,), (0.4,), (0.2,), (0.4,))
    assert told.true_ratio[0] == approx(1.0) and told.median_ratio[0] == approx(1.0, rel=1e-2) and told.simulations == 5
    with pytest.raises(NotEnoughData):
        _count(TWO, plots_of(2, 1, 2), np.zeros((2, 2)), np.zeros((2, 2)))


def test_power_in_one_round_and_with_the_colour_that_controls_leave() -> None:
    # R 4.2.2 power.t.test(n = 8, delta = 1.6): 0.8448. A colour bias of 0.1 an arm, which the verdict knows: fifty brews of sd
    # 0.3
    # and an effect of 0.5 over root(2 x 0.09 / 50 + 2 x 0.01) is 3.255 errors, told beyond 1.96 (normal law): 0.902.
    eight = power_of(replace(TWO, margin_ratio=math.exp(1.6)), plots_of(2, 8, 16), Scatter(brew_log_sd=1.0, test_log_sd=0.0), 1)
    assert eight.told == approx(0.8448, abs=0.02) and eight.false_claims == approx(0.05, abs=0.012)
    coloured = Scatter(brew_log_sd=0.3, test_log_sd=0.0, colour_log_sd=0.1)
    found = power_of(replace(TWO, margin_ratio=math.exp(0.5)), plots_of(2, 50, 100), coloured, 1, simulations=4000)
    assert found.told == approx(stats.norm.sf(1.96 - 0.5 / math.sqrt(0.0036 + 0.02)), abs=0.02)
    assert found.false_claims == approx(0.05, abs=0.015)
    plain = Scatter(brew_log_sd=0.3, test_log_sd=0.1)
    assert (plain.day_log_sd, plain.colour_log_sd, plain.df) == (0.0, 0.0, math.inf)


def test_a_design_counts_its_rounds_its_tests_and_its_money() -> None:
    # By hand: 2 x 6 brews in six rounds of two, since the days allow; 12 x 2 tests with controls and 2 a round.
    budget = Budget(costs=Costs(test=10.0, brew=20.0), money=2000.0, vessels=4, days=40.0)
    noisy = Scatter(brew_log_sd=0.1, test_log_sd=0.6)
    power = partial(power_of, scatter=noisy, given=CLEAR, seed=1, simulations=40)
    six = _design(TWO, budget, CONTROLS, (6, 6), 1, partial(power, TWO))
    assert (six.rounds, six.tests, six.cost, six.brews_per_arm, len(six.plots)) == (6, 36, 600.0, 6, 12)
    more = _design(several(2), replace(budget, vessels=3), CONTROLS, (4, 2, 2), 1, partial(power, several(2)))
    assert (more.rounds, more.brews_per_arm, [arms_of(more.plots).count(arm) for arm in range(3)]) == (3, 2, [4, 2, 2])


def test_a_plan_says_how_many_tests_of_a_brew_are_worth_making() -> None:
    # Cochran 1977: root(20 / 10) x 0.6 / 0.1.
    budget = Budget(costs=Costs(test=10.0, brew=20.0), money=200.0, vessels=4, days=40.0)
    found = plan_trial(TWO, Scatter(brew_log_sd=0.1, test_log_sd=0.6), budget, simulations=40)
    assert found.tests_worth_making == approx(math.sqrt(2.0) * 6.0)


def test_what_sampling_times_are_judged_by() -> None:
    # On paper: two draws; information matrices diag(5, 2) and diag(2, 9) with a prior of one: mean log determinant.
    rows = np.array([[[2.0, 0.0], [0.0, 1.0]], [[1.0, 0.0], [0.0, math.sqrt(8.0)]]])
    prior = np.eye(2)
    assert _criterion(rows, prior, None) == approx(0.5 * (math.log(10.0) + math.log(18.0)))
    aims = np.array([[1.0, 2.0]])
    assert _criterion(rows, prior, aims) == approx(-0.5 * (math.log(1 / 5 + 4 / 2) + math.log(1 / 2 + 4 / 9)))
    own = np.array([[1.0, 2.0], [0.0, 1.0]])
    assert _criterion(rows, prior, own) == approx(-0.5 * (math.log(1 / 5 + 4 / 2) + math.log(1 / 9)))
    assert _criterion(rows[:, :1] * 0.0, np.zeros((2, 2)), None) == -math.inf
    assert _even(101, 3) == [0, 50, 100] and _crowded(101, 3, 2.0) == [0, 26, 100] and _crowded(101, 3, 0.5) == [14, 71, 100]


def test_a_decay_is_best_sampled_at_its_time_constant() -> None:
    # Exponential decay from a known start is best sampled at its time constant (Box and Lucas 1959, from memory: t = 1/k).
    times_found = optimal_times(lambda t: (-t * np.exp(-0.2 * t))[:, None], samples=1, start_h=0.0, end_h=30.0)
    assert times_found.times_h[0] == approx(5.0, abs=0.01) and times_found.most_sensitive == approx(1.0, rel=1e-3)


def test_what_is_believed_of_arms_is_drawn_towards_their_middle() -> None:
    # By hand: brews 1, 3 of the first, 5 of the second, none of the third; means 2 and 5, centre 3.5; sd 0.5, prior 1.
    mean, error = believed(np.array([1.0, 3.0, 5.0]), np.array([0, 0, 1]), 3, 0.5)
    assert mean == approx([(4.0 / 0.25 + 3.5) / 9.0, (5.0 / 0.25 + 3.5) / 5.0, 3.5]) and error == approx(
        [1 / 3, 1 / math.sqrt(5.0), 1.0]
    )
    # Within arms: 1, 3 and 5, 5, 8: 2 + 6 on three degrees.
    assert _scatter(np.array([1.0, 3.0, 5.0, 5.0, 8.0]), np.array([0, 0, 1, 1, 1]), 2) == approx(math.sqrt(8.0 / 3.0))
    assert _scatter(np.array([2.0, 2.0]), np.array([0, 0]), 1) == 1e-6
