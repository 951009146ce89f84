"""The comparisons of a verdict: effects by the model that fits the results, calls, and what holds a call back."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._answer import CANNOT_TELL, SAME, Comparison
from aerobe.verdicts._calls import Calls, call_contrasts
from aerobe.verdicts._censored import enough_seen, fit_censored
from aerobe.verdicts._contrasts import Contrast
from aerobe.verdicts._core import Effects, fit_effects
from aerobe.verdicts._days import together_on_days
from aerobe.verdicts._interim import Allowance
from aerobe.verdicts._layout import Layout, is_estimable, lay_out
from aerobe.verdicts._missing import filled_in, hull
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._rates import enough_events, fit_rates
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival
from aerobe.verdicts._simultaneous import all_pairs
from aerobe.verdicts._words import because_of

Array = NDArray[np.float64]
NO_SCATTER = 1e-18  # variance of brew means that only rounding leaves [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the comparisons rest on."""

    kind: Outcome
    results: tuple[BrewResult, ...]
    arms: tuple[int, ...]  # arm of each result, counted from 0
    values: Array  # outcomes on the scale compared, shape (brews,)
    layout: Layout
    members: tuple[Array, ...] = ()  # outcomes of the brews behind each result, where each day of an arm counts once

    @property
    def side(self) -> NDArray[np.int_]:
        """-1 for a brew below what the test sees, +1 above what it shows, 0 within, shape (brews,)."""
        return np.array([int(r.above_range) - int(r.at_limit) for r in self.results])

    def without(self, place: int) -> Evidence:
        """The same less one brew."""
        return self.only(np.arange(len(self.results)) != place)

    def only(self, keep: NDArray[np.bool_]) -> Evidence:
        """The same with some of the brews, shape of `keep` (brews,)."""
        kept = np.flatnonzero(keep).tolist()
        return replace(
            self,
            results=tuple(self.results[i] for i in kept),
            arms=tuple(self.arms[i] for i in kept),
            values=self.values[keep],
            layout=self.layout.subset(keep),
            members=tuple(self.members[i] for i in kept) if self.members else (),
        )


def values_on_scale(results: Sequence[BrewResult], kind: Outcome) -> Array:
    """Logs for ratios, else the values themselves, shape (brews,)."""
    return np.array([math.log(result.value) if kind.scale == "ratio" else result.value for result in results])


def effects_of(evidence: Evidence, rows: Array, bias: Array | None = None) -> tuple[Effects, list[str]]:
    """The contrasts by the model that fits the results, and why a contrast is not known (empty where it is)."""
    layout, kind = evidence.layout, evidence.kind
    why = [""] * len(rows)
    if kind.is_counted:
        exposure = np.array([result.of_n or 1.0 for result in evidence.results])
        is_share = kind.scale == "share"
        effects = fit_rates(evidence.values, exposure, layout, rows, is_share=is_share)
        enough = enough_events(layout, rows, evidence.values, exposure, is_share=is_share)
        why = ["" if ok else "an arm shows too few events (or too few without) to take a ratio of" for ok in enough]
    elif evidence.side.any():
        enough = enough_seen(layout, rows, evidence.side)
        why = ["" if ok else "too many brews of an arm lie beyond what the test can show" for ok in enough]
        if not enough.any():
            effects = fit_effects(evidence.values, layout, rows, bias)
        else:
            effects = fit_censored(evidence.values, evidence.side, layout, rows, bias)
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
        effects, why = effects_of(_filled(evidence, concerned, row, towards), rows, bias)
        if not why[position]:
            found.append(call(effects))
    return hull(found)


def _filled(evidence: Evidence, lost: Sequence[tuple[int, str]], row: Array, towards: float) -> Evidence:
    """The evidence with each lost brew at the end of its arm's results that speaks for (or against) the contrast."""
    blocks = [result.block for result in evidence.results]
    if evidence.members:
        return _filled_by_days(evidence, blocks, lost, row, towards)
    arms, filled, values = filled_in(evidence.arms, blocks, evidence.values, lost, row, towards=towards)
    twins: list[BrewResult] = []
    for arm, value in zip(arms[len(blocks) :], values[len(blocks) :], strict=True):
        twin = next(
            r for r, a, v in zip(evidence.results, evidence.arms, evidence.values, strict=True) if a == arm and v == value
        )
        twins.append(replace(twin, brew=f"lost-{len(twins)}"))  # a twin at a limit of the test lies beyond it, too
    results = tuple(replace(r, block=block) for r, block in zip((*evidence.results, *twins), filled, strict=True))
    return replace(evidence, results=results, arms=tuple(arms), values=values, layout=lay_out(arms, filled))


def _filled_by_days(
    evidence: Evidence, blocks: Sequence[str], lost: Sequence[tuple[int, str]], row: Array, towards: float
) -> Evidence:
    """The same where each day of an arm counts once: a lost brew moves the mean of its day, or is a day of its own."""
    counts = [len(own) for own in evidence.members]
    arms = [arm for arm, count in zip(evidence.arms, counts, strict=True) for _ in range(count)]
    # Days that are known by the hour of their brews alone are no blocks: each result, and each lost brew, is then of its own.
    named = any(blocks)
    days = [day if named else f"{i}" for i, (day, count) in enumerate(zip(blocks, counts, strict=True)) for _ in range(count)]
    gone = [(arm, day if named else f"lost-{i}") for i, (arm, day) in enumerate(lost)]
    arms, days, values = filled_in(arms, days, np.concatenate(evidence.members), gone, row, towards=towards)
    groups = together_on_days(arms, days)
    arms, days = [arms[places[0]] for places in groups], [days[places[0]] for places in groups]
    twins = [next(r for r, a in zip(evidence.results, evidence.arms, strict=True) if a == arm) for arm in arms]
    results = tuple(replace(r, brew=f"day-{i}", block=day) for i, (r, day) in enumerate(zip(twins, days, strict=True)))
    means = np.array([values[places].mean() for places in groups])
    return Evidence(kind=evidence.kind, results=results, arms=tuple(arms), values=means, layout=lay_out(arms, days))


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
