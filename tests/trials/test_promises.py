"""Power promised is power found: in dark tea, with lost brews, and when the scatter is known from few brews; and what helps."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from aerobe.errors import UnusableRecord
from aerobe.records import Arm, Costs, Trial
from aerobe.trials import (
    ONE_DAY_AND_HEAP,
    SCATTERS,
    WEEKLY_BATCHES,
    Budget,
    Circumstances,
    Scatter,
    checked_power,
    informed,
    plan_trial,
    plots_of,
    power_of,
    randomised,
    weighted_plots,
)
from benchmarks.is_promised_power_found import TRAPS, found_power
from tests.fewer import fewer_trials

PLAIN = Arm(key="plain", recipe="plain", is_standard=True)
TWO = Trial(key="t", name="x", question="two recipes", margin_ratio=1.5, arms=(PLAIN, Arm(key="kelp", recipe="kelp")))
SPREAD = Scatter(brew_log_sd=0.3, test_log_sd=0.15, day_log_sd=0.5)


def several(others: int, margin: float = 1.8) -> Trial:
    arms = (PLAIN, *(Arm(key=f"r{i}", recipe=f"r{i}") for i in range(others)))
    return Trial(key="s", name="x", question="several against a standard", margin_ratio=margin, arms=arms)


@pytest.mark.parametrize(
    "name", ["clear", pytest.param("dark tea, brews lost", marks=pytest.mark.night), "scatter of four brews"]
)
def test_promised_power_is_found_by_the_very_verdict(name: str) -> None:
    case = TRAPS[name]
    promised = case.promised(simulations=8000)
    found = found_power(case, 200, seed=5)
    error = math.sqrt(promised * (1 - promised) / 200)
    assert abs(promised - found) < 0.04 + 2.0 * error


def test_the_very_verdict_corrects_the_quick_count_and_agrees_where_nothing_goes_wrong() -> None:
    # SD known, no blocks, 12 brews each: the textbook's noncentral t (statsmodels' TTestIndPower) says 0.90 for 1.386 SDs.
    scatter = Scatter(brew_log_sd=0.5, test_log_sd=0.0)
    plots = plots_of(2, 12, 24)
    trial = replace(TWO, margin_ratio=2.0)
    quick = power_of(trial, plots, scatter, 1, simulations=8000)
    checked = checked_power(trial, plots, scatter, 1, quick, trials=60)
    assert checked.told == pytest.approx(0.90, abs=0.03)
    given = Circumstances(lost=0.2)
    lost = power_of(trial, plots, scatter, 1, given=given, simulations=2000)
    assert checked_power(trial, plots, scatter, 1, lost, given=given, trials=60).told < checked.told - 0.1


def test_dark_tea_and_lost_brews_take_power_away() -> None:
    plots = plots_of(2, 12, 4)
    clear = power_of(TWO, plots, SPREAD, 1).told
    dark = power_of(TWO, plots, SPREAD, 1, given=Circumstances(colour=2.0)).told
    lost = power_of(TWO, plots, SPREAD, 1, given=Circumstances(colour=2.0, lost=0.15)).told
    assert clear > dark + 0.1 > lost + 0.1


def test_a_scatter_from_four_brews_gives_less_than_it_seems() -> None:
    # 16 of each arm, SD known: about 80 %. Known from 4 degrees of freedom the average is lower.
    known = Scatter(brew_log_sd=0.4, test_log_sd=0.0)
    guessed = replace(known, df=4.0)
    found = power_of(TWO, plots_of(2, 16, 32), guessed, 1, simulations=8000)
    assert found.told == pytest.approx(power_of(TWO, plots_of(2, 16, 32), known, 1, simulations=8000).told, abs=0.02)
    assert found.assurance < found.told - 0.05
    # by hand: the average over the chi-squared law of the textbook's power
    from aerobe.verdicts import power_of_difference

    middles = (np.arange(400) + 0.5) / 400
    from scipy.stats import chi2

    sds = 0.4 * np.sqrt(4.0 / chi2.ppf(middles, 4.0))
    by_hand = float(np.mean([power_of_difference(math.log(1.5) / sd, 16) for sd in sds]))
    assert found.assurance == pytest.approx(by_hand, abs=0.025)


def test_a_standard_that_all_are_compared_with_gets_more_brews_and_that_pays() -> None:
    trial = several(4)
    # 30 brews each, side by side; in rounds that hold all arms the vessels can be taken out, and equal numbers are no worse.
    equal = power_of(trial, plots_of(5, 6, 30), SPREAD, 1, simulations=8000)
    more = power_of(trial, weighted_plots((10, 5, 5, 5, 5), 30), SPREAD, 1, simulations=8000)
    assert more.told > equal.told - 0.03
    in_squares = power_of(trial, plots_of(5, 6, 5), SPREAD, 1, simulations=2000)
    assert in_squares.told > power_of(trial, weighted_plots((10, 5, 5, 5, 5), 5), SPREAD, 1, simulations=2000).told - 0.02
    # Four vessels hold no whole set of seven arms.
    with fewer_trials():
        plan = plan_trial(several(6), SPREAD, Budget(costs=Costs(test=10.0, brew=20.0), money=6000.0, vessels=4, days=90.0))
    best = plan.recommended
    assert best is not None and best.answers and best.brews_of[0] > best.brews_of[1] == best.brews_per_arm
    assert "of the standard" in plan.words and best.tests == sum(best.brews_of) * (best.tests_per_brew + 1) + best.rounds


def test_arms_of_different_size_are_spread_over_rounds_and_drawn_without_mixing_them_up() -> None:
    plots = weighted_plots((6, 3, 3), 4)
    drawn = randomised(plots, 3, np.random.default_rng(2))
    assert [sum(plot.arm == arm for plot in drawn) for arm in range(3)] == [6, 3, 3]
    for number in range(3):
        members = [plot for plot in drawn if plot.round == number]
        assert sorted(plot.place for plot in members) == [0, 1, 2, 3]
        assert [sum(plot.arm == arm for plot in members) for arm in range(3)] == [2, 1, 1]


# By day each number of arms and of vessels twice but for the middle; all at night.
BY_DAY = {(3, 1), (3, 5), (4, 2), (6, 1), (6, 5)}
EACH = [
    pytest.param(arms, vessels, marks=() if (arms, vessels) in BY_DAY else pytest.mark.night)
    for arms in (3, 4, 6)
    for vessels in (1, 2, 5)
]


@pytest.mark.parametrize(("arms", "vessels"), EACH)
def test_no_series_of_doses_in_few_vessels_ends_in_a_fault(arms: int, vessels: int) -> None:
    doses = tuple(Arm(key=f"d{i}", recipe="x", dose=float(i), is_standard=i == 0) for i in range(arms))
    trial = Trial(key="d", name="d", question="dose series", margin_ratio=1.5, arms=doses)
    plan = plan_trial(trial, SPREAD, Budget(money=2000.0, vessels=vessels, days=60.0), simulations=40)
    assert plan.words and (plan.recommended is None or math.isfinite(plan.recommended.power.told))


@pytest.mark.parametrize("name", [*SCATTERS])
def test_the_first_plan_of_a_newcomer_names_no_number_that_nobody_brews(name: str) -> None:
    plan = plan_trial(TWO, SCATTERS[name], Budget(money=500.0, vessels=2), simulations=500)
    numbers = [int(word) for word in plan.words.replace("(", " ").split() if word.isdigit()]
    assert "brews of each arm" not in plan.words or min(numbers) <= 40
    assert not plan.can_answer and plan.levers
    assert "What helps most for its money: " in plan.words and "19" not in plan.words


def test_own_brews_and_the_prior_are_weighed_by_what_each_knows() -> None:
    own = Scatter(brew_log_sd=0.2, test_log_sd=0.1, df=8.0)
    found = informed(own)
    # by hand: sqrt((8 * 0.04 + 4 * 0.2401) / 12)
    assert found.brew_log_sd == pytest.approx(math.sqrt((8 * 0.04 + 4 * 0.49**2) / 12)) and found.df == 12.0
    assert informed(WEEKLY_BATCHES) is WEEKLY_BATCHES  # taken as known: nothing to add
    assert ONE_DAY_AND_HEAP.df == 4.0 and "replaced by your own" in ONE_DAY_AND_HEAP.origin


@pytest.mark.parametrize("wrong", [{"colour": -1.0}, {"colour": math.nan}, {"lost": 0.95}, {"control_tests": -1}])
def test_circumstances_that_cannot_be_are_sent_back(wrong: dict) -> None:
    with pytest.raises(UnusableRecord):
        Circumstances(**wrong)
