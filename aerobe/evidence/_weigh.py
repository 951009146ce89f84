"""All that is known of one recipe against another, put together and said in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.evidence._checks import SmallStudies, fades_without, leave_one_out, small_studies
from aerobe.evidence._copies import too_alike
from aerobe.evidence._effects import TrialContrast
from aerobe.evidence._headline import headline
from aerobe.evidence._hierarchical import BayesPool, bayes_pool
from aerobe.evidence._network import NetworkComparison, network
from aerobe.evidence._pool import Pooled, pool
from aerobe.evidence._prediction import prediction_interval
from aerobe.evidence._quality import Duplicate, Flag, flags, is_made_up, made_up_among_real, named, without_duplicates
from aerobe.evidence._selection import Selection, selection
from aerobe.evidence._sites import site_means
from aerobe.verdicts import INTERVAL_LEVEL


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """The evidence on one pair of recipes. What is missing because there is too little of it is None."""

    recipe: str
    against: str
    outcome: str
    margin_ratio: float
    level: float  # of every interval shown [-]
    contrasts: tuple[TrialContrast, ...]  # in the pool, turned to the direction asked for
    left_out: tuple[TrialContrast, ...]  # by a flag that leaves a trial out
    sites: tuple[str, ...]  # places, each with one voice in the pool, in the order of its weights
    shares: tuple[float | None, ...]  # of each trial in the pool, in the order of contrasts [%]
    pooled: Pooled | None  # of places
    next_trial: tuple[float, float] | None  # interval of the true effect of a next trial [ln ratio]
    bayes: BayesPool | None
    without: tuple[Pooled, ...]  # leave one place out, in the order of sites
    hinges_on: tuple[str, ...]  # places whose absence changes whether the answer is clear
    small: SmallStudies | None
    missing: Selection | None  # the pool if trials that showed nothing were not published
    network: NetworkComparison | None  # the same pair with indirect evidence
    flags: tuple[Flag, ...]
    duplicates: tuple[Duplicate, ...]
    answer: str  # "better", "worse", "about the same", "cannot tell"
    says: str
    held_back: tuple[str, ...]  # why a clear pool is not claimed


def weigh(
    contrasts: Sequence[TrialContrast],
    recipe: str,
    against: str,
    *,
    outcome: str = "biomass",
    margin_ratio: float = 1.25,
) -> Weighed:
    """Pool what trials say of `recipe` against `against`, with every check that the number of trials allows.

    Each place has one voice, however many trials it sent. Intervals are shown at the level of a verdict's interval and claims
    are made at the level of a verdict's claim.

    Parameters
    ----------
    contrasts
        All that was imported; other pairs serve the indirect comparison.
    recipe, against, outcome
        The question.
    margin_ratio
        A difference worth having. [-]

    Raises
    ------
    NotEnoughData
        If no trial and no chain of trials speaks of the pair.
    UnusableRecord
        If the margin is below one.

    Source
    ------
    viechtbauer-2010, hartung-knapp-2001, gelman-2006, lu-ades-2004
    """
    if margin_ratio < 1.0:
        raise UnusableRecord(f"A margin of {margin_ratio:g} is below one.", "Write a ratio such as 1.25: a quarter more.")
    single, doubles = without_duplicates([item for item in contrasts if item.outcome == outcome])
    marks = tuple(flag for item in single for flag in flags(item) if {item.recipe, item.against} == {recipe, against})
    practice = made_up_among_real([item for item in single if {item.recipe, item.against} == {recipe, against}])
    marks += practice
    out = {
        id(item)
        for item in single
        if any(flag.severity == "leaves it out" for flag in flags(item)) or (practice and is_made_up(item))
    }
    pair = [
        (id(item) in out, _towards(item, recipe, against)) for item in single if {item.recipe, item.against} == {recipe, against}
    ]
    used, copies = _without_copies([item for is_out, item in pair if not is_out])
    left_out = [item for is_out, item in pair if is_out]
    through = _through_network([item for item in single if id(item) not in out], recipe, against)
    if not used and through is None:
        raise NotEnoughData(
            f"No usable trial speaks of {recipe} against {against}.",
            "A trial needs two brews of each recipe and a ratio that can be; import more, or plan one.",
        )
    places = site_means(used) if used else None
    several = places is not None and len(places.names) > 1
    effects, variances = (places.effects.tolist(), places.variances.tolist()) if places is not None else ([], [])
    pooled = pool(effects, variances, level=INTERVAL_LEVEL) if several else None
    others = leave_one_out(effects, variances, level=INTERVAL_LEVEL) if len(effects) > 2 else ()
    missing = selection(effects, variances, places.bars) if places is not None and len(effects) > 2 else None
    ahead = prediction_interval(effects, variances, level=INTERVAL_LEVEL) if several else None
    names = places.names if places is not None else ()
    said = headline(recipe, against, used, pooled, through, missing, ahead, math.log(margin_ratio))
    return Weighed(
        recipe=recipe,
        against=against,
        outcome=outcome,
        margin_ratio=margin_ratio,
        level=INTERVAL_LEVEL,
        contrasts=tuple(used),
        left_out=tuple(left_out),
        sites=names,
        shares=_shares(used, pooled),
        pooled=pooled,
        next_trial=ahead,
        bayes=bayes_pool(effects, variances, level=INTERVAL_LEVEL) if several else None,
        without=others,
        hinges_on=tuple(names[i] for i in fades_without(pooled, others)) if pooled else (),
        small=_small(effects, variances),
        missing=missing,
        network=through,
        flags=marks,
        duplicates=(*doubles, *copies),
        answer=said.answer,
        says=said.says,
        held_back=said.held_back,
    )


_ALIKE = {
    "ratio and error": "so close to {} in ratio and error",
    "results": "results of brews so close to those of {}, whatever their order and unit,",
    "order": "results that follow those of {} from brew to brew so closely",
}


def _towards(item: TrialContrast, recipe: str, against: str) -> TrialContrast:
    return item.turned() if (item.recipe, item.against) == (against, recipe) else item


def _without_copies(used: Sequence[TrialContrast]) -> tuple[list[TrialContrast], list[Duplicate]]:
    """Trials without those that look like an earlier one with its numbers shaken."""
    gone: set[int] = set()
    found: list[Duplicate] = []
    for group in too_alike(used):
        first, *rest = group.places
        gone |= set(rest)
        others = ", ".join(named(used[i]) for i in rest)
        found.append(
            Duplicate(
                kept=named(used[first]),
                other=others,
                certain=False,
                words=f"{others}: {_ALIKE[group.by].format(named(used[first]))} that chance would bring it about less than "
                f"once in {1.0 / max(group.p, 1e-6):,.0f} times. They count as one trial; ask whether they are.",
            )
        )
    return [item for i, item in enumerate(used) if i not in gone], found


def _shares(used: Sequence[TrialContrast], pooled: Pooled | None) -> tuple[float | None, ...]:
    """What each trial weighs: the weight of its place, split by the trials' own precision."""
    if pooled is None:
        return (None,) * len(used)
    places, shares = site_means(used), [0.0] * len(used)
    for weight, members in zip(pooled.weights, places.members, strict=True):
        inner = [1.0 / (used[i].pool_variance() + places.within_tau2) for i in members]
        for i, one in zip(members, inner, strict=True):
            shares[i] = weight * one / sum(inner)
    return tuple(shares)


def _through_network(contrasts: Sequence[TrialContrast], recipe: str, against: str) -> NetworkComparison | None:
    try:
        return network(contrasts, reference=against, level=INTERVAL_LEVEL).of(recipe, against)
    except NotEnoughData:
        return None


def _small(effects: Sequence[float], variances: Sequence[float]) -> SmallStudies | None:
    try:
        return small_studies(effects, variances)
    except NotEnoughData:
        return None
