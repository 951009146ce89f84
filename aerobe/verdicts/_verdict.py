"""The verdict: planned comparisons, each with its effect, interval, probabilities, call and what it may not claim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.errors import NotEnoughData
from aerobe.records import Trial
from aerobe.verdicts._answer import CANNOT_TELL, Comparison, Settle, Verdict
from aerobe.verdicts._calls import CLAIM_LEVEL
from aerobe.verdicts._check import check_comparisons
from aerobe.verdicts._compare import compare
from aerobe.verdicts._confounders import adjust_for_confounders
from aerobe.verdicts._contrasts import Contrast, pair_contrast, planned_contrasts
from aerobe.verdicts._core import Effects
from aerobe.verdicts._counting import collapse_to_source, margin_of, sources_of, usable_results
from aerobe.verdicts._days import brews_of_a_day
from aerobe.verdicts._dose import DoseAnswer, answer_dose_series
from aerobe.verdicts._drift import take_out_drift
from aerobe.verdicts._evidence import Evidence, values_on_scale
from aerobe.verdicts._implausible import too_alike
from aerobe.verdicts._interim import AS_PLANNED, Standing, share_of_side_question
from aerobe.verdicts._judge_surface import is_surface, judge_surface
from aerobe.verdicts._layout import Layout, lay_out
from aerobe.verdicts._missing import LostBrew, too_many_lost, without_missing_cells
from aerobe.verdicts._outcomes import Outcome, outcome
from aerobe.verdicts._outliers import dead_brew, dead_words
from aerobe.verdicts._ranking import rank_arms
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival, colour_of, find_rivals, hours_of, one_brew_of
from aerobe.verdicts._sets import brews_in_sets
from aerobe.verdicts._settle import brews_needed, brews_needed_for_sameness
from aerobe.verdicts._without_one import leaning_on_one
from aerobe.verdicts._words import because_of, headline_of

Array = NDArray[np.float64]


Extent = Literal["whole", "without check", "comparisons"]


def judge(
    trial: Trial,
    results: Sequence[BrewResult],
    *,
    outcome_key: str | None = None,
    margin: float | None = None,
    also: Sequence[tuple[str, str]] = (),
    standing: Standing = AS_PLANNED,
    lost: Sequence[LostBrew] = (),
    extent: Extent = "whole",
) -> Verdict:
    """Judge a trial by one outcome.

    Parameters
    ----------
    trial
        The question, with its arms and the margin fixed before the first brew. [-]
    results
        One result for each brew. [outcome's unit]
    outcome_key
        Outcome judged; the trial's own if None. [-]
    margin
        Ratio (or difference, for outcomes compared so) worth having; the trial's own if None. [-]
    also
        Comparisons (first, second) that nobody planned; they are marked and held to the bar of every pair. [-]
    standing
        What this look at this question may claim, and whether it was planned. [-]
    lost
        Brews that were started and gave no result. [-]
    extent
        "whole"; "without check" leaves out the frequentist check; "comparisons" also ranking, dose and what would settle the
        rest, for many simulated trials. [-]

    Returns
    -------
    Verdict
        Comparisons, ranking, rivals and what would settle the rest. [-]

    Raises
    ------
    NotEnoughData
        If an arm that was planned has no brew, or fewer than two arms are left.
    UnusableRecord
        If a brew is named twice, belongs to no arm, or has no positive value where ratios are compared.

    Source
    ------
    welch-1947, games-howell-1976, hurlbert-1984, schuirmann-1987
    """
    kind = outcome(outcome_key or trial.outcome)
    if trial.question == "factors" and is_surface(trial.arms):
        # A point without a result is foretold by the others, where these are enough.
        seen = {result.arm for result in results}
        usable = usable_results(replace(trial, arms=tuple(arm for arm in trial.arms if arm.key in seen)), results, kind)
        found = judge_surface(trial, usable, kind, margin_of(trial, margin, kind), standing=standing, lost=lost)
        return _with_headline(found)
    trial, missing_cell = without_missing_cells(trial, results)
    usable = usable_results(trial, results, kind)
    fed_by = sources_of(usable)
    usable = collapse_to_source(usable, kind)
    arms = trial.arms
    keys = [arm.key for arm in arms]
    contrasts = (
        *(replace(c, planned=standing.was_planned) for c in planned_contrasts(trial)),
        *(pair_contrast(arms, a, b, planned=False) for a, b in also),
    )
    bound = margin_of(trial, margin, kind)
    hours_are_asked = trial.question == "brewing time"
    places = [keys.index(r.arm) for r in usable]
    plain = not kind.is_counted and not any(r.at_limit or r.above_range for r in usable)
    values = values_on_scale(usable, kind)
    entered = lay_out(places, [r.block for r in usable])
    alike = too_alike(usable, values, entered, are_logs=kind.scale == "ratio", of_microbes=kind.is_of_microbes) if plain else None
    each = usable
    usable, members, shared_day = brews_of_a_day(usable, places, values, kind)
    if not members and alike is None:
        usable, in_sets = brews_in_sets(usable, places, values, kind)
        shared_day = in_sets or shared_day
        each = usable
    places = [keys.index(r.arm) for r in usable]
    adjusted = adjust_for_confounders(contrasts, places, usable, vessels_planned="vessels" in trial.design)
    values = values_on_scale(usable, kind)
    layout, drift = adjusted.layout, None
    if plain:
        layout, drift = take_out_drift(layout, np.array([c.weights for c in contrasts]), usable, values)
    evidence = Evidence(kind=kind, results=usable, arms=tuple(places), values=values, layout=layout, members=members)
    colour = [colour_of(contrast, arms, usable) if kind.is_of_microbes else None for contrast in contrasts]
    held = dict(adjusted.held)
    for i, contrast in enumerate(contrasts):
        rival = one_brew_of(contrast, fed_by) or too_many_lost(contrast, usable, lost) or alike
        rival = rival or (None if hours_are_asked else hours_of(contrast, usable))
        if rival is not None:
            held.setdefault(i, rival)
    dead = dead_brew(evidence.values, evidence.layout) if kind.scale == "ratio" and not evidence.is_limited else None
    gone = [(keys.index(item.arm), item.block) for item in lost if item.arm in keys]

    def answer(of: Evidence) -> tuple[tuple[Comparison, ...], Effects | None]:
        count = len(contrasts) - len(also)
        return _judged(contrasts, count, of, bound, colour, held, gone, standing)

    def alone(of: Evidence, by: Standing, i: int) -> Comparison:
        return _judged([contrasts[i]], 1, of, bound, [colour[i]], {}, gone, by)[0][0]

    used = evidence if dead is None else evidence.without(dead)
    comparisons, effects = answer(used)
    if leaning := leaning_on_one(comparisons, used, standing, alone):
        held.update(leaning)
        comparisons, effects = answer(used)
    rivals = (*held.values(), *adjusted.notes, *find_rivals(colour, each, arms, hours_are_asked=hours_are_asked))
    rivals = tuple(dict.fromkeys((*rivals, *(said for said in (shared_day, drift, missing_cell) if said))))
    if dead is not None:
        rivals = (*rivals, dead_words(evidence.results, evidence.values, dead))
    blocked = any(c.held_by for c in comparisons)
    sd = float(np.sqrt(effects.scatter)) if effects is not None and not kind.is_counted else None
    verdict = Verdict(
        trial=trial.key,
        question=trial.question,
        outcome=kind,
        claims=f"signal only, not {kind.label}" if any(c.held_by == "colour" for c in comparisons) else kind.label,
        margin=math.exp(bound) if kind.is_ratio else bound,
        comparisons=comparisons,
        ranking=rank_arms(keys, evidence, higher_is_better=kind.better != "lower", allowance=standing.allowance)
        if len(arms) > 2 and not blocked and trial.question != "factors" and extent != "comparisons"
        else (),
        dose=_dose(trial, evidence, kind) if not (blocked or extent == "comparisons") else None,
        brew_sd=sd,
        brew_sd_low=_sd_bound(sd, layout.df, 0.95),
        brew_sd_high=_sd_bound(sd, layout.df, 0.05),
        test_sd=float(np.sqrt(np.mean([r.test_log_sd**2 for r in usable]))),
        df=layout.df,
        brews=len(usable),
        rivals=rivals,
        settle=None if extent == "comparisons" else _settle(comparisons, sd, layout, bound, len(arms)),
        checks=(),
        results=usable,
        looks=standing.looks,
        asked=standing.words,
        left_out="" if dead is None else usable[dead].brew,
        with_all=() if dead is None else answer(evidence)[0],
        headline="",
    )
    if extent == "whole" and plain and layout.df >= 1 and all(c.effect is not None for c in comparisons):
        entered = lay_out(places, [r.block for r in usable])
        taken = layout.matrix[:, entered.matrix.shape[1] :][np.arange(len(usable)) != (-1 if dead is None else dead)]
        checks = check_comparisons(contrasts, keys, used.results, used.values, kind.scale, taken=taken, lost=len(gone))
        verdict = replace(verdict, checks=checks)
    return _with_headline(verdict)


def hold_back(verdict: Verdict, rival: Rival, labels: Sequence[str] | None = None) -> Verdict:
    """The same verdict with the claims of these comparisons (all of them if None) held back for this reason."""
    bound = math.log(verdict.margin) if verdict.outcome.is_ratio else verdict.margin

    def held(item: Comparison) -> Comparison:
        if item.call == CANNOT_TELL or (labels is not None and item.label not in labels):
            return item
        stopped = replace(item, call=CANNOT_TELL, held_by=rival.name)
        return replace(stopped, because=because_of(stopped, bound, verdict.outcome))

    comparisons = tuple(held(item) for item in verdict.comparisons)
    return _with_headline(
        replace(verdict, comparisons=comparisons, rivals=(rival, *verdict.rivals), ranking=(), dose=None, surface=None)
    )


def _with_headline(verdict: Verdict) -> Verdict:
    at = ""
    if verdict.question == "brewing time":
        at = ", each at its own hour"
    return replace(
        verdict, headline=headline_of(verdict.comparisons, verdict.rivals, verdict.outcome, at=at, left_out=verdict.left_out)
    )


def _judged(
    contrasts: Sequence[Contrast],
    planned: int,
    evidence: Evidence,
    bound: float,
    colour: Sequence[Rival | None],
    held: dict[int, Rival],
    lost: Sequence[tuple[int, str]],
    standing: Standing,
) -> tuple[tuple[Comparison, ...], Effects | None]:
    """The planned comparisons by their own bar, then those that nobody planned by what is left."""
    first, effects = compare(
        contrasts[:planned],
        evidence,
        bound,
        colour=colour[:planned],
        held={i: rival for i, rival in held.items() if i < planned},
        lost=lost,
        allowance=standing.allowance,
        family_of_all_pairs=not standing.was_planned,
    )
    told = any(item.call != CANNOT_TELL for item in first)
    share = share_of_side_question(standing.side_questions + 1, planned_is_told=told)
    rest, _ = compare(
        contrasts[planned:],
        evidence,
        bound,
        colour=colour[planned:],
        held={i - planned: rival for i, rival in held.items() if i >= planned},
        lost=lost,
        allowance=standing.allowance.shared(share),
        family_of_all_pairs=True,
    )
    return (*first, *rest), effects


def _dose(trial: Trial, evidence: Evidence, kind: Outcome) -> DoseAnswer | None:
    results, values = evidence.results, evidence.values
    dose_of = {arm.key: arm.dose for arm in trial.arms if arm.dose is not None}
    kept = [i for i, result in enumerate(results) if result.arm in dose_of]
    doses = [float(dose_of[results[i].arm] or 0.0) for i in kept]
    if trial.question != "dose series" or len(set(doses)) < 3 or kind.is_counted or evidence.is_limited:
        return None
    sign = -1.0 if kind.better == "lower" else 1.0
    try:
        return answer_dose_series(doses, [sign * float(values[i]) for i in kept], [results[i].block for i in kept])
    except NotEnoughData:
        return None


def _sd_bound(sd: float | None, df: int, probability: float) -> float | None:
    return None if sd is None else sd * math.sqrt(df / float(special.chdtri(df, 1.0 - probability)))


def _settle(comparisons: Sequence[Comparison], sd: float | None, layout: Layout, bound: float, arms: int) -> Settle | None:
    open_ones = [comparison for comparison in comparisons if comparison.call == CANNOT_TELL]
    if not open_ones or all(comparison.held_by for comparison in open_ones):
        return None
    if sd is None or sd == 0:
        return Settle(
            brews_per_arm=None,
            brews_per_arm_for_sameness=None,
            words="Brew each arm at least three times: with single brews nobody can know how much brews of one recipe differ.",
        )
    if bound == 0:
        return None
    each = max(1.0, layout.matrix.shape[0] / arms)
    # Several comparisons share the allowance for a false claim.
    more = brews_needed(sd, bound, arms=arms, claim_level=1.0 - (1.0 - CLAIM_LEVEL) / len(comparisons))
    same = brews_needed_for_sameness(sd, bound, arms=arms)
    if more is None:
        words = "At this scatter a difference of the margin is out of reach: ask for a larger one, or make brews more alike."
    else:
        words = f"At this scatter {more} brews of each arm (now {each:.0f}) would tell a difference of the margin 4 times in 5"
        words += f"; {same} would show sameness." if same else "."
    return Settle(brews_per_arm=more, brews_per_arm_for_sameness=same, words=words)
