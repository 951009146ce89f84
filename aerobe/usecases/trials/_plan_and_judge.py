"""A trial's way: plan, draw, start the planned brews, judge, and propose the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from aerobe.errors import AerobeError, NotFound, UnusableRecord
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Arm, Brew, PlannedBrew, RunSheet, Trial
from aerobe.trials import NextTrial, Plan, draw_run_sheet, plan_trial, propose_next
from aerobe.units import number
from aerobe.usecases.trials._asked import EVERY_PAIR, Question, require_asked, standing_of, standing_of_pair, write_down
from aerobe.usecases.trials._blinding import PlanHistory, plan_history, refuse_while_hidden, shown, shown_sheet
from aerobe.usecases.trials._hours import lost_brews, results_at_own_hours, with_hours
from aerobe.usecases.trials._values import FROM_COURSE, assays_that_judge, hour_to_compare, results_of
from aerobe.usecases.trials._wish import TrialWish
from aerobe.verdicts import CANNOT_TELL, Rival, Verdict, judge


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTrial:
    """A plan with everything that was asked for, not yet written down."""

    wish: TrialWish
    trial: Trial
    plan: Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialView:
    """A trial as it stands."""

    trial: Trial
    sheet: RunSheet | None
    brews: tuple[Brew, ...]  # that were started
    waiting: tuple[PlannedBrew, ...]  # planned and not started
    with_results: int  # brews that have a sample reading


def plan_for(notebook: Notebook, wish: TrialWish, *, now: datetime) -> PlannedTrial:
    """What can be answered with this budget. Nothing is written.

    Raises
    ------
    AerobeError
        If the wish cannot be understood; the message says which field.
    """
    trial = wish.to_trial(notebook, planned_at=now)
    scatter = wish.to_scatter(notebook, now=now)
    plan = plan_trial(
        trial,
        scatter,
        wish.to_budget(),
        given=wish.to_circumstances(notebook),
        colour_sensitive=wish.reads_colour(notebook),
        seed=wish.seed_number(),
    )
    return PlannedTrial(wish=wish, trial=trial, plan=plan)


def start_trial(notebook: Notebook, wish: TrialWish, *, now: datetime, who: str = "") -> str:
    """Write the trial down with its run sheet, drawn with the kept seed. Gives the trial's key.

    Raises
    ------
    UnusableRecord
        If the budget does not reach two brews of each arm.
    """
    planned = plan_for(notebook, wish, now=now)
    design = planned.plan.recommended
    if design is None:
        raise UnusableRecord(planned.plan.words, "Raise the budget or the days, or drop an arm.")
    trial = replace(planned.trial, design="randomised blocks" if design.rounds > 1 else "completely randomised")
    sheet = draw_run_sheet(
        trial,
        design.plots,
        controls=design.controls,
        sample_times_h=wish.sampling_hours(),
        tests_per_brew=design.tests_per_brew,
        seed=wish.seed_number(),
        first_start=wish.first_start(now),
        days_per_round=wish.to_budget().days_per_round,
        vessels=wish.vessel_keys(notebook),
    )
    with notebook.writing() as pen:
        receipt = pen.add(trial, at=now, who=who, token=wish.token)
        if receipt.was_new:  # a form sent again has its trial and sheet already, under the first key
            pen.add(sheet, at=now, who=who)
    return receipt.key


def trial_list(notebook: Notebook) -> list[dict[str, object]]:
    """Every trial with how far it has come, in the order of keys."""
    started: dict[str, int] = {}
    for brew in notebook.find(Brew):
        started[brew.trial] = started.get(brew.trial, 0) + 1
    return [
        {
            "key": trial.key,
            "name": trial.name,
            "question": trial.question,
            "outcome": trial.outcome,
            "arms": len(trial.arms),
            "brews": started.get(trial.key, 0),
        }
        for trial in notebook.find(Trial)
    ]


def trial_view(notebook: Notebook, key: str) -> TrialView:
    """One trial as it stands.

    Raises
    ------
    NotFound
        If there is none with this key.
    """
    trial = notebook.get(Trial, key)
    sheet = sheet_of(notebook, key)
    brews = tuple(notebook.find(Brew, of=key))
    known = {brew.key for brew in brews}
    sampled = {reading.brew for brew in brews for reading in notebook.readings(brew.key) if reading.role == "sample"}
    waiting = tuple(planned for planned in (sheet.brews if sheet else ()) if planned.brew not in known)
    return TrialView(trial=trial, sheet=sheet, brews=brews, waiting=waiting, with_results=len(sampled))


def trial_shown(notebook: Notebook, key: str) -> TrialView:
    """One trial as it may be shown: recipes and arms stay behind their codes until these are opened."""
    view = trial_view(notebook, key)
    sheet = shown_sheet(notebook, view.sheet)
    left = {item.brew for item in view.waiting}
    return replace(
        view,
        sheet=sheet,
        brews=tuple(shown(notebook, brew) for brew in view.brews),
        waiting=tuple(item for item in (sheet.brews if sheet else ()) if item.brew in left),
    )


def start_planned_brew(
    notebook: Notebook,
    trial: str,
    code: str,
    *,
    now: datetime,
    started_at: datetime | None = None,
    who: str = "",
    token: str = "",
) -> Receipt:
    """The air is on in a planned brew: its recipe, vessel and block come from the run sheet.

    Raises
    ------
    NotFound
        If the run sheet has no such code.
    UnusableRecord
        If the arm has no recipe to brew.
    """
    view = trial_view(notebook, trial)
    planned = next((item for item in (view.sheet.brews if view.sheet else ()) if item.blind_code == code), None)
    if planned is None:
        raise NotFound(f"The run sheet of {trial} has no code '{code}'.", "Read the code from the sheet; capital letters count.")
    recipe = _arm(view.trial, planned.arm).recipe
    if not recipe:
        raise UnusableRecord(f"Arm {planned.arm} is not brewed.", "Enter its result as a pot or bed instead.")
    brew = Brew(
        key=planned.brew,
        name=f"{view.trial.name}, {code}",
        recipe=recipe,
        vessel=planned.vessel,
        started_at=started_at or now,
        trial=trial,
        arm=planned.arm,
        block=planned.block,
        blind_code=code,
        # What the sheet asks of this brew. It is kept for the sheet's hours: the call spends none of it.
        tests_in_budget=sum(sample.tests + len(sample.controls) for sample in planned.samples),
    )
    return notebook.add(brew, at=now, who=who, token=token)


def verdict_of_trial(
    notebook: Notebook,
    key: str,
    *,
    outcome: str = "",
    assay: str = "",
    at_h: float | None = None,
    margin: float | None = None,
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
    outcome
        Judged by; the trial's own if empty.
    assay
        Key of the assay whose readings are judged; the one that measured the most brews if empty.
    at_h
        Time to compare at; None takes the last planned hour at which every sampled arm was read, else each
        brew's last sample. [h]
    margin
        Ratio or difference worth having; the trial's own if None. [-]
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
    trial = notebook.get(Trial, key)
    chosen = outcome or trial.outcome
    brews = notebook.find(Brew, of=key)
    sheet = sheet_of(notebook, key)
    question = _question(notebook, trial, brews, sheet, outcome=chosen, assay=assay, at_h=at_h, margin=margin)
    if at_h is None:
        at_h = hour_to_compare(notebook, brews, chosen, sheet, assay=assay)
    if trial.question == "brewing time" and question.at_h is None and chosen not in FROM_COURSE:
        results = results_at_own_hours(notebook, trial, brews, chosen, assay=assay, now=now)
    else:
        results = results_of(notebook, brews, chosen, assay=assay, at_h=at_h, now=now)
    present = {result.arm for result in results}
    missing = [arm.key for arm in trial.arms if arm.key not in present]
    judged = replace(trial, arms=tuple(arm for arm in trial.arms if arm.key in present))
    history = plan_history(notebook, key)
    backdated = trial.planned_at is not None and not history.came_first
    lost = lost_brews(brews, results, sheet, at_h=at_h, now=now)
    # A brew that was lost comes no more: it counts as seen, or the last look would never have all there is to spend.
    settled = len(results) + len(lost)
    if asks:
        write_down(notebook, key, question, settled, now=now)
    else:
        require_asked(notebook, key, question, settled)
    told = not question.is_planned and _planned_is_told(notebook, key, now=now, asks=asks)
    standing = standing_of(notebook, key, question, planned_brews=len(sheet.brews) if sheet else None, planned_is_told=told)
    if also and asks:
        write_down(notebook, key, replace(question, pair=EVERY_PAIR, is_planned=False), settled, now=now)
    verdict = judge(
        judged,
        results,
        outcome_key=chosen,
        margin=margin,
        also=also,
        allowance=standing.allowance,
        side_questions=standing.side_questions,
        looks=standing.looks,
        asked=standing.words,
        was_planned=not backdated,
        lost=lost,
    )
    verdict = with_hours(notebook, judged, brews, verdict, assay=assay, at_h=at_h, now=now)
    said = _plan_in_words(trial, history, chosen, margin, backdated=backdated)
    verdict = replace(verdict, rivals=(*verdict.rivals, *said))
    if missing:
        gap = Rival(
            name="missing arm", words=f"Arm {', '.join(missing)} has no result yet.", remedy="Finish the trial, then judge again."
        )
        verdict = replace(verdict, rivals=(*verdict.rivals, gap))
    return verdict


def _plan_in_words(
    trial: Trial, history: PlanHistory, outcome: str, margin: float | None, *, backdated: bool
) -> tuple[Rival, ...]:
    """What a reader must know of how the plan came about: written late, changed, or not the one that was judged by."""
    found = [
        Rival(name="plan changed", words=words, remedy="Say so wherever you show this verdict.") for words in history.changes
    ]
    if backdated:
        words = f"The plan was written into the notebook at {history.written_at}, after brews of the trial."
        remedy = "Nothing here counts as planned. Plan the next trial before its first brew."
        found.insert(0, Rival(name="unplanned", words=words, remedy=remedy))
    elif trial.planned_at is not None and not history.planned:
        words = f"Plan and brews were written in afterwards (the plan at {history.written_at}): which came first is not shown."
        found.insert(0, Rival(name="written in afterwards", words=words, remedy="Write the next plan in before its first brew."))
    if margin is not None and abs(margin - trial.margin_ratio) > 1e-9:
        words = f"Judged with a margin of {number(margin)}; the plan says {number(trial.margin_ratio)}."
        found.append(Rival(name="other margin", words=words, remedy="Show the verdict by the planned margin beside it."))
    if outcome != trial.outcome:
        words = f"Judged by {outcome}; the plan says {trial.outcome}."
        found.append(Rival(name="other outcome", words=words, remedy="Show the verdict by the planned outcome beside it."))
    return tuple(found)


def compare_recipes(
    notebook: Notebook,
    first: str,
    second: str,
    *,
    outcome: str = "biomass",
    at_h: float | None = None,
    margin: float = 1.25,
    now: datetime,
    asks: bool = True,
) -> Verdict:
    """Two recipes by all their brews, whenever brewed: marked as unplanned, and worth less than a trial.

    Raises
    ------
    UnusableRecord
        If the two are the same recipe.
    NotAllowed
        If brews of them are still blind, or the answer is only to be shown again (`asks` false) and was never asked for.
    """
    if first == second:
        raise UnusableRecord("A recipe cannot be compared with itself.", "Choose two recipes.")
    trial = Trial(
        key="afterwards",
        name=f"{first} against {second}",
        question="two recipes",
        outcome=outcome,
        margin_ratio=margin,
        arms=(Arm(key=second, recipe=second, is_standard=True), Arm(key=first, recipe=first)),
    )
    brews = [
        replace(brew, arm=brew.recipe, block=_day_block(brew)) for brew in notebook.find(Brew) if brew.recipe in (first, second)
    ]
    refuse_while_hidden(notebook, brews)
    shared = {block for block in {brew.block for brew in brews} if len({b.recipe for b in brews if b.block == block}) == 2}
    # Blocks help only where both recipes stood side by side; other brews are compared without.
    if len(shared) < len({brew.block for brew in brews}):
        brews = [replace(brew, block="") for brew in brews]
    results = results_of(notebook, brews, outcome, at_h=at_h, now=now)
    pair = " and ".join(sorted((first, second)))
    question = Question(outcome=outcome, at_h=at_h, margin=None if margin == 1.25 else margin, pair=pair)
    if asks:
        write_down(notebook, "recipes", question, len(results), now=now)
    else:
        require_asked(notebook, "recipes", question, len(results))
    brewed = len({brew.recipe for brew in notebook.find(Brew)})
    standing = standing_of_pair(notebook, "recipes", pair, max(1, brewed * (brewed - 1) // 2))
    return judge(trial, results, was_planned=False, allowance=standing.allowance, looks=standing.looks, asked=standing.words)


def next_trial(notebook: Notebook, key: str, *, now: datetime, outcome: str = "", asks: bool = True) -> NextTrial:
    """What to run after this trial.

    Raises
    ------
    NotAllowed
        If its codes are closed: what comes next would tell which recipe did well.
    """
    trial = notebook.get(Trial, key)
    refuse_while_hidden(notebook, notebook.find(Brew, of=key))
    return propose_next(trial, verdict_of_trial(notebook, key, outcome=outcome, now=now, asks=asks), key=f"{key[:70]}-next")


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
    brews: Sequence[Brew],
    sheet: RunSheet | None,
    *,
    outcome: str,
    assay: str,
    at_h: float | None,
    margin: float | None,
) -> Question:
    """What is asked; the plan's own outcome, hour, test and margin are the planned question, however they are spelt."""
    usual_h = hour_to_compare(notebook, brews, outcome, sheet, assay=assay)
    usual_assay = assays_that_judge(notebook, brews, outcome)[:1] if assay and outcome not in FROM_COURSE else ()
    other_h = None if at_h is None or at_h == usual_h else at_h
    other_assay = "" if assay in ("", *usual_assay) else assay
    other_margin = None if margin is None or margin == trial.margin_ratio else margin
    is_planned = outcome == trial.outcome and other_h is None and not other_assay and other_margin is None
    return Question(outcome=outcome, at_h=other_h, assay=other_assay, margin=other_margin, is_planned=is_planned)


def _planned_is_told(notebook: Notebook, key: str, *, now: datetime, asks: bool) -> bool:
    """Whether the trial's own question has an answer, so that its allowance passes on to what is asked beside it."""
    try:
        verdict = verdict_of_trial(notebook, key, now=now, asks=asks)
    except AerobeError:
        return False
    return any(item.call != CANNOT_TELL for item in verdict.comparisons if item.planned)


def sheet_of(notebook: Notebook, key: str) -> RunSheet | None:
    """The run sheet of a trial, if it has one."""
    try:
        return notebook.get(RunSheet, key)
    except NotFound:
        return None


def _arm(trial: Trial, key: str) -> Arm:
    return next(arm for arm in trial.arms if arm.key == key)


def _day_block(brew: Brew) -> str:
    return brew.block or f"{brew.started_at.date()}"
