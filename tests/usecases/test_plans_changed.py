"""Plans and results changed behind a trial's back: whatever way it was done, the verdict says so and claims no plan."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from pathlib import Path

import pytest

from aerobe.notebook import Notebook, back_up, open_notebook
from aerobe.records import Arm, Brew, PlannedBrew, PlannedSample, Reading, Recipe, RunSheet, Trial
from aerobe.usecases.evidence import all_evidence
from aerobe.usecases.exchange import export_package, import_package
from aerobe.usecases.notebook import restore_notebook
from aerobe.usecases.reports import Wanted, report_as_html, report_of_trial
from aerobe.usecases.trials import NotAskedYet, keep_verdict, note_key_shown, open_codes, plan_history, verdict_of_trial
from aerobe.verdicts import CANNOT_TELL, Verdict
from tests.usecases.test_judging import NOW, START, furnish

ARMS = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
PLAN = Trial(key="t", name="t", question="two recipes", arms=ARMS, planned_at=START, margin_ratio=1.5)
# Drawn once (log scatter 0.2), so that no two arms look alike.
DRAWN = {"plain": (19.1, 24.6, 17.2, 21.9, 20.4, 15.8), "kelp": (27.4, 17.1, 20.6, 19.9, 30.8, 18.6)}
LATER = START + timedelta(days=20)


def sheet(brews: int = 6, hour: float = 24.0) -> RunSheet:
    lines = [
        PlannedBrew(
            brew=f"{arm.key}{n}",
            arm=arm.key,
            vessel="v",
            block="",
            blind_code=f"Q{n}{arm.key[0]}",
            starts_at=None,
            samples=(PlannedSample(elapsed_h=hour),),
        )
        for n in range(brews)
        for arm in ARMS
    ]
    return RunSheet(trial="t", seed=1, brews=tuple(lines))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "one.notebook", at=START) as notebook:
        furnish(notebook, ("plain", "kelp"))
        notebook.add(PLAN, at=START)
        notebook.add(sheet(), at=START)
        yield notebook


def begin(book: Notebook, key: str, *, trial: str = "t", at_day: int = 1, code: bool = True) -> None:
    arm, n = key[:-1], key[-1]
    at = START + timedelta(days=at_day + int(n))
    coded = f"Q{n}{arm[0]}" if code and trial else ""
    book.add(
        Brew(key=key, name=key, recipe=arm, vessel="v", started_at=at, trial=trial, arm=arm if trial else "", blind_code=coded),
        at=at,
    )


def enter(book: Notebook, key: str, *, hour: float = 24.0, factor: float = 1.0) -> None:
    begun = book.get(Brew, key)
    arm, n = key[:-1], int(key[-1])
    value = DRAWN[arm][n] * factor
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
        at=begun.started_at + timedelta(hours=hour),
    )


def fill(book: Notebook, **how: object) -> None:
    for n in range(6):
        for arm in ("plain", "kelp"):
            begin(book, f"{arm}{n}", **how)  # type: ignore[arg-type]
            enter(book, f"{arm}{n}")


def correct(book: Notebook, key: str, factor: float) -> None:
    old = book.readings(key)[0]
    book.add(replace(old, key=f"{old.key}-c", signal=old.signal * factor, replaces=old.key, typed_as="again"), at=LATER)


def judged(book: Notebook, trial: str = "t") -> Verdict:
    return verdict_of_trial(book, trial, now=NOW)


def beware(verdict: Verdict) -> str:
    return "\n".join(f"{rival.name}: {rival.words}" for rival in verdict.rivals)


def changed(book: Notebook, cls: type[Trial] | type[Recipe], key: str, **fields: object) -> None:
    book.change(replace(book.get(cls, key), **fields), at=LATER)  # type: ignore[type-var]


OTHER_ARMS = (ARMS[0], replace(ARMS[1], is_standard=True, dose=3.0))
CHANGES: dict[str, tuple[Callable[[Notebook], object], str]] = {
    "margin": (lambda book: changed(book, Trial, "t", margin_ratio=1.05), "the difference worth having was 1.5 and became 1.05"),
    "question": (
        lambda book: changed(book, Trial, "t", question="several against a standard"),
        "the question was two recipes and became several against a standard",
    ),
    "standard": (lambda book: changed(book, Trial, "t", arms=OTHER_ARMS), "kelp (the standard, dose 3)"),
    "time of planning": (lambda book: changed(book, Trial, "t", planned_at=LATER), "the time of planning"),
    "name": (lambda book: changed(book, Trial, "t", name="u"), "the name was t and became u"),
    "brews planned": (
        lambda book: book.change(sheet(9), at=LATER),
        "planned brews were 12 (6 of plain, 6 of kelp) and became 18",
    ),
    "hour": (lambda book: book.change(sheet(hour=36.0), at=LATER), "hours of sampling were 24 h and became 36 h"),
    "lots": (
        lambda book: book.change(replace(sheet(), brews=tuple(replace(b, vessel="w") for b in sheet().brews)), at=LATER),
        "what was drawn by lot was changed",
    ),
    "recipe": (lambda book: changed(book, Recipe, "kelp", compost_g_per_l=90.0), "compost [g/L] was 50 and became 90"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_after_the_first_result_is_printed_in_verdict_report_package_and_answer(book: Notebook, what: str) -> None:
    change, words = CHANGES[what]
    fill(book)
    change(book)
    verdict = judged(book)
    assert words in beware(verdict) and "after the first result" in beware(verdict)
    keep_verdict(book, "t", verdict, now=NOW)
    report = report_of_trial(book, "t", now=NOW)
    page = report_as_html(report).decode()
    assert words in page and "planned, and the plan changed after the first result" in page
    with zipfile.ZipFile(io.BytesIO(export_package(book, now=NOW, trial="t"))) as packed:
        assert words in json.loads(packed.read("data/results.json"))[-1]["payload"]["changes"][-1]


@pytest.mark.parametrize("what", ["margin", "question", "standard"])
def test_what_is_asked_by_a_plan_changed_after_results_is_no_planned_question(book: Notebook, what: str) -> None:
    fill(book)
    CHANGES[what][0](book)
    assert "Asked beside the planned question" in judged(book).asked


def test_another_outcome_and_a_run_sheet_that_came_after_results_are_printed(book: Notebook) -> None:
    book.add(replace(PLAN, key="u", name="u"), at=START)
    begin(book, "plain0", trial="u")
    enter(book, "plain0")
    changed(book, Trial, "u", outcome="count")
    book.add(replace(sheet(), trial="u"), at=LATER)
    history = plan_history(book, "u")
    assert "what it is judged by was biomass and became count" in history.changes[0]
    assert "The run sheet was written after the first result" in history.changes[1] and history.sheet is None


def test_brews_chosen_for_a_trial_by_their_results_are_not_planned(book: Notebook) -> None:
    fill(book, trial="")
    for n in range(6):
        for arm in ("plain", "kelp"):
            if (arm == "kelp") == (DRAWN[arm][n] > 20.0):
                book.change(replace(book.get(Brew, f"{arm}{n}"), trial="t", arm=arm), at=LATER)
    verdict = judged(book)
    keep_verdict(book, "t", verdict, now=NOW)
    assert "it is said; the order of writing does not show it" in report_as_html(report_of_trial(book, "t", now=NOW)).decode()
    assert "put into the trial after its first result" in beware(verdict)
    assert not any(item.planned for item in verdict.comparisons) and not plan_history(book, "t").planned


@pytest.mark.parametrize("blank", [True, False])
def test_brews_taken_out_or_given_another_arm_before_anybody_judged_are_printed(book: Notebook, blank: bool) -> None:
    fill(book)
    fields = {"trial": "", "arm": ""} if blank else {"arm": "kelp", "recipe": "kelp"}
    book.change(replace(book.get(Brew, "plain1"), **fields), at=LATER)  # type: ignore[arg-type]
    said = "was taken out of the trial" if blank else "was of plain and became one of kelp"
    assert said in beware(judged(book)) and "after its first result" in beware(judged(book))


def test_a_plan_made_anew_for_brews_of_another_is_not_planned(book: Notebook) -> None:
    fill(book)
    judged(book)
    book.add(replace(PLAN, key="u", name="u", margin_ratio=1.02), at=LATER)
    for brew in book.find(Brew):
        book.change(replace(brew, trial="u"), at=LATER)
    verdict = judged(book, "u")
    assert "after brews of the trial" in beware(verdict) and not any(item.planned for item in verdict.comparisons)


def test_one_of_many_plans_for_the_same_brews_is_not_planned(book: Notebook) -> None:
    book.add(replace(PLAN, key="u", name="u", outcome="count"), at=START)
    fill(book)
    judged(book)
    for brew in book.find(Brew):
        book.change(replace(brew, trial="u"), at=LATER)
    history = plan_history(book, "u")
    assert not history.planned and "put into the trial after its first result" in history.late


def test_results_corrected_with_open_codes_make_no_claim_that_was_not_there(book: Notebook) -> None:
    fill(book)
    open_codes(book, "t", now=LATER)
    for n in range(6):
        correct(book, f"kelp{n}", 3.0)
    verdict = judged(book)
    only = verdict.comparisons[0]
    assert only.signal_call == "better" and only.call == CANNOT_TELL and only.held_by == "change after a look"
    assert "after the codes were opened" in beware(verdict) and "6 corrected since" in beware(verdict)
    assert not plan_history(book, "t").blinded


def test_results_taken_back_with_open_codes_are_not_blind(book: Notebook) -> None:
    fill(book)
    open_codes(book, "t", now=LATER)
    book.take_back_reading("plain1-24", at=LATER, why="looked odd")
    assert "1 taken back since" in beware(judged(book)) and not plan_history(book, "t").blinded


def test_an_early_look_is_no_cover_for_what_came_after_it(book: Notebook) -> None:
    for key in ("plain0", "kelp0", "plain1", "kelp1"):
        begin(book, key)
        enter(book, key)
    judged(book)
    for n in range(2, 6):
        for arm in ("plain", "kelp"):
            begin(book, f"{arm}{n}")
            enter(book, f"{arm}{n}")
    judged(book)
    for n in range(2, 6):
        correct(book, f"kelp{n}", 4.0)
    only = judged(book).comparisons[0]
    assert only.call == CANNOT_TELL and "kelp5: sample of 24 h was 18.6" in beware(judged(book))


def test_what_is_put_right_before_a_later_look_found_it_is_no_change(book: Notebook) -> None:
    for key in ("plain0", "kelp0", "plain1", "kelp1"):
        begin(book, key)
        enter(book, key)
    judged(book)
    begin(book, "kelp2")
    enter(book, "kelp2")
    correct(book, "kelp2", 1.1)
    assert "Changed after" not in beware(judged(book))


def test_a_key_shown_again_does_not_undo_that_it_was_seen_before(book: Notebook) -> None:
    note_key_shown(book, "t", now=START)
    fill(book)
    note_key_shown(book, "t", now=LATER)
    assert not plan_history(book, "t").blinded
    assert "The key of codes was shown on 2026-05-01 08:00 UTC; readings: 12 entered" in beware(judged(book))


def test_codes_hide_no_vessel(book: Notebook) -> None:
    book.change(replace(PLAN, question="vessels"), at=START)
    fill(book)
    history = plan_history(book, "t")
    assert not history.blinded and "stand on the sheet beside the codes" in history.unblinded


def test_a_report_is_a_look_and_knows_what_was_corrected_since_the_last(book: Notebook) -> None:
    fill(book, code=False)
    with pytest.raises(NotAskedYet):
        report_of_trial(book, "t", now=NOW, wanted=Wanted(asks=False))
    report_of_trial(book, "t", now=NOW)
    assert [item.payload["question"] for item in book.kept("question asked", "t")] == ["planned"]
    correct(book, "kelp3", 3.0)
    said = report_as_html(report_of_trial(book, "t", now=NOW, wanted=Wanted(asks=False))).decode()
    assert "Changed after the results had been judged" in said


def edited(content: bytes, path: str, change: Callable[[list[dict[str, object]]], None]) -> bytes:
    """A package with one of its lists changed, and its hashes made to fit: what a forger would send."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    lines = json.loads(files[path])
    change(lines)
    files[path] = json.dumps(lines).encode()
    about = json.loads(files["datapackage.json"])
    for entry in about["resources"]:
        if entry["path"] == path:
            entry |= {"bytes": len(files[path]), "hash": f"sha256:{sha256(files[path]).hexdigest()}"}
    files["datapackage.json"] = json.dumps(about).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name, body in files.items():
            packed.writestr(name, body)
    return out.getvalue()


