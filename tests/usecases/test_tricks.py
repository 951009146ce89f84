"""Tricks played on a trial through the notebook: each ends in a claim held back with its reason, or in a refusal."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from aerobe.errors import NotAllowed, UnusableReading, UnusableRecord
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import AirSupply, Arm, Assay, AssayError, Brew, PlannedBrew, Reading, Recipe, RunSheet, Trial, Vessel
from aerobe.usecases.exchange import export_package
from aerobe.usecases.reports._publishing import copy_of
from aerobe.usecases.trials import JudgedBy, compare_recipes, judge_table, verdict_of_trial
from aerobe.verdicts import Verdict
from tests.spread import spread
from tests.usecases.test_judging import CANNOT, NOW, START, brew, furnish

ARMS = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
# Brews of one recipe that differ as brews do; no two alike.
NEAR = (0.87, 1.06, 0.95, 1.18, 1.01, 0.92, 1.11)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "one.notebook", at=START) as notebook:
        furnish(notebook, ("plain", "kelp"))
        notebook.add(Trial(key="t", name="t", question="two recipes", arms=ARMS, planned_at=START), at=START)
        yield notebook


def fill(book: Notebook, ratio: float, brews: int = 5) -> None:
    for n in range(brews):
        for i, arm in enumerate(ARMS):
            value = 20.0 * NEAR[(n + 3 * i) % len(NEAR)] * (ratio if i else 1.0) * (1.0 + 0.004 * i)
            brew(book, f"{arm.key}{n}", arm.recipe, {24.0: value}, trial="t", arm=arm.key, day=n)


def judged(book: Notebook) -> Verdict:
    return verdict_of_trial(book, "t", now=NOW)


def corrected(book: Notebook, brew_key: str, factor: float) -> None:
    old = book.readings(brew_key)[0]
    book.add(replace(old, key=f"{old.key}-c", signal=old.signal * factor, replaces=old.key, typed_as="again"), at=NOW)


def test_results_corrected_after_a_look_make_no_claim_that_was_not_there(book: Notebook) -> None:
    fill(book, 1.05)
    assert judged(book).comparisons[0].call not in ("better", "worse")
    for n in range(5):
        corrected(book, f"kelp{n}", 2.0)
    only = judged(book).comparisons[0]
    assert only.call == CANNOT and only.held_by == "change after a look" and only.signal_call == "better"
    assert "sample of 24 h was" in judged(book).headline


def test_a_slip_of_the_pen_that_changes_no_claim_is_said_and_holds_nothing(book: Notebook) -> None:
    fill(book, 2.0)
    assert judged(book).comparisons[0].call == "better"
    corrected(book, "kelp0", 1.05)
    verdict = judged(book)
    assert verdict.comparisons[0].call == "better"
    assert any(rival.name == "change after a look" and not rival.blocks_claim for rival in verdict.rivals)


def test_corrections_before_the_first_look_are_nobodys_business(book: Notebook) -> None:
    fill(book, 2.0)
    corrected(book, "kelp0", 1.05)
    assert not any(rival.name == "change after a look" for rival in judged(book).rivals)


def test_labels_swapped_and_brews_sent_away_after_a_look_make_no_claim(book: Notebook) -> None:
    fill(book, 1.0, brews=6)
    assert judged(book).comparisons[0].call not in ("better", "worse")
    order = sorted((item.signal, item.brew) for item in book.readings())
    for place, (_, key) in enumerate(order):
        arm = ARMS[place >= 6].key
        old = book.get(Brew, key)
        if old.arm != arm:
            book.change(replace(old, arm=arm, recipe=arm), at=NOW)
    only = judged(book).comparisons[0]
    assert only.signal_call == "better" and only.call == CANNOT and only.held_by == "change after a look"


def test_a_brew_taken_out_after_a_look_is_named(book: Notebook) -> None:
    fill(book, 1.0, brews=6)
    judged(book)
    book.change(replace(book.get(Brew, "plain3"), trial="", arm=""), at=NOW)
    assert any("brew plain3 was taken out of the trial" in rival.words for rival in judged(book).rivals)


@pytest.mark.parametrize("everyone", [False, True])
def test_only_some_brews_tested_again_is_a_change_and_all_of_them_is_none(book: Notebook, everyone: bool) -> None:
    fill(book, 1.05)
    judged(book)
    for arm, factor in (("kelp", 3.0), ("plain", 1.02))[: 1 + everyone]:
        for n in range(5):
            old = book.readings(f"{arm}{n}")[0]
            book.add(replace(old, key=f"{old.key}-2", signal=old.signal * factor, replicate=2), at=NOW)
    verdict = judged(book)
    assert verdict.comparisons[0].signal_call == "better"
    assert (verdict.comparisons[0].held_by == "change after a look") is not everyone
    assert any(rival.name == "change after a look" for rival in verdict.rivals) is not everyone


def test_a_copy_for_a_report_holds_what_its_notebook_holds(book: Notebook) -> None:
    fill(book, 1.05)
    judged(book)
    for n in range(5):
        corrected(book, f"kelp{n}", 2.0)
    judged(book)
    keys = tuple(item.key for item in book.find(Brew))
    with copy_of(book, brews=keys, trial="t", now=NOW, with_people=False) as copy:
        only = verdict_of_trial(copy, "t", now=NOW, asks=False).comparisons[0]
    assert only.call == CANNOT and only.held_by == "change after a look"


def test_a_margin_widened_after_the_results_is_another_question(book: Notebook) -> None:
    fill(book, 1.3)
    book.change(replace(book.get(Trial, "t"), margin_ratio=3.0), at=NOW)
    verdict = judged(book)
    assert "Asked beside the planned question" in verdict.asked
    assert any(rival.name == "plan changed" and "after the first result" in rival.words for rival in verdict.rivals)
    planned = verdict_of_trial(book, "t", by=JudgedBy(margin=1.25), now=NOW)
    assert "Asked beside" not in planned.asked


def test_a_plan_changed_before_the_first_result_is_the_plan(book: Notebook) -> None:
    book.change(replace(book.get(Trial, "t"), margin_ratio=1.5), at=START)
    fill(book, 1.3)
    assert "Asked beside" not in judged(book).asked


def test_arms_in_vessels_of_another_size_are_held_though_no_vessel_is_used_twice(book: Notebook) -> None:
    for n in range(4):
        for i, arm in enumerate(ARMS):
            vessel = f"{arm.key}-v{n}"
            air = AirSupply(flow_l_per_min=5.0, diffuser="none")
            book.add(Vessel(key=vessel, name=vessel, volume_l=200.0 if i else 20.0, depth_m=0.3, air=air), at=START)
            brew(book, f"{arm.key}{n}", arm.recipe, {24.0: 20.0 * NEAR[n + 3 * i] * (1.0 + i)}, trial="t", arm=arm.key, day=n)
            book.change(replace(book.get(Brew, f"{arm.key}{n}"), vessel=vessel), at=START)
    only = judged(book).comparisons[0]
    assert only.call == CANNOT and only.held_by == "vessel size"


def test_a_number_per_gram_does_not_stand_beside_a_number_per_millilitre(book: Notebook) -> None:
    fill(book, 1.0, brews=3)
    begun = Brew(key="k9", name="k9", recipe="kelp", vessel="v", started_at=START, trial="t", arm="kelp")
    book.add(begun, at=START)
    book.add(
        Reading(
            key="k9", brew="k9", assay="count", role="sample", elapsed_h=24.0, signal=90.0, unit="ug C/g", typed_as="90 ug C/g"
        ),
        at=START,
    )
    with pytest.raises(UnusableReading, match="several units"):
        judged(book)
    rows = [
        {"arm": arm, "value": str(20 * NEAR[n] * (1 + 2 * i)), "unit": f"{arm}{n}", "measured_in": ("ug/mL", "ug/g")[i]}
        for i, arm in enumerate(("plain", "kelp"))
        for n in range(4)
    ]
    trial = Trial(key="x", name="x", question="two recipes", arms=ARMS)
    with pytest.raises(UnusableRecord, match="several units"):
        judge_table(book, trial, rows, now=NOW)


def test_readings_written_in_before_their_hour_hold_every_claim(book: Notebook) -> None:
    fill(book, 2.0)
    old = book.readings("kelp1")[0]
    book.add(replace(old, key="early", replaces=old.key, entered_at=START + timedelta(hours=2)), at=START)
    only = judged(book).comparisons[0]
    assert only.call == CANNOT and only.held_by == "date"


@pytest.mark.parametrize("shake", [0.0, 0.002])
def test_every_result_entered_as_two_brews_is_seen(book: Notebook, shake: float) -> None:
    rng = np.random.default_rng(4)
    for n in range(4):
        for i, arm in enumerate(ARMS):
            for twin in range(2):
                value = 20.0 * NEAR[n + 3 * i] * (1.0 + 0.4 * i) * math.exp(rng.normal(0.0, shake))
                brew(book, f"{arm.key}{n}-{twin}", arm.recipe, {24.0: value}, trial="t", arm=arm.key, day=n)
    only = judged(book).comparisons[0]
    assert only.call == CANNOT and only.held_by == "double entry"


def test_brews_more_alike_than_their_test_can_read_are_no_brews(book: Notebook) -> None:
    error = AssayError(constant_sd=0.1, proportional_cv=0.2, origin="certificate of March")
    book.change(replace(book.get(Assay, "count"), error=error), at=START)
    for n in range(5):
        for i, arm in enumerate(ARMS):
            value = 20.0 * (1.0 + 0.2 * i) * (1.0 + 0.01 * (NEAR[n] - 1.0))
            brew(book, f"{arm.key}{n}", arm.recipe, {24.0: value}, trial="t", arm=arm.key)
    only = judged(book).comparisons[0]
    assert only.call == CANNOT and only.held_by == "likeness of brews"


def test_a_trial_planned_and_not_begun_gives_no_arm_away_in_a_package(book: Notebook) -> None:
    lines = tuple(
        PlannedBrew(brew=f"b{n}", arm=arm.key, vessel="v", block="", blind_code=f"Q{n}{arm.key[0]}", starts_at=None, samples=())
        for n in range(2)
        for arm in ARMS
    )
    book.add(RunSheet(trial="t", seed=1, brews=lines), at=START)
    for trial in ("", "t"):
        with pytest.raises(NotAllowed, match="still blind"):
            export_package(book, now=NOW, trial=trial)
    assert export_package(book, now=NOW, trial="t", with_codes=True)


def test_two_recipes_compared_again_make_no_claim_that_rests_on_what_was_corrected_since(book: Notebook) -> None:
    fill(book, 1.05)
    assert compare_recipes(book, "kelp", "plain", now=NOW).comparisons[0].call not in ("better", "worse")
    for n in range(5):
        corrected(book, f"kelp{n}", 3.0)
    only = compare_recipes(book, "kelp", "plain", now=NOW).comparisons[0]
    assert only.signal_call == "better" and only.call == CANNOT and only.held_by == "change after a look"


def test_a_brew_moved_to_another_recipe_after_a_look_at_the_pair_is_said(book: Notebook) -> None:
    furnish_third(book)
    fill(book, 1.05)
    compare_recipes(book, "kelp", "plain", now=NOW)
    old = book.get(Brew, "kelp2")
    book.change(replace(old, recipe="third"), at=NOW)
    words = [rival.words for rival in compare_recipes(book, "kelp", "plain", now=NOW).rivals]
    assert any("kelp2 was taken out" in line for line in words), words
    # Nobody looked at the other pair before, so nothing of it was changed after a look.
    words = [rival.words for rival in compare_recipes(book, "kelp", "third", now=NOW).rivals]
    assert not any("after the results" in line for line in words), words


def furnish_third(book: Notebook) -> None:
    book.add(Recipe(key="third", name="third", compost="heap", compost_g_per_l=50.0), at=START)


def table(ratio: float, brews: int = 6) -> list[dict[str, str]]:
    return [
        {"arm": arm.key, "unit": f"{arm.key}{n}", "value": f"{20.0 * spread(i, brews, 0.11)[n] * (ratio if i else 1.0):.5g}"}
        for n in range(brews)
        for i, arm in enumerate(ARMS)
    ]


TABLE = Trial(key="table", name="pots", question="two recipes", arms=ARMS)


def of_table(book: Notebook, rows: list[dict[str, str]], name: str = "pots", **asked: object) -> Verdict:
    return judge_table(book, replace(TABLE, name=name), rows, now=NOW, **asked)  # type: ignore[arg-type]


def test_every_question_about_a_table_is_written_down_and_the_bar_rises(book: Notebook) -> None:
    first = of_table(book, table(1.3))
    assert first.asked == "" and of_table(book, table(1.3)).asked == ""  # the same again is no new question
    assert "Question or look 2 at this table" in of_table(book, table(1.3), margin=1.5).asked
    swapped = replace(TABLE, arms=tuple(replace(arm, is_standard=not arm.is_standard) for arm in ARMS))
    assert "look 3" in judge_table(book, swapped, table(1.3), now=NOW).asked
    assert "look 4" in of_table(book, table(1.3), name="copy").asked  # the same numbers under another name
    assert of_table(book, table(2.7), name="other").asked == ""  # units called alike, other numbers
    assert "look 5" in of_table(book, table(2.7)).asked  # another column of the table
    assert next(iter(book.kept("table judged"))).payload["question"].startswith("two recipes by biomass")


def test_a_table_changed_after_a_look_makes_no_claim_that_was_not_there(book: Notebook) -> None:
    rows = table(1.05)
    assert of_table(book, rows).comparisons[0].call not in ("better", "worse")
    tuned = [{**row, "value": f"{float(row['value']) * 3.0:.5g}"} if row["arm"] == "kelp" else row for row in rows]
    only = of_table(book, tuned).comparisons[0]
    assert only.signal_call == "better" and only.call == CANNOT and only.held_by == "change after a look"
    more = [*rows, *({**row, "unit": f"{row['unit']}-b", "value": f"{float(row['value']) * 1.01:.5g}"} for row in rows[:4])]
    assert not any(rival.name == "change after a look" for rival in of_table(book, more).rivals)
