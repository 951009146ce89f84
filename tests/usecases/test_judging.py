"""Judging through the notebook: every question is written down and counted, and the hour is part of the answer."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import (
    AirSupply,
    Arm,
    Assay,
    Brew,
    Compost,
    PlannedBrew,
    PlannedSample,
    Reading,
    Recipe,
    RunSheet,
    Trial,
    Vessel,
)
from aerobe.usecases.trials import JudgedBy, compare_recipes, judge_table, verdict_of_trial
from tests.spread import spread

START = datetime(2026, 5, 1, 8, 0, tzinfo=UTC)
NOW = START + timedelta(days=60)
CANNOT = "can't tell yet"


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "one.notebook", at=START) as notebook:
        yield notebook


def furnish(book: Notebook, recipes: tuple[str, ...]) -> None:
    book.add(Compost(key="heap", name="heap"), at=START)
    book.add(Vessel(key="v", name="v", volume_l=10.0, depth_m=0.3, air=AirSupply(flow_l_per_min=5.0, diffuser="none")), at=START)
    book.add(Assay(key="count", name="cells", method="direct microscopy"), at=START)
    for recipe in recipes:
        book.add(Recipe(key=recipe, name=recipe, compost="heap", compost_g_per_l=50.0), at=START)


def brew(
    book: Notebook, key: str, recipe: str, readings: dict[float, float], *, trial: str = "", arm: str = "", day: int = 0
) -> None:
    begun = START + timedelta(days=day)
    book.add(Brew(key=key, name=key, recipe=recipe, vessel="v", started_at=begun, trial=trial, arm=arm or recipe), at=START)
    for hour, value in readings.items():
        book.add(
            Reading(
                key=f"{key}-{hour:g}",
                brew=key,
                assay="count",
                role="sample",
                elapsed_h=hour,
                signal=value,
                unit="ug C/mL",
                typed_as=f"{value:g}",
            ),
            at=START,
        )


NEAR = 0.04  # SD of the logs of brews of an arm


def two_arms(book: Notebook, courses: dict[str, dict[float, float]], *, brews: int = 5, question: str = "two recipes") -> None:
    """A trial of two arms with these courses, brews of an arm within a few per cent of each other."""
    recipe_of = dict.fromkeys(courses, "r") if question == "brewing time" else {arm: arm for arm in courses}
    furnish(book, tuple(dict.fromkeys(recipe_of.values())))
    arms = tuple(Arm(key=arm, recipe=recipe_of[arm], is_standard=i == 0) for i, arm in enumerate(courses))
    book.add(Trial(key="t", name="t", question=question, arms=arms), at=START)
    for i, (arm, course) in enumerate(courses.items()):
        for n in range(brews):
            near = {hour: value * spread(i, brews, NEAR)[n] for hour, value in course.items()}
            brew(book, f"{arm}-{n}", recipe_of[arm], near, trial="t", arm=arm, day=n)


def test_other_questions_are_counted_and_held_to_a_stricter_bar(book: Notebook) -> None:
    two_arms(book, {"plain": {12.0: 10.0, 24.0: 20.0}, "kelp": {12.0: 10.2, 24.0: 24.0}})
    first = verdict_of_trial(book, "t", now=NOW)
    again = verdict_of_trial(book, "t", now=NOW)
    assert first.looks == again.looks == 1 and first.asked == again.asked  # the same question again is no new one
    assert first.comparisons[0].call == "better"
    early = verdict_of_trial(book, "t", by=JudgedBy(at_h=12.0), now=NOW)
    assert "as number 1" in early.asked
    wider = verdict_of_trial(book, "t", by=JudgedBy(margin=1.5), now=NOW)
    assert "as number 2" in wider.asked
    assert next(item.payload["question"] for item in book.kept("question asked", "t")) == "planned"
    assert len(book.kept("question asked", "t")) == 3


def test_five_hours_of_null_trials_do_not_add_up(book: Notebook) -> None:
    rng = np.random.default_rng(2)
    hours, claims = (8.0, 12.0, 16.0, 20.0, 24.0), 0
    furnish(book, ("plain", "kelp"))
    for n in range(4):
        arms = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
        book.add(Trial(key=f"t{n}", name="t", question="two recipes", arms=arms), at=START)
        for i in range(8):
            course = {hour: 20.0 * math.exp(rng.normal(0, 0.3)) for hour in hours}
            brew(book, f"b{n}-{i}", arms[i % 2].recipe, course, trial=f"t{n}", arm=arms[i % 2].key, day=i // 2)
        calls = [verdict_of_trial(book, f"t{n}", by=JudgedBy(at_h=hour), now=NOW).comparisons[0].call for hour in hours]
        claims += any(call in ("better", "worse") for call in calls)
    assert claims <= 1


def test_every_arm_of_a_trial_of_brewing_times_is_read_at_its_own_hour(book: Notebook) -> None:
    course = {24.0: 10.0, 36.0: 30.0}
    two_arms(book, {"24-h": course, "36-h": course}, question="brewing time")
    verdict = verdict_of_trial(book, "t", now=NOW)
    only = verdict.comparisons[0]
    assert math.exp(only.effect) == pytest.approx(3.0, rel=0.05) and only.call == "better"
    assert "each at its own hour" in verdict.headline


def test_a_ratio_that_turns_round_is_held_back_and_shown_by_hour(book: Notebook) -> None:
    two_arms(book, {"plain": {24.0: 20.0, 36.0: 20.0}, "kelp": {24.0: 29.0, 36.0: 6.0}})
    verdict = verdict_of_trial(book, "t", now=NOW)
    assert verdict.comparisons[0].call == CANNOT and verdict.comparisons[0].held_by == "hour"
    assert {item.hour_h for item in verdict.by_hour} == {24.0, 36.0} and "depends on the hour" in verdict.headline


def test_interim_analyses_of_a_planned_trial_spend_little(book: Notebook) -> None:
    two_arms(book, {"plain": {24.0: 20.0}, "kelp": {24.0: 26.0}}, brews=3)
    lines = tuple(
        PlannedBrew(
            brew=f"{arm}-{n}",
            arm=arm,
            block=f"d{n}",
            vessel="v",
            starts_at=None,
            blind_code=f"{arm[0]}{n}",
            samples=(PlannedSample(elapsed_h=24.0),),
        )
        for n in range(6)
        for arm in ("plain", "kelp")
    )
    book.add(RunSheet(trial="t", seed=1, brews=lines), at=START)
    verdict = verdict_of_trial(book, "t", now=NOW)
    assert verdict.asked.startswith("Interim analysis 1, at 6 of 12 planned brews")


def test_pairs_of_many_recipes_share_one_chance(book: Notebook) -> None:
    furnish(book, ("a", "b", "c", "d"))
    for n in range(4):
        for i, recipe in enumerate("abcd"):
            brew(book, f"{recipe}{n}", recipe, {24.0: 20.0 * (1.0 + 0.02 * ((n + i) % 4))}, day=n)
    found = compare_recipes(book, "a", "b", now=NOW)
    assert "One of 6 pairs" in found.asked
    assert "question or look 2" in compare_recipes(book, "a", "b", margin=1.5, now=NOW).asked


def test_a_table_must_name_its_units(book: Notebook) -> None:
    arms = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
    trial = Trial(key="table", name="t", question="two recipes", arms=arms)
    rows = [{"arm": arm, "value": str(10 + i % 3)} for i, arm in enumerate(["plain", "kelp"] * 12)]
    with pytest.raises(UnusableRecord, match="which brew, pot or bed"):
        judge_table(book, trial, rows, now=NOW)
    named = [{**row, "unit": f"{row['arm']}-{i // 6}"} for i, row in enumerate(rows)]
    assert judge_table(book, trial, named, now=NOW).brews == 8


def test_the_area_under_the_curve_is_an_outcome_by_the_trapezoidal_rule(book: Notebook) -> None:
    two_arms(book, {"plain": {0.0: 5.0, 12.0: 15.0, 24.0: 20.0}, "kelp": {0.0: 5.0, 12.0: 40.0, 24.0: 21.0}})
    verdict = verdict_of_trial(book, "t", by=JudgedBy(outcome="area under the curve"), now=NOW)
    # numpy's trapezoid over the same hours; each brew is within a few per cent of its arm's course
    plain, kelp = (np.trapezoid(course, [0.0, 12.0, 24.0]) for course in ([5.0, 15.0, 20.0], [5.0, 40.0, 21.0]))
    assert min(result.value for result in verdict.results if result.arm == "plain") == pytest.approx(
        min(spread(0, 5, NEAR)) * plain
    )
    assert math.exp(verdict.comparisons[0].effect) == pytest.approx(kelp / plain, rel=0.01)
    assert verdict.comparisons[0].call == "better" and "Judged by area under the curve" in str(verdict.rivals)
    assert verdict_of_trial(book, "t", now=NOW).comparisons[0].call != "better"  # the last hour alone does not show it


def test_an_area_wants_three_hours_that_all_brews_share(book: Notebook) -> None:
    two_arms(book, {"plain": {12.0: 15.0, 24.0: 20.0}, "kelp": {12.0: 40.0, 24.0: 21.0}})
    with pytest.raises(NotEnoughData, match="share 2 hours"):
        verdict_of_trial(book, "t", by=JudgedBy(outcome="area under the curve"), now=NOW)