def test_a_trial_that_travels_as_a_package_brings_its_changes_along_and_no_plan_of_its_own(
    book: Notebook, tmp_path: Path
) -> None:
    fill(book)
    changed(book, Trial, "t", margin_ratio=1.05)
    keep_verdict(book, "t", judged(book), now=NOW)
    content = export_package(book, now=NOW)
    assert import_package(book, content, now=NOW).new == {}  # one's own package says nothing new
    with open_notebook(tmp_path / "two.notebook", at=NOW) as other:
        import_package(other, content, now=NOW)
        verdict = judged(other)
        assert "the difference worth having was 1.5 and became 1.05" in beware(verdict)
        assert "Asked beside the planned question" in verdict.asked
        assert not plan_history(other, "t").planned
        assert [item.planned for item in all_evidence(other)[0]] == [False]


def test_a_forged_history_does_not_speak_for_the_plan_of_the_notebook_that_takes_it_in(book: Notebook) -> None:
    fill(book)
    changed(book, Trial, "t", margin_ratio=1.05)
    keep_verdict(book, "t", judged(book), now=NOW)
    before = plan_history(book, "t")

    def forge(lines: list[dict[str, object]]) -> None:
        told = next(line for line in lines if line["kind"] == "plan history")
        told["payload"] = {"planned": True, "came_first": True, "blinded": True, "changes": [], "written_at": ""}

    import_package(book, edited(export_package(book, now=NOW), "data/results.json", forge), now=NOW)
    after = plan_history(book, "t")
    assert (after.planned, after.blinded, after.changes) == (before.planned, before.blinded, before.changes)
    assert "became 1.05" in beware(judged(book))


