"""The planner: what a budget can answer, and that power promised is power found."""

from __future__ import annotations

import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from aerobe.errors import NotEnoughData, NotFound, UnusableRecord
from aerobe.records import Arm, Assay, AssayError, Brew, Costs, Reading, Trial
from aerobe.trials import (
    SAME_DAY_BOTTLES,
    WEEKLY_BATCHES,
    Budget,
    Plot,
    Scatter,
    Simulating,
    Tested,
    controls_for,
    factorial,
    plan_trial,
    plots_of,
    power_of,
    propose_next,
    randomised,
    scatter_from,
    scatter_of_testing,
    told_through_model,
    with_controls,
)
from aerobe.verdicts import BrewResult, brew_results, judge, power_of_difference

ARMS = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
TWO = Trial(key="t", name="Kelp or plain", question="two recipes", arms=ARMS, margin_ratio=1.6)
QUIET = Scatter(brew_log_sd=0.25, test_log_sd=0.1, day_log_sd=0.6)


def budget(money: float = 2000.0, **more) -> Budget:
    return Budget(costs=Costs(test=10.0, brew=20.0), money=money, **{"vessels": 4, "days": 40.0, **more})


def test_power_of_an_unblocked_trial_is_the_power_of_the_textbook() -> None:
    # R 4.2.2 power.t.test(n = 8, delta = 1.6) gives 0.8448; one round of all brews leaves no block to estimate.
    trial = replace(TWO, margin_ratio=math.exp(1.6))
    plots = plots_of(2, 8, 16)
    found = power_of(trial, plots, Scatter(brew_log_sd=1.0, test_log_sd=0.0), 1, simulations=20000)
    assert found.told == pytest.approx(power_of_difference(1.6, 8), abs=0.012)
    assert found.told == pytest.approx(0.844793, abs=0.012)
    assert found.false_claims == pytest.approx(0.05, abs=0.006)


def test_the_detectable_ratio_is_told_four_times_in_five() -> None:
    plots = plots_of(2, 6, 4)
    first = power_of(TWO, plots, QUIET, 1)
    again = power_of(replace(TWO, margin_ratio=first.detectable_ratio), plots, QUIET, 1, seed=2)
    assert again.told == pytest.approx(0.8, abs=0.03)


def test_the_recommended_design_answers_within_the_budget_and_is_the_cheapest_that_does() -> None:
    plan = plan_trial(TWO, QUIET, budget(), simulations=2000)
    best = plan.recommended
    assert plan.can_answer and best is not None and best.power.told >= 0.8 and best.cost <= 2000
    assert all(design.cost >= best.cost for design in plan.alternatives if design.power.told >= 0.8)
    assert str(best.brews_per_arm) in plan.words


def test_controls_are_paid_for_and_listed() -> None:
    best = plan_trial(TWO, QUIET, budget(), simulations=500).recommended
    assert best is not None and "killed control" in best.controls.roles
    brews = 2 * best.brews_per_arm
    assert best.tests == brews * (best.tests_per_brew + 1) + best.rounds
    assert best.cost == pytest.approx(brews * 20 + best.tests * 10)


def test_a_budget_that_cannot_answer_says_so_with_the_number_it_would_take() -> None:
    plan = plan_trial(TWO, WEEKLY_BATCHES, budget(600.0), simulations=500)
    assert not plan.can_answer
    assert plan.words.startswith("Your budget cannot answer")
    # It would take some hundred brews of each arm, which is no advice.
    assert power_of_difference(math.log(1.6) / WEEKLY_BATCHES.of_brew_mean(1), 80) < 0.8
    assert "No number of brews that one person makes" in plan.words
    fewer = plan_trial(TWO, QUIET, budget(300.0), simulations=500)
    needed = int(fewer.words.split("about ")[1].split(" brews")[0])
    assert power_of_difference(math.log(1.6) / QUIET.of_brew_mean(1), needed) >= 0.8
    assert "instead" in fewer.words
    # With two brews of each it would be a ratio of a thousand. No food does that (common practice, no source): no question.
    few = plan_trial(TWO, WEEKLY_BATCHES, budget(200.0), simulations=500)
    assert "instead" not in few.words and "more alike" in few.words


def test_every_hour_of_sampling_is_paid_for() -> None:
    thrice = plan_trial(TWO, QUIET, budget(tests=100, samplings=3), simulations=500).recommended
    assert thrice is not None
    # By hand: each brew is tested at three hours, with its killed control each time; the blank of a round is made once.
    assert thrice.tests == 3 * 2 * thrice.brews_per_arm * (thrice.tests_per_brew + 1) + thrice.rounds
    assert thrice.tests <= 100


