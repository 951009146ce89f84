"""What a plan that cannot answer advises: each change with what it buys, for its money, the best first."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from aerobe.records import Arm, Costs, Trial
from aerobe.trials import (
    ONE_DAY_AND_HEAP,
    SCATTERS,
    Budget,
    Circumstances,
    Lever,
    Plan,
    Scatter,
    idle_in_words,
    lever_rows,
    plan_trial,
    plots_of,
    power_of,
)

TWO = Trial(
    key="t",
    name="t",
    question="two recipes",
    margin_ratio=1.5,
    arms=(Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp")),
)
PRICES = Costs(test=9.0, brew=30.0)
DARK = Circumstances(colour=1.0)


def plan(scatter: Scatter = ONE_DAY_AND_HEAP, how: Circumstances = DARK, **budget: float) -> Plan:
    given = {"money": 500.0, "vessels": 2, **budget}
    return plan_trial(TWO, scatter, Budget(costs=PRICES, **given), given=how, simulations=300)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def first() -> Plan:
    return plan()


def named(found: Plan) -> dict[str, Lever]:
    return {lever.name: lever for lever in found.levers}


def test_every_lever_of_a_first_plan_is_tried_and_priced_by_hand(first: Plan) -> None:
    design, levers = first.recommended, named(first)
    assert design is not None
    brews, tests = sum(design.brews_of), design.tests_per_brew
    assert {"same day and heap", "controls", "repeated tests", "more brews", "better test", "larger difference"} <= set(levers)
    assert levers["controls"].cost == levers["repeated tests"].cost == brews * 9.0
    # as many brews again: each with its tests and a killed control, and one blank a round
    assert levers["more brews"].cost == brews * (30.0 + (tests + 1) * 9.0) + design.rounds * 9.0
    assert levers["same day and heap"].cost == levers["larger difference"].cost == 0.0
    assert levers["better test"].cost is None  # nobody has named its price
    for lever in first.levers:
        assert lever.gain >= 0.0 and lever.helps == (lever.gain >= 0.03)
        if lever.cost:
            assert lever.gain_per_100 == pytest.approx(100.0 * lever.gain / lever.cost)


def test_they_stand_by_gain_for_money(first: Plan) -> None:
    helping = [lever for lever in first.levers if lever.helps]
    free, priced = [item for item in helping if item.cost == 0.0], [item for item in helping if item.cost]
    assert helping[: len(free) + len(priced)] == [*free, *priced] == list(first.levers[: len(free) + len(priced)])
    assert [item.gain for item in free] == sorted((item.gain for item in free), reverse=True)
    assert [item.gain_per_100 for item in priced] == sorted((item.gain_per_100 or 0.0 for item in priced), reverse=True)
    assert free[0].name == "all that cost nothing" and free[0].told >= max(item.told for item in free[1:])
    assert len(lever_rows(first.levers)) == len(helping)
    assert all(lever.words in idle_in_words(first.levers) for lever in first.levers if not lever.helps)


def test_what_a_lever_buys_is_the_power_of_the_changed_plan(first: Plan) -> None:
    design, lever = first.recommended, named(first)["same day and heap"]
    assert design is not None
    again = power_of(
        TWO,
        plots_of(2, design.brews_of[0], 2),
        replace(ONE_DAY_AND_HEAP, brew_log_sd=0.2),
        design.tests_per_brew,
        given=DARK,
        simulations=600,
    )
    assert lever.detectable_ratio == again.detectable_ratio
    assert lever.told == pytest.approx(again.assurance, abs=0.15)  # less what the very verdict takes off


def test_one_vessel_is_told_to_stand_arms_side_by_side_and_weekly_brews_to_be_made_alike() -> None:
    alone = named(plan(vessels=1))
    assert "side by side" in alone and alone["side by side"].cost is None
    weekly = named(plan(SCATTERS["weekly batches"]))
    assert "thought to be" in weekly["same day and heap"].words
    assert "side by side" not in weekly


def test_the_words_say_the_best_of_them_and_each_amount_its_currency(first: Plan) -> None:
    best = next(lever for lever in first.levers if lever.helps and lever.name != "all that cost nothing")
    assert f"What helps most for its money: {best.words}" in first.words
    enough = plan(replace(ONE_DAY_AND_HEAP, brew_log_sd=0.1, df=math.inf), Circumstances(), money=3000.0)
    assert enough.can_answer and enough.levers == () and "in your currency" in enough.words
    assert enough.recommended is not None and f"cost {enough.recommended.cost:g} in your currency" in enough.words
