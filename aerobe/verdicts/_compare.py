"""The comparisons of a verdict: effects by the model that fits the results, calls, and what holds a call back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._answer import CANNOT_TELL, SAME, Comparison
from aerobe.verdicts._calls import Calls, call_contrasts
from aerobe.verdicts._censored import enough_seen, fit_censored
from aerobe.verdicts._contrasts import Contrast
from aerobe.verdicts._core import Effects, fit_effects
from aerobe.verdicts._evidence import Evidence, sides_of, with_lost
from aerobe.verdicts._interim import Allowance
from aerobe.verdicts._layout import Layout, is_estimable
from aerobe.verdicts._missing import hull
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._rates import enough_events, fit_rates, fit_rates_of_days
from aerobe.verdicts._rivals import Rival
from aerobe.verdicts._simultaneous import all_pairs
from aerobe.verdicts._words import because_of

Array = NDArray[np.float64]
NO_SCATTER = 1e-18  # variance of brew means that only rounding leaves [-]


def effects_of(evidence: Evidence, rows: Array, bias: Array | None = None) -> tuple[Effects, list[str]]:
    """The contrasts by the model that fits the results, and why a contrast is not known (empty where it is)."""
    layout, kind = evidence.layout, evidence.kind
    why = [""] * len(rows)
    if kind.is_counted:
        exposure = np.array([result.of_n or 1.0 for result in evidence.results])
        is_share = kind.scale == "share"
        fit = fit_rates_of_days if evidence.members else fit_rates
        effects = fit(evidence.values, exposure, layout, rows, is_share=is_share)
        enough = enough_events(layout, rows, evidence.values, exposure, is_share=is_share)
        why = ["" if ok else "an arm shows too few events (or too few without) to take a ratio of" for ok in enough]
    elif evidence.is_limited:
        together = evidence.together
        side = sides_of(evidence.results) if together is None else together.seen_in_part
        enough = enough_seen(layout, rows, side)
        why = ["" if ok else "too many brews of an arm lie beyond what the test can show" for ok in enough]
        if not enough.any():
            effects = fit_effects(evidence.values, layout, rows, bias)
        else:
            effects = fit_censored(evidence.values, side, layout, rows, bias, together=together)
    else:
        effects = fit_effects(evidence.values, layout, rows, bias)
    for i, row in enumerate(rows):
        if not why[i] and not effects.known[i]:
            why[i] = "an arm was brewed once, and nothing tells how much its brews differ"
        least = effects.scatter if layout.is_blocked else effects.arm_variance[np.abs(row) > 1e-12].min()
        if not why[i] and not kind.is_counted and float(least) < NO_SCATTER:
            why[i] = "brews of one arm read exactly alike: the scale of the test is too coarse to show how much brews differ"
    known = np.array([not words for words in why])
    return replace(effects, known=effects.known & known), why


def compare(
    contrasts: Sequence[Contrast],
    evidence: Evidence,
    bound: float,
    *,
    colour: Sequence[Rival | None],
    held: Mapping[int, Rival],
    lost: Sequence[tuple[int, str]],
    allowance: Allowance,
    family_of_all_pairs: bool,
) -> tuple[tuple[Comparison, ...], Effects | None]:
    """Judge some contrasts together.

    Parameters
    ----------
    contrasts
        Comparisons that share one bar. [-]
    evidence
        Results and layout. [-]
    bound
        Margin on the scale compared. [-]
    colour
        What colour does to each contrast. [-]
    held
        What else could make the difference, by place of the contrast. [-]
    lost
        Arm and block of every brew that gave no result. [-]
    allowance
        Chance of a false claim that may be spent. [-]
    family_of_all_pairs
        Hold them to the bar of every pair of arms, since nobody said beforehand which to look at. [-]
    """
    layout = evidence.layout
    if not contrasts:
        return (), None
    if layout.df < 1:
        return tuple(untold(contrast, "no brew is repeated") for contrast in contrasts), None
    rows = np.array([contrast.weights for contrast in contrasts])
    tellable = is_estimable(layout, rows)
    made = {
        int(i): untold(contrasts[int(i)], "the arms never shared a block, so arm and block are one thing")
        for i in np.flatnonzero(~tellable)
    }
    chosen = [int(i) for i in np.flatnonzero(tellable)]
    effects: Effects | None = None
    if chosen:
        bias = np.array([0.0 if (found := colour[i]) is None else found.log_variance for i in chosen])
        effects, why = effects_of(evidence, rows[chosen], bias)
        family = _all_pairs_correlation(layout) if family_of_all_pairs else None
        call = partial(call_contrasts, margin=bound, allowance=allowance, family_correlation=family)
        calls = call(effects)
        for position, i in enumerate(chosen):
            if why[position]:
                made[i] = untold(contrasts[i], why[position])
                continue
            own = _with_lost(evidence, rows[chosen], position, bias, lost, call, calls) if lost else None
            rival = held.get(i) or (colour[i] if (colour[i] or _NOTHING).blocks_claim else None)
            made[i] = _comparison(contrasts[i], effects, own or calls, position, bound, evidence.kind, rival)
    return tuple(made[i] for i in range(len(contrasts))), effects


_NOTHING = Rival(name="", words="", remedy="")


def _all_pairs_correlation(layout: Layout) -> Array:
    """Correlation of all pairs of arms, equally replicated: the bar of Tukey, Games and Howell."""
    pairs = all_pairs(layout.n_arms)
    return np.asarray(pairs @ pairs.T / 2.0)


def _with_lost(
    evidence: Evidence,
    rows: Array,
    position: int,
    bias: Array,
    lost: Sequence[tuple[int, str]],
    call: Callable[[Effects], Calls],
    calls: Calls,
) -> Calls | None:
    """The calls that stand with the lost brews at either end of what their arm showed."""
    row = rows[position]
    concerned = [(arm, block) for arm, block in lost if abs(row[arm]) > 1e-12]
    if not concerned or evidence.kind.is_counted:
        return None
    found = [calls]
    for towards in (1.0, -1.0):
        effects, why = effects_of(with_lost(evidence, concerned, row, towards), rows, bias)
        if not why[position]:
            found.append(call(effects))
    return hull(found)


def _comparison(
    contrast: Contrast, effects: Effects, calls: Calls, i: int, bound: float, kind: Outcome, rival: Rival | None
) -> Comparison:
    above_margin = float(effects.probability_above(bound)[i])
    below_margin = 1.0 - float(effects.probability_above(-bound)[i])
    low, high = float(calls.family_low[i]), float(calls.family_high[i])
    words = {"higher": ("better", "worse"), "lower": ("worse", "better"), "neither": ("higher", "lower")}[kind.better]
    if len(contrast.factors) > 1:  # factors that help each other are no recipe that is better
        words = ("higher", "lower")
    signal_call = SAME if calls.same[i] else CANNOT_TELL
    if calls.above[i] or calls.below[i]:
        # A difference that is real and too small to be worth having is told as such in the words, not hidden.
        signal_call = words[0] if calls.above[i] else words[1]
    flipped = kind.better == "lower"
    comparison = Comparison(
        label=contrast.label,
        first=contrast.first,
        second=contrast.second,
        planned=contrast.planned,
        effect=float(effects.mean()[i]),
        error=float(effects.error[i]),
        df=float(effects.df[i]),
        low=float(calls.low[i]),
        high=float(calls.high[i]),
        family_low=low,
        family_high=high,
        probability_above=float(effects.probability_above(0.0)[i]),
        probability_better=below_margin if flipped else above_margin,
        probability_worse=above_margin if flipped else below_margin,
        probability_same=max(0.0, 1.0 - above_margin - below_margin),
        call=CANNOT_TELL if rival is not None else signal_call,
        signal_call=signal_call,
        worthwhile=low > bound or high < -bound,
        because="",
        held_by="" if rival is None else rival.name,
        is_interaction=len(contrast.factors) > 1,
    )
    return replace(comparison, because=because_of(comparison, bound, kind))


def untold(contrast: Contrast, why: str) -> Comparison:
    """A comparison of which nothing can be said, with its reason."""
    return Comparison(
        label=contrast.label,
        first=contrast.first,
        second=contrast.second,
        planned=contrast.planned,
        effect=None,
        error=None,
        df=None,
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
        is_interaction=len(contrast.factors) > 1,
    )