def test_a_budget_below_two_brews_has_no_design() -> None:
    plan = plan_trial(TWO, QUIET, budget(50.0), simulations=100)
    assert plan.recommended is None and "two brews of each arm" in plan.words


def test_few_days_and_few_tests_limit_as_money_does() -> None:
    assert plan_trial(TWO, QUIET, budget(days=3.0), simulations=100).recommended.brews_per_arm == 2
    assert plan_trial(TWO, QUIET, budget(tests=14), simulations=100).recommended.tests <= 14


def test_cheap_noisy_tests_are_repeated_and_good_ones_are_not() -> None:
    noisy = plan_trial(TWO, Scatter(brew_log_sd=0.1, test_log_sd=0.6), budget(), simulations=500)
    assert noisy.tests_worth_making > 5 and noisy.recommended.tests_per_brew > 1
    assert plan_trial(TWO, SAME_DAY_BOTTLES, budget(), simulations=500).recommended.tests_per_brew == 1


def test_more_arms_need_more_brews() -> None:
    several = Trial(
        key="s",
        name="x",
        question="several against a standard",
        margin_ratio=1.6,
        arms=(*ARMS, Arm(key="fish", recipe="fish"), Arm(key="humic", recipe="humic")),
    )
    plots = {2: plots_of(2, 4, 2), 4: plots_of(4, 4, 4)}
    assert power_of(several, plots[4], QUIET, 1).told < power_of(TWO, plots[2], QUIET, 1).told + 0.05
    assert power_of(several, plots[4], QUIET, 1).false_claims < 0.06


def test_a_trial_without_margin_is_sent_back() -> None:
    with pytest.raises(UnusableRecord, match="worth having"):
        plan_trial(replace(TWO, margin_ratio=1.0), QUIET, budget())


COLOURS = (5.0, 12.0)  # signal of the plain and of the darker tea without cells [ug C/mL]


# --- promised and found -------------------------------------------------------------------------------------------------------


def measured_trial(rng: np.random.Generator, plots: tuple[Plot, ...], effect: float, scatter: Scatter, assay: Assay):
    """Readings of a whole trial through the assay, colour and killed controls included, as records."""
    start = datetime(2026, 5, 1, tzinfo=UTC)
    brews, readings = [], []
    days = rng.normal(0, scatter.day_log_sd, 1 + max(plot.round for plot in plots))
    for i, plot in enumerate(plots):
        arm = ARMS[plot.arm]
        truth = 40.0 * math.exp(effect * plot.arm + days[plot.round] + rng.normal(0, scatter.brew_log_sd))
        colour = COLOURS[plot.arm]
        brews.append(
            Brew(
                key=f"b{i}",
                name="b",
                recipe=arm.recipe,
                vessel=f"v{plot.place}",
                started_at=start,
                arm=arm.key,
                block=str(plot.round),
            )
        )
        for role, signal in (("sample", truth + colour), ("killed control", colour)):
            sd = math.hypot(assay.error.constant_sd, assay.error.proportional_cv * signal)
            value = signal + rng.normal(0, sd)
            readings.append(
                Reading(
                    key=f"r{i}{role[0]}",
                    brew=f"b{i}",
                    assay="a",
                    role=role,
                    elapsed_h=24.0,
                    signal=value,
                    unit="ug C/mL",
                    typed_as=f"{value:g}",
                )
            )
    return brew_results(brews, readings, {"a": assay})


@pytest.mark.parametrize(("brews", "per_round", "margin"), [(6, 4, 1.6), (4, 2, 2.2)])
def test_power_promised_is_power_found(brews: int, per_round: int, margin: float) -> None:
    trial = replace(TWO, margin_ratio=margin)
    plots = plots_of(2, brews, per_round)
    error = AssayError(constant_sd=0.3, proportional_cv=0.1)
    testing = [scatter_of_testing(error, level=40.0, colour=colour) for colour in COLOURS]
    scatter = replace(QUIET, test_log_sd=math.hypot(*testing) / math.sqrt(2))
    promised = power_of(trial, plots, scatter, 1, simulations=20000).told
    assay = Assay(key="a", name="card", method="colour test", error=error)
    rng = np.random.default_rng(17)
    calls = [
        judge(trial, measured_trial(rng, randomised(plots, 2, rng), math.log(margin), QUIET, assay), extent="without check")
        .comparisons[0]
        .call
        for _ in range(900)
    ]
    found = calls.count("better") / len(calls)
    # Within 3 points, allowing for the error of counting 900 trials.
    assert abs(found - promised) < 0.03 + 2 * math.sqrt(0.25 / 900)
    assert calls.count("worse") < 5