@pytest.mark.parametrize("payload", [7, [], {"planned": "yes"}, {"changes": 3}, {"begun": {"key": "../x"}}])
def test_a_history_that_cannot_be_read_speaks_against_the_plan(book: Notebook, payload: object) -> None:
    fill(book)
    book.keep("plan history", "t", payload, at=NOW)
    assert not plan_history(book, "t").planned


def test_a_copy_put_back_does_not_unsee_what_was_seen(book: Notebook) -> None:
    copy = back_up(book.store, at=START)
    fill(book)
    judged(book)
    restore_notebook(book, copy, now=LATER)
    changed(book, Trial, "t", margin_ratio=1.02)
    fill(book)
    verdict = judged(book)
    assert "An older copy was put in the notebook's place" in beware(verdict)
    assert "12 readings of this trial and 1 questions or looks" in beware(verdict)
    assert not any(item.planned for item in verdict.comparisons) and not plan_history(book, "t").planned


def test_a_copy_that_lacks_nothing_of_a_trial_leaves_its_plan_alone(book: Notebook) -> None:
    fill(book)
    judged(book)
    copy = back_up(book.store, at=LATER)
    restore_notebook(book, copy, now=NOW)
    assert plan_history(book, "t").planned


def test_a_trial_planned_under_another_name_after_its_results_were_set_aside_is_not_planned(book: Notebook) -> None:
    fill(book)
    judged(book)
    with open_notebook(book.store.path.parent / "bare.notebook", at=START) as bare:  # type: ignore[union-attr]
        furnish(bare, ("plain", "kelp"))
        copy = back_up(bare.store, at=START)
    restore_notebook(book, copy, now=LATER)
    book.add(replace(PLAN, key="u", name="u"), at=LATER)
    assert "of the same recipes, in trial t," in plan_history(book, "u").late
