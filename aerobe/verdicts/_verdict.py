"""The verdict: planned comparisons, each with its effect, interval, probabilities, call and what it may not claim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.errors import NotEnoughData
from aerobe.records import Arm, Trial
from aerobe.verdicts._answer import CANNOT_TELL, SAME, Comparison, Settle, Verdict
from aerobe.verdicts._calls import CLAIM_LEVEL, INTERVAL_LEVEL, Calls, call_contrasts
from aerobe.verdicts._check import check_comparisons
from aerobe.verdicts._contrasts import Contrast, pair_contrast, planned_contrasts
from aerobe.verdicts._core import Effects, Layout, fit_effects, is_estimable, lay_out
from aerobe.verdicts._counting import collapse_to_source, margin_of, usable_results
from aerobe.verdicts._dose import DoseAnswer, answer_dose_series
from aerobe.verdicts._outcomes import Outcome, outcome
from aerobe.verdicts._ranking import rank_arms
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival, colour_of, find_rivals
from aerobe.verdicts._settle import brews_needed, brews_needed_for_sameness
from aerobe.verdicts._words import because_of, headline_of

Array = NDArray[np.float64]
NO_SCATTER = 1e-18  # variance of brew means that only rounding leaves [-]


def judge(
    trial: Trial,
    results: Sequence[BrewResult],
    *,
    outcome_key: str | None = None,
    margin: float | None = None,
    also: Sequence[tuple[str, str]] = (),
    looks: int = 1,
    with_check: bool = True,
    was_planned: bool = True,
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
        Comparisons (first, second) that nobody planned; they are marked and held to a stricter bar. [-]
    looks
        How often this question has been judged with accumulating data, this time included. [-]
    with_check
        Whether to add the frequentist check. [-]
    was_planned
        False for brews put together afterwards: then every comparison is marked as unplanned. [-]

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
    box-tiao-1973, hurlbert-1984, schuirmann-1987, scheffe-1953
    """
    kind = outcome(outcome_key or trial.outcome)
    usable = usable_results(trial, results, kind)
    usable, pseudo = collapse_to_source(usable, kind)
    arms = trial.arms
    keys = [arm.key for arm in arms]
    values = np.array([math.log(r.value) if kind.scale == "ratio" else r.value for r in usable])
    # Vessels are taken out only where the plan balanced them: each taken out costs a degree of freedom.
    columns = [r.column if "vessels" in trial.design else "" for r in usable]
    layout = lay_out([keys.index(r.arm) for r in usable], [r.block for r in usable], columns)
    contrasts = (
        *(replace(c, planned=was_planned) for c in planned_contrasts(trial)),
        *(pair_contrast(arms, a, b, planned=False) for a, b in also),
    )
    bound = margin_of(trial, margin, kind)
    variance = np.array([r.test_log_sd**2 for r in usable])
    colour = [colour_of(contrast, arms, usable) if kind.is_of_microbes else None for contrast in contrasts]
    comparisons, effects = _compare(contrasts, colour, values, layout, variance, bound, kind, looks)
    rivals = find_rivals(colour, usable, arms, values, layout, pseudo)
    blocked = any(found is not None and found.blocks_claim for found in colour)
    sd = float(np.sqrt(effects.scatter)) if effects is not None else None
    verdict = Verdict(
        trial=trial.key,
        question=trial.question,
        outcome=kind,
        claims=f"signal only, not {kind.label}" if blocked else kind.label,
        margin=math.exp(bound) if kind.scale == "ratio" else bound,
        comparisons=comparisons,
        ranking=rank_arms(keys, values, layout, test_variance=variance, higher_is_better=kind.better != "lower")
        if len(arms) > 2 and not blocked and trial.question != "factors"
        else (),
        dose=_dose(trial, usable, values, kind) if not blocked else None,
        brew_sd=sd,
        brew_sd_low=_sd_bound(sd, layout.df, 0.95),
        brew_sd_high=_sd_bound(sd, layout.df, 0.05),
        test_sd=float(np.sqrt(variance.mean())),
        df=layout.df,
        brews=len(usable),
        rivals=rivals,
        settle=_settle(comparisons, sd, layout, bound, len(arms)),
        checks=(),
        results=usable,
        looks=looks,
        headline="",
    )
    if with_check and layout.df >= 1 and all(c.effect is not None for c in comparisons):
        verdict = replace(verdict, checks=check_comparisons(contrasts, keys, usable, values, kind.scale))
    return replace(verdict, headline=headline_of(verdict.comparisons, verdict.rivals, kind))