def steady(rng: np.random.Generator, arm: str, times_h, world: int) -> np.ndarray:
    """A brew model for the tests: kelp doubles the biomass at every time."""
    return np.array([40.0 * (2.0 if arm == "kelp" else 1.0) for _ in times_h])


def test_power_through_a_brew_model_reports_progress_and_does_not_depend_on_the_workers() -> None:
    plots, error, seen = plots_of(2, 4, 4), AssayError(constant_sd=0.3, proportional_cv=0.1), []
    tested = Tested(error=error, at_h=24.0)
    alone = Simulating(simulations=300, progress=lambda done, all_: seen.append((done, all_)))
    here = told_through_model(TWO, plots, QUIET, steady, tested, alone)
    with ProcessPoolExecutor(2) as pool:
        there = told_through_model(TWO, plots, QUIET, steady, tested, Simulating(simulations=300, executor=pool))
    assert here == there
    assert seen == [(100, 300), (200, 300), (300, 300)]
    assert here.median_ratio[0] == pytest.approx(2.0, rel=0.1) and here.true_ratio[0] == pytest.approx(2.0)
    assert here.wrong[0] == 0.0
    closed = power_of(replace(TWO, margin_ratio=2.0), plots, QUIET, 1, simulations=20000).told
    assert here.better[0] == pytest.approx(closed, abs=0.08)


def test_a_design_without_replicates_cannot_be_simulated() -> None:
    with pytest.raises(NotEnoughData):
        tested = Tested(error=AssayError(constant_sd=0.3, proportional_cv=0.1), at_h=1.0)
        told_through_model(TWO, plots_of(2, 1, 2), QUIET, steady, tested, Simulating(simulations=2))


# --- layouts, factorials, controls ---------------------------------------------------------------------------------------------


def test_complete_rounds_hold_every_arm_equally() -> None:
    for plots in (plots_of(3, 4, 6), randomised(plots_of(3, 4, 6), 3, np.random.default_rng(1))):
        for one in {plot.round for plot in plots}:
            arms = [plot.arm for plot in plots if plot.round == one]
            assert {arms.count(arm) for arm in range(3)} == {2}


def test_arms_move_through_the_vessels() -> None:
    plots = randomised(plots_of(4, 4, 4), 4, np.random.default_rng(5))
    # Four rounds of four arms in four vessels: a Latin square, every arm once in every vessel.
    assert {(plot.arm, plot.place) for plot in plots} == {(arm, place) for arm in range(4) for place in range(4)}


def test_incomplete_rounds_still_compare_all_arms() -> None:
    several = Trial(
        key="s",
        name="x",
        question="several against a standard",
        margin_ratio=4.0,
        arms=tuple(Arm(key=f"a{i}", recipe=f"a{i}") for i in range(5)),
    )
    found = power_of(several, plots_of(5, 6, 2), QUIET, 1)
    assert found.told > 0.5 and found.false_claims < 0.06


def test_the_seed_draws_the_same_layout_and_another_seed_another() -> None:
    plots = plots_of(3, 4, 3)
    same = [randomised(plots, 3, np.random.default_rng(9)) for _ in range(2)]
    assert same[0] == same[1] != randomised(plots, 3, np.random.default_rng(10))


@pytest.mark.parametrize(
    ("factors", "runs", "resolution"),
    # NIST/SEMATECH e-Handbook 5.3.3.4.7, summary table of two-level fractions (from memory).
    [
        (3, 4, "III"),
        (4, 8, "IV"),
        (5, 16, "V"),
        (5, 8, "III"),
        (6, 32, "VI"),
        (6, 16, "IV"),
        (6, 8, "III"),
        (7, 64, "VII"),
        (7, 32, "IV"),
        (7, 16, "IV"),
        (7, 8, "III"),
    ],
)
def test_fractions_have_the_resolution_of_the_handbook(factors: int, runs: int, resolution: str) -> None:
    design = factorial({f"f{i}": (0.0, 1.0) for i in range(factors)}, runs=runs)
    codes = np.array([[2 * arm.levels[f"f{i}"] - 1 for i in range(factors)] for arm in design.arms])
    assert design.resolution == resolution and design.runs == runs
    assert np.array_equal(codes.T @ codes, runs * np.eye(factors))  # main effects balanced and orthogonal


