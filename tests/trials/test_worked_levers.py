"""Numbers of what helps a plan, of quick counts corrected by whole verdicts, and of lost brews: by hand, or by scipy."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.errors import NotEnoughData
from aerobe.records import AssayError, Costs, Trial
from aerobe.trials import (
    Budget,
    Circumstances,
    Design,
    Plot,
    Power,
    Scatter,
    Simulating,
    Tested,
    checked_power,
    plots_of,
    propose_next,
    scatter_of_testing,
    told_through_model,
    weighted_plots,
)
from aerobe.trials import _checked as checked_module
from aerobe.trials import _levers as levers_module
from aerobe.trials._budget import cost_of
from aerobe.trials._checked import _one_trial
from aerobe.trials._levers import rank_levers
from aerobe.trials._power import _stands_with_lost, power_from
from aerobe.verdicts import FULL, BrewResult, judge
from tests.trials.test_promises import TWO, several
from tests.trials.test_worked_plans import CONTROLS, power


def plan(counts: tuple[int, ...], per_round: int, tests: int = 2) -> Design:
    plots = weighted_plots(counts, per_round)
    return Design(
        brews_per_arm=min(counts),
        brews_of=counts,
        tests_per_brew=tests,
        plots=plots,
        rounds=1 + max(plot.round for plot in plots),
        controls=CONTROLS,
        tests=0,
        cost=0.0,
        power=power(0.3),
    )


def test_each_lever_changes_what_it_says_and_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    # By hand: the power stands in by a line of its own for each thing that a lever may change.
    asked: list[tuple[int, ...]] = []

    def line(
        trial: Trial, plots: Sequence[Plot], scatter: Scatter, tests: int, *, given: Circumstances, simulations: int
    ) -> Power:
        asked.append(tuple(plot.arm for plot in plots))
        told = 0.01 * len(plots) - 0.2 * scatter.brew_log_sd - 0.3 * scatter.test_log_sd + 0.05 * given.control_tests
        return power(told + 0.1 * trial.margin_ratio + 0.02 * tests)

    monkeypatch.setattr(levers_module, "power_of", line)
    scatter, dark = Scatter(brew_log_sd=0.5, test_log_sd=0.4), Circumstances(colour=2.0, control_tests=1)
    trial = replace(TWO, margin_ratio=1.7)
    budget = Budget(costs=Costs(test=9.0, brew=21.0), money=500.0, samplings=1)
    found = rank_levers(trial, scatter, dark, plan((5, 5), 4), budget, short=0.1)
    # 0.1 - 0.1 - 0.12 + 0.05 + 0.17 + 0.04 less 0.1: 0.04 as it is.
    more = cost_of(budget, CONTROLS, 20, 2, 6)[1]  # twice ten brews in twice three rounds; the plan is said to cost nothing
    told = {one.name: (one.told, one.gain, one.cost) for one in found}
    assert told == {
        "all that cost nothing": (approx(0.23), approx(0.19), 0.0),  # 0.2 for 0.5, and 3 for 1.7
        "same day and heap": (approx(0.10), approx(0.06), 0.0),  # 0.2 for 0.5
        "controls": (approx(0.09), approx(0.05), 90.0),  # one more test of each of ten brews
        "repeated tests": (approx(0.06), approx(0.02), 90.0),  # a third test of each
        "better test": (approx(0.10), approx(0.06), None),  # 0.2 for 0.4
        "more brews": (approx(0.14), approx(0.10), more),
        "larger difference": (approx(0.17), approx(0.13), 0.0),  # 3 for 1.7: 2 is not a fifth more
    }
    per_100 = {one.name: one.gain_per_100 for one in found}
    assert per_100["controls"] == approx(100 * 0.05 / 90) and per_100["more brews"] == approx(100 * 0.10 / more)
    # Free ones by their gain, priced ones by gain for the money, then what nobody has priced; what hardly helps is last.
    free, unpriced = ["all that cost nothing", "larger difference", "same day and heap"], ["better test"]
    priced = sorted(["controls", "more brews"], key=lambda name: -(per_100[name] or 0.0))
    assert [one.name for one in found] == [*free, *priced, *unpriced, "repeated tests"]
    assert [one.name for one in found if not one.helps] == ["repeated tests"]
    assert "twice" in next(one for one in found if one.name == "controls").words
    # Brews as the plan has them, and twice as many; equal numbers in rounds of fewer than the arms with a growing stride.
    assert asked[0] == tuple(plot.arm for plot in plots_of(2, 5, 4)) and len(asked[5]) == 20
    asked.clear()
    three = several(2)
    apart = rank_levers(three, scatter, dark, plan((2, 2, 2), 2), budget)
    assert asked[0] == (0, 1, 2, 1, 0, 2)
    assert sorted(asked[2][:3]) == sorted(asked[2][3:]) == [0, 1, 2]  # side by side: all arms in each round
    assert "side by side" in [one.name for one in apart]
    asked.clear()
    rank_levers(three, scatter, dark, plan((4, 2, 2), 4), budget)
    assert asked[0] == (0, 1, 2, 0, 0, 1, 2, 0) and sorted(asked[5]) == [0] * 8 + [1] * 4 + [2] * 4
    # Nothing that would do nothing: alike brews, clear tea, two controls, and a power at nought stays there.
    tidy = rank_levers(trial, Scatter(brew_log_sd=0.24, test_log_sd=0.1), Circumstances(), plan((5, 5), 4), budget)
    assert [one.name for one in tidy if one.helps] == ["larger difference", "more brews"]
    twice = Circumstances(colour=2.0, control_tests=2)
    assert "controls" not in [one.name for one in rank_levers(trial, scatter, twice, plan((5, 5), 4), budget)]
    hopeless = rank_levers(replace(trial, margin_ratio=4.5), scatter, dark, plan((5, 5), 4), budget, short=9.0)
    assert [one.gain for one in hopeless] == [0.0] * len(hopeless) and not any(one.helps for one in hopeless)


@pytest.fixture
def scripted(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[tuple[bool, bool]]]:
    pairs: list[tuple[bool, bool]] = []
    monkeypatch.setattr(checked_module, "_one_trial", lambda *_: pairs.pop(0))
    yield pairs


def test_a_quick_count_is_corrected_by_whole_verdicts_as_far_as_they_can_be_believed(scripted: list[tuple[bool, bool]]) -> None:
    # By hand: of 100 trials 30 are told by the quick count alone, none by the verdict alone: -0.3, with an error of
    # root(0.3 x 0.7) / 10 = 0.0458; three squared errors are taken off: -0.3 (1 - 3 x 0.0021 / 0.09) = -0.279.
    scripted += [(False, True)] * 30 + [(True, True)] * 40 + [(False, False)] * 30
    plots, scatter = plots_of(2, 4, 8), Scatter(brew_log_sd=0.3, test_log_sd=0.1)
    quick = replace(power(0.8, 0.02), assurance=0.7)
    found = checked_power(TWO, plots, scatter, 1, quick, trials=100)
    assert (found.told, found.assurance) == approx((0.8 - 0.279, 0.7 - 0.279))
    assert found.standard_error == approx(math.hypot(0.02, math.sqrt(0.21) / 10.0))
    # Two of a hundred are chance: 3 x 0.0196 / 100 is more than 0.02 squared. None is none.
    scripted += [(True, False)] * 2 + [(True, True)] * 98
    assert checked_power(TWO, plots, scatter, 1, quick, trials=100).told == 0.8
    scripted += [(True, True)] * 100
    assert checked_power(TWO, plots, scatter, 1, quick, trials=100).told == 0.8
    # Never above 0.999 nor below nought.
    scripted += [(True, False)] * 100
    assert checked_power(TWO, plots, scatter, 1, quick, trials=100).told == 0.999
    scripted += [(False, True)] * 100
    assert checked_power(TWO, plots, scatter, 1, quick, trials=100).assurance == 0.0
    # 200 trials for one comparison, 60 for two, none for more.
    scripted += [(True, True)] * 260
    checked_power(TWO, plots, scatter, 1, quick)
    checked_power(several(2), plots_of(3, 4, 3), scatter, 1, quick)
    assert scripted == [] and checked_power(several(3), plots_of(4, 4, 4), scatter, 1, quick) is quick


def test_days_that_no_block_takes_out_count_as_scatter() -> None:
    # scipy's noncentral t: four brews an arm, each alone on its day; 0.05 between brews and 0.5 between days, an effect of e.
    trial, plots = replace(TWO, margin_ratio=math.e), plots_of(2, 4, 1)
    df, shift = 6, math.sqrt(2.0) / math.hypot(0.05, 0.5)
    exact = stats.nct.sf(stats.t.ppf(0.975, df), df, shift)
    scatter, rng = Scatter(brew_log_sd=0.05, test_log_sd=0.0, day_log_sd=0.5), np.random.default_rng(3)
    told = np.mean([_one_trial(trial, plots, scatter, 1, Circumstances(), rng) for _ in range(60)], axis=0)
    assert told == approx([exact, exact], abs=3.0 * math.sqrt(exact * (1.0 - exact) / 60.0)) and exact < 0.7


def test_what_is_told_stands_with_lost_brews_at_the_far_end_of_their_arm() -> None:
    # scipy's t test (both arms scatter alike, so the common scatter is lent) with the lost brews at the lowest of the second arm
    # or the highest of the first: told where both p values are below 0.05.
    first, second = np.array([0.0, 0.3, -0.3, 0.15, -0.15, 0.0]), np.array([0.0, 0.3, -0.3, 0.15, -0.15, 0.0])
    arms = [Plot(arm=arm, round=0, place=i) for i, arm in enumerate([0] * 6 + [1] * 6)]
    for gone_arm in (0, 1):
        lost = [Plot(arm=gone_arm, round=0, place=12 + i) for i in range(2)]
        rows = np.array([[-1.0, 1.0]])
        effects = np.linspace(0.2, 0.8, 61)
        real = np.array([[*first, *(second + effect)] for effect in effects])
        ends = (
            [np.array([*first, *[first.max()] * 2]), second]
            if gone_arm == 0
            else [first, np.array([*second, *[second.min()] * 2])]
        )
        exact = [stats.ttest_ind(ends[1] + effect, ends[0]).pvalue < 0.05 for effect in effects]
        stands = _stands_with_lost(real, arms, lost, rows, np.zeros(1), math.log(1.5), FULL)
        whole = [stats.ttest_ind(second + effect, first).pvalue < 0.05 for effect in effects]
        assert list(stands) == exact and sum(whole) > sum(exact) + 5
        told = power_from(TWO, arms, real, real, lost=lost).told
        assert told == approx(np.mean(np.array(stands) & whole), abs=0.02)
    assert _stands_with_lost(real, arms, [], rows, np.zeros(1), math.log(1.5), FULL).all()


def test_trials_through_a_model_have_the_power_of_the_law_they_follow() -> None:
    # scipy's noncentral t: the second recipe grows e^0.5 as much, 0.3 between brews, eight brews an arm, an exact test.
    def grow(rng: np.random.Generator, arm: str, times_h: Sequence[float], world: int) -> np.ndarray:
        assert list(times_h) == [24.0]
        return np.array([10.0 * (math.exp(0.5) if arm == "kelp" else 1.0) * (1.0 + world)])

    seen: list[tuple[int, int]] = []
    scatter = Scatter(brew_log_sd=0.3, test_log_sd=0.5, day_log_sd=1.0)
    exact_test = AssayError(constant_sd=1e-9, proportional_cv=0.0)
    tested = Tested(error=exact_test, at_h=24.0)
    simulating = Simulating(simulations=250, progress=lambda *at: seen.append(at))
    found = told_through_model(TWO, plots_of(2, 8, 16), scatter, grow, tested, simulating)
    exact = stats.nct.sf(stats.t.ppf(0.975, 14), 14, 0.5 / 0.3 * 2.0)
    assert found.better[0] == approx(exact, abs=0.05) and found.worse == found.wrong == (0.0,)
    assert found.true_ratio[0] == approx(math.exp(0.5)) and found.median_ratio[0] == approx(math.exp(0.5), abs=0.05)
    assert seen == [(100, 250), (200, 250), (250, 250)] and found.simulations == 250
    with pytest.raises(NotEnoughData):
        told_through_model(TWO, plots_of(2, 1, 2), scatter, grow, tested, Simulating(simulations=2))


def test_a_tea_said_to_be_clear_has_no_colour() -> None:
    # On paper: constant error 2 and a tenth of 20, and the control's 2: root(4 + 4 + 4) / 20.
    assert scatter_of_testing(AssayError(constant_sd=2.0, proportional_cv=0.1), level=20.0) == approx(math.sqrt(12.0) / 20.0)


def test_a_search_goes_on_with_the_arms_that_may_be_best() -> None:
    # By hand: two of four lead by a factor of ten over brews that differ by a tenth; the standard stays, the last goes.
    trial = several(3, margin=1.2)
    levels = {"plain": 1.0, "r0": 10.0, "r1": 10.5, "r2": 0.5}
    results = [
        BrewResult(brew=f"{key}{i}", arm=key, value=level * math.exp(0.1 * math.sin(5 * i + level)), block=str(i))
        for key, level in levels.items()
        for i in range(3)
    ]
    found = propose_next(trial, judge(trial, results, extent="without check"), key="next")
    assert found.trial is not None and [arm.key for arm in found.trial.arms] == ["plain", "r0", "r1"]
    brews_of = dict(found.brews_of)
    assert sum(brews_of.values()) == 2 * 3 and brews_of["r0"] + brews_of["r1"] >= 5 and found.may_stop
    assert found.because[0].startswith("Drop r2")