def _compare(
    contrasts: Sequence[Contrast],
    colour: Sequence[Rival | None],
    values: Array,
    layout: Layout,
    variance: Array,
    bound: float,
    kind: Outcome,
    looks: int,
) -> tuple[tuple[Comparison, ...], Effects | None]:
    rows = np.array([contrast.weights for contrast in contrasts])
    tellable = is_estimable(layout, rows)
    if layout.df < 1:
        return tuple(_untold(contrast, "no brew is repeated") for contrast in contrasts), None
    planned = np.array([contrast.planned for contrast in contrasts])
    made: dict[int, Comparison] = {}
    first_effects: Effects | None = None
    for group, critical in ((planned & tellable, None), (~planned & tellable, _scheffe(layout, looks))):
        chosen = [int(i) for i in np.flatnonzero(group)]
        if not chosen:
            continue
        bias = np.array([0.0 if (found := colour[i]) is None else found.log_variance for i in chosen])
        effects = fit_effects(values, layout, rows[chosen], variance, bias)
        if float(effects.scatter) < NO_SCATTER:
            why = "brews of one arm read exactly alike: the scale of the test is too coarse to show how much brews differ"
            return tuple(_untold(contrast, why) for contrast in contrasts), None
        calls = call_contrasts(effects, bound, looks=looks, family_critical=critical)
        first_effects = first_effects or effects
        for position, i in enumerate(chosen):
            made[i] = _comparison(contrasts[i], colour[i], effects, calls, position, bound, kind)
    for i in (int(i) for i in np.flatnonzero(~tellable)):
        made[i] = _untold(contrasts[i], "the arms never shared a block, so arm and block are one thing")
    return tuple(made[i] for i in range(len(contrasts))), first_effects


def _scheffe(layout: Layout, looks: int) -> tuple[float, float]:
    """Critical values that hold for every comparison one could think of after seeing the data."""
    dims = layout.n_arms - 1
    levels = (INTERVAL_LEVEL, 1.0 - (1.0 - CLAIM_LEVEL) / looks)
    low, high = (math.sqrt(dims * float(special.fdtri(dims, max(layout.df, 1), level))) for level in levels)
    return low, high


def _comparison(
    contrast: Contrast, colour: Rival | None, effects: Effects, calls: Calls, i: int, bound: float, kind: Outcome
) -> Comparison:
    above_margin = float(effects.probability_above(bound)[i])
    below_margin = 1.0 - float(effects.probability_above(-bound)[i])
    low, high = float(calls.family_low[i]), float(calls.family_high[i])
    words = {"higher": ("better", "worse"), "lower": ("worse", "better"), "neither": ("higher", "lower")}[kind.better]
    signal_call = SAME if calls.same[i] else CANNOT_TELL
    if calls.above[i] or calls.below[i]:
        # A difference that is real and too small to be worth having is told as such in the words, not hidden.
        signal_call = words[0] if calls.above[i] else words[1]
    blocked = colour is not None and colour.blocks_claim
    flipped = kind.better == "lower"
    comparison = Comparison(
        label=contrast.label,
        first=contrast.first,
        second=contrast.second,
        planned=contrast.planned,
        effect=float(effects.mean()[i]),
        low=float(calls.low[i]),
        high=float(calls.high[i]),
        family_low=low,
        family_high=high,
        probability_above=float(effects.probability_above(0.0)[i]),
        probability_better=below_margin if flipped else above_margin,
        probability_worse=above_margin if flipped else below_margin,
        probability_same=max(0.0, 1.0 - above_margin - below_margin),
        call=CANNOT_TELL if blocked else signal_call,
        signal_call=signal_call,
        worthwhile=low > bound or high < -bound,
        because="",
    )
    return replace(comparison, because=because_of(comparison, bound, kind, blocked=blocked))


def _untold(contrast: Contrast, why: str) -> Comparison:
    return Comparison(
        label=contrast.label,
        first=contrast.first,
        second=contrast.second,
        planned=contrast.planned,
        effect=None,
        low=None,
        high=None,
        family_low=None,
        family_high=None,
        probability_above=None,
        probability_better=None,
        probability_worse=None,
        probability_same=None,
        call=CANNOT_TELL,
        signal_call=CANNOT_TELL,
        worthwhile=False,
        because=f"{contrast.label}: cannot be told, since {why}.",
    )


def _dose(trial: Trial, results: Sequence[BrewResult], values: Array, kind: Outcome) -> DoseAnswer | None:
    dose_of = {arm.key: arm.dose for arm in trial.arms if arm.dose is not None}
    kept = [i for i, result in enumerate(results) if result.arm in dose_of]
    doses = [float(dose_of[results[i].arm] or 0.0) for i in kept]
    if trial.question != "dose series" or len(set(doses)) < 3:
        return None
    sign = -1.0 if kind.better == "lower" else 1.0
    try:
        return answer_dose_series(doses, [sign * float(values[i]) for i in kept], [results[i].block for i in kept])
    except NotEnoughData:
        return None


def _sd_bound(sd: float | None, df: int, probability: float) -> float | None:
    return None if sd is None else sd * math.sqrt(df / float(special.chdtri(df, 1.0 - probability)))


def _settle(comparisons: Sequence[Comparison], sd: float | None, layout: Layout, bound: float, arms: int) -> Settle | None:
    if all(comparison.call != CANNOT_TELL for comparison in comparisons):
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


def every_pair(arms: Sequence[Arm]) -> list[tuple[str, str]]:
    """All pairs of arms (later, earlier), for asking about comparisons that nobody planned."""
    return [(b.key, a.key) for a, b in combinations(arms, 2)]