def test_aliases_are_named() -> None:
    design = factorial({"molasses": (0.0, 2.0), "kelp": (0.0, 1.0), "air": (1.0, 3.0)}, runs=4)
    assert "molasses = kelp x air" in design.aliases
    assert factorial({"molasses": (0.0, 2.0), "kelp": (0.0, 1.0)}).aliases == ()


def test_a_fraction_that_does_not_exist_lists_those_that_do() -> None:
    with pytest.raises(NotFound, match="8, 16, 32"):
        factorial({f"f{i}": (0.0, 1.0) for i in range(5)}, runs=12)
    with pytest.raises(UnusableRecord, match="same low and high"):
        factorial({"a": (1.0, 1.0), "b": (0.0, 1.0)})


def test_controls_come_without_being_asked_for() -> None:
    field = Trial(key="p", name="x", question="field response", outcome="yield", arms=(Arm(key="tea", recipe="kelp"),))
    assert {arm.key for arm in with_controls(field).arms} == {"tea", "water", "compost-solids"}
    assert next(arm for arm in with_controls(field).arms if arm.key == "water").is_standard
    series = Trial(key="d", name="x", question="dose series", arms=(Arm(key="d1", recipe="d1", dose=1.0),))
    assert any(arm.dose == 0.0 for arm in with_controls(series).arms)
    assert with_controls(with_controls(series)) == with_controls(series)
    assert controls_for(TWO, colour_sensitive=True).roles == ("killed control",)
    assert controls_for(TWO, colour_sensitive=True).round_roles == ("blank",)
    assert "killed control" not in controls_for(TWO, colour_sensitive=False).roles


# --- learning -------------------------------------------------------------------------------------------------------------------


def test_scatter_is_learnt_from_past_brews() -> None:
    rng = np.random.default_rng(4)
    past = [
        BrewResult(brew=f"{d}-{a}-{i}", arm=a, block=str(d), value=math.exp(rng.normal(3 + day, 0.3)))
        for d, day in enumerate(rng.normal(0, 1, 12))
        for a in ("x", "y")
        for i in range(2)
    ]
    found = scatter_from(past)
    assert found.brew_log_sd == pytest.approx(0.3, rel=0.25) and found.day_log_sd > 0.5
    with pytest.raises(NotEnoughData):
        scatter_from(past[:2])


def brewed(values: dict[str, tuple[float, ...]], **more) -> list[BrewResult]:
    return [
        BrewResult(brew=f"{arm}-{i}", arm=arm, value=value, **more) for arm, row in values.items() for i, value in enumerate(row)
    ]


def test_the_next_trial_settles_colour_first() -> None:
    verdict = judge(TWO, brewed({"plain": (10, 11, 10.5), "kelp": (30, 31, 33)}, colour_sensitive=True))
    proposal = propose_next(TWO, verdict, key="next")
    assert proposal.trial is not None and "killed control" in proposal.because[0]


def test_the_next_trial_drops_arms_that_cannot_be_best() -> None:
    arms = (*ARMS, Arm(key="fish", recipe="fish"))
    trial = Trial(key="s", name="x", question="several against a standard", arms=arms, margin_ratio=1.3)
    verdict = judge(trial, brewed({"plain": (10, 11, 10.5, 9), "kelp": (15, 12, 8, 9.5), "fish": (0.1, 0.2, 0.1, 0.1)}))
    proposal = propose_next(trial, verdict, key="next")
    assert proposal.trial is not None and [arm.key for arm in proposal.trial.arms] == ["plain", "kelp"]
    assert proposal.trial.question == "two recipes" and proposal.brews_per_arm > 4


def test_the_next_trial_goes_up_while_the_outcome_rises() -> None:
    arms = tuple(Arm(key=f"d{d:g}", recipe=f"d{d:g}", dose=d) for d in (0.0, 1.0, 2.0))
    trial = Trial(key="d", name="x", question="dose series", arms=arms)
    rng = np.random.default_rng(3)
    values = {arm.key: tuple(np.exp(1 + arm.dose + rng.normal(0, 0.05, 4))) for arm in arms}
    proposal = propose_next(trial, judge(trial, brewed(values)), key="next")
    assert max(arm.dose for arm in proposal.trial.arms) > 2.0


def test_a_settled_question_proposes_nothing() -> None:
    verdict = judge(TWO, brewed({"plain": (10, 11, 10.5), "kelp": (30, 31, 33)}))
    assert propose_next(TWO, verdict, key="next").trial is None
