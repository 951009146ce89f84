"""Judge a trial by what was planned, keep what was said, propose what comes next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from aerobe.errors import AerobeError
from aerobe.notebook import Notebook
from aerobe.records import Brew, RunSheet, Trial
from aerobe.trials import NextTrial, propose_next
from aerobe.units import number
from aerobe.usecases.trials._afterwards import KIND as AFTERWARDS
from aerobe.usecases.trials._afterwards import Afterwards, changed_afterwards, held_to_the_look, keep_once, read_too_early
from aerobe.usecases.trials._asked import EVERY_PAIR, AskedQuestion, require_asked, standing_of, write_down
from aerobe.usecases.trials._blinding import refuse_while_hidden
from aerobe.usecases.trials._changes import arms_in_words
from aerobe.usecases.trials._history import PlanHistory, plan_history
from aerobe.usecases.trials._hours import lost_brews, results_at_own_hours, with_hours
from aerobe.usecases.trials._next_step import next_step
from aerobe.usecases.trials._values import FROM_COURSE, assays_that_judge, hour_to_compare, results_of
from aerobe.usecases.trials._view import sheet_of
from aerobe.verdicts import CANNOT_TELL, Rival, Verdict, hold_back, is_surface, judge


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedBy:
    """What a trial is judged by, where it is not what its plan says."""

    outcome: str = ""  # the trial's own if empty
    assay: str = ""  # key of the assay whose readings are judged; the one that measured the most brews if empty
    at_h: float | None = None  # None: the last planned hour at which every sampled arm was read, else each brew's last sample [h]
    margin: float | None = None  # ratio or difference worth having; the trial's own if None


AS_THE_PLAN_SAYS = JudgedBy()


def verdict_of_trial(
    notebook: Notebook,
    key: str,
    *,
    by: JudgedBy = AS_THE_PLAN_SAYS,
    also: Sequence[tuple[str, str]] = (),
    now: datetime,
    asks: bool = True,
) -> Verdict:
    """Judge a trial by the brews that have results; arms without any are left out and named.

    Parameters
    ----------
    notebook
        Open notebook.
    key
        Of the trial.
    by
        Outcome, assay, hour and margin.
    also
        Comparisons that nobody planned.
    now
        For the brew model, where an outcome comes from it.
    asks
        Whether this asks anew, which is written down and counts; else the answer to what was asked before is shown again.

    Raises
    ------
    NotAllowed
        If it is only to be shown again and was never asked of these brews.
    """
    verdict, _ = judged_with_facts(notebook, key, by=by, also=also, now=now, asks=asks)
    return verdict


def judged_with_facts(
    notebook: Notebook,
    key: str,
    *,
    by: JudgedBy = AS_THE_PLAN_SAYS,
    also: Sequence[tuple[str, str]] = (),
    now: datetime,
    asks: bool = True,
) -> tuple[Verdict, dict[str, object] | None]:
    """As `verdict_of_trial`, with what a copy must know of results that were changed after a look; None if none was."""
    trial = notebook.get(Trial, key)
    chosen, assay, at_h, margin = by.outcome or trial.outcome, by.assay, by.at_h, by.margin
    brews = notebook.find(Brew, of=key)
    history = plan_history(notebook, key)
    # The plan counts as the first result found it; what was changed since is another question.
    sheet = history.sheet if trial.planned_at is not None else sheet_of(notebook, key)
    question = _question(notebook, trial, history, brews, sheet, by)
    changed = changed_afterwards(notebook, key, brews, lambda was: was.trial == key)
    if at_h is None:
        at_h = hour_to_compare(notebook, brews, chosen, sheet, assay=assay)
    if trial.question == "brewing time" and question.at_h is None and chosen not in FROM_COURSE:
        results = results_at_own_hours(notebook, trial, brews, chosen, assay=assay, now=now)
    else:
        results = results_of(notebook, brews, chosen, assay=assay, at_h=at_h, now=now)
    present = {result.arm for result in results}
    missing = [arm.key for arm in trial.arms if arm.key not in present]
    # A surface keeps all its points: the standard may be foretold, and no other point may take its place.
    judged = trial if is_surface(trial.arms) else replace(trial, arms=tuple(arm for arm in trial.arms if arm.key in present))
    lost = lost_brews(brews, results, sheet, at_h=at_h, now=now)
    # A brew that was lost comes no more: it counts as seen, or the last look would never have all there is to spend.
    settled = len(results) + len(lost)
    if asks:
        write_down(notebook, key, question, settled, now=now, of=[result.brew for result in results])
    else:
        require_asked(notebook, key, question, settled)
    told = not question.is_planned and _planned_is_told(notebook, key, history, now=now, asks=asks)
    standing = standing_of(notebook, key, question, planned_brews=len(sheet.brews) if sheet else None, planned_is_told=told)
    standing = replace(standing, was_planned=not history.late)
    if also and asks:
        write_down(notebook, key, replace(question, pair=EVERY_PAIR, is_planned=False), settled, now=now)
    verdict = judge(
        judged,
        results,
        outcome_key=chosen,
        margin=margin,
        also=also,
        standing=standing,
        lost=lost,
    )

    def judged_then(were: Afterwards) -> Verdict:
        found = results_of(notebook, were.brews, chosen, assay=assay, at_h=at_h, now=now, readings=were.readings)
        return judge(
            judged,
            found,
            outcome_key=chosen,
            margin=margin,
            standing=replace(standing, looks=1, words=""),
            also=also,
            lost=lost,
            extent="comparisons",
        )

    verdict, facts = held_to_the_look(notebook, key, verdict, changed, judged_then, question=question.words)
    if asks and facts is not None:
        keep_once(notebook, AFTERWARDS, key, facts, now=now)
    early = read_too_early(notebook, [brew for brew in brews if brew.arm in present])
    verdict = verdict if early is None else hold_back(verdict, early)
    verdict = with_hours(notebook, judged, brews, verdict, assay=assay, at_h=at_h, now=now)
    said = _plan_in_words(trial, history, chosen, margin)
    verdict = replace(verdict, rivals=(*verdict.rivals, *said))
    if missing:
        gap = Rival(
            name="missing arm", words=f"Arm {', '.join(missing)} has no result yet.", remedy="Finish the trial, then judge again."
        )
        verdict = replace(verdict, rivals=(*verdict.rivals, gap))
    return verdict, facts


def _plan_in_words(trial: Trial, history: PlanHistory, outcome: str, margin: float | None) -> tuple[Rival, ...]:
    """What a reader must know of how the plan came about: written late, changed, or not the one that was judged by."""
    found = [
        Rival(name="plan changed", words=words, remedy="Say so wherever you show this verdict.") for words in history.changes
    ]
    if history.late:
        remedy = "Nothing here counts as planned. Plan the next trial before its first brew, and name its brews when they begin."
        found.insert(0, Rival(name="unplanned", words=history.late, remedy=remedy))
    elif trial.planned_at is not None and not history.planned:
        words = f"Plan and brews were written in afterwards (the plan at {history.written_at}): which came first is not shown."
        found.insert(0, Rival(name="written in afterwards", words=words, remedy="Write the next plan in before its first brew."))
    if history.unblinded:
        remedy = "Say so wherever you show this verdict; keep the key with somebody who reads no tests."
        found.append(Rival(name="not blind", words=history.unblinded, remedy=remedy))
    if margin is not None and abs(margin - trial.margin_ratio) > 1e-9:
        words = f"Judged with a margin of {number(margin)}; the plan says {number(trial.margin_ratio)}."
        found.append(Rival(name="other margin", words=words, remedy="Show the verdict by the planned margin beside it."))
    if outcome != trial.outcome:
        words = f"Judged by {outcome}; the plan says {trial.outcome}."
        found.append(Rival(name="other outcome", words=words, remedy="Show the verdict by the planned outcome beside it."))
    return tuple(found)


def next_trial(notebook: Notebook, key: str, *, now: datetime, outcome: str = "", asks: bool = True) -> NextTrial:
    """What to run after this trial, and what the next step of it costs.

    Raises
    ------
    NotAllowed
        If its codes are closed: what comes next would tell which recipe did well.
    """
    trial = notebook.get(Trial, key)
    refuse_while_hidden(notebook, notebook.find(Brew, of=key))
    verdict = verdict_of_trial(notebook, key, by=JudgedBy(outcome=outcome), now=now, asks=asks)
    found = propose_next(trial, verdict, key=f"{key[:70]}-next")
    words, cost = next_step(notebook, key, verdict)
    return replace(found, because=(*found.because, words), cost=cost) if words else found


def keep_verdict(notebook: Notebook, key: str, verdict: Verdict, *, now: datetime, token: str = "") -> None:
    """Keep what was judged: headline and numbers, so that later looks can be counted."""
    payload = {
        "headline": verdict.headline,
        "outcome": verdict.outcome.key,
        "brews": verdict.brews,
        "looks": verdict.looks,
        "comparisons": [
            {"label": c.label, "effect": c.effect, "low": c.family_low, "high": c.family_high, "call": c.call}
            for c in verdict.comparisons
        ],
    }
    notebook.keep("verdict", key, payload, at=now, token=token)


def _question(
    notebook: Notebook,
    trial: Trial,
    history: PlanHistory,
    brews: Sequence[Brew],
    sheet: RunSheet | None,
    by: JudgedBy,
) -> AskedQuestion:
    """What is asked; outcome, hour, test and margin of the plan as the first brew found it are the planned question."""
    outcome, assay, at_h, margin = by.outcome or trial.outcome, by.assay, by.at_h, by.margin
    usual_h = hour_to_compare(notebook, brews, outcome, sheet, assay=assay)
    usual_assay = assays_that_judge(notebook, brews, outcome)[:1] if assay and outcome not in FROM_COURSE else ()
    other_h = None if at_h is None or at_h == usual_h else at_h
    other_assay = "" if assay in ("", *usual_assay) else assay
    asked_margin = trial.margin_ratio if margin is None else margin
    plan = history.begun or trial
    other_margin = None if asked_margin == plan.margin_ratio else asked_margin
    # A table may bring more arms to a trial that nobody planned; a plan has its arms before the first result.
    other_arms = trial.planned_at is not None and (plan.question, plan.arms) != (trial.question, trial.arms)
    pair = f"{trial.question}, {arms_in_words(trial.arms)}:" if other_arms else ""
    is_planned = outcome == plan.outcome and other_h is None and not other_assay and other_margin is None and not other_arms
    return AskedQuestion(outcome=outcome, at_h=other_h, assay=other_assay, margin=other_margin, pair=pair, is_planned=is_planned)


def _planned_is_told(notebook: Notebook, key: str, history: PlanHistory, *, now: datetime, asks: bool) -> bool:
    """Whether the trial's own question has an answer, so that its allowance passes on to what is asked beside it."""
    plan = history.begun
    if plan is None or (plan.question, plan.arms) != (notebook.get(Trial, key).question, notebook.get(Trial, key).arms):
        return False  # other arms stand there now: the planned question can no longer be asked
    try:
        verdict = verdict_of_trial(notebook, key, by=JudgedBy(outcome=plan.outcome, margin=plan.margin_ratio), now=now, asks=asks)
    except AerobeError:
        return False
    return any(item.call != CANNOT_TELL for item in verdict.comparisons if item.planned)
