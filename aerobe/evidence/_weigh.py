"""All that is known of one recipe against another, put together and said in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.evidence._checks import SmallStudies, fades_without, leave_one_out, small_studies
from aerobe.evidence._effects import Contrast
from aerobe.evidence._hierarchical import BayesPool, bayes_pool
from aerobe.evidence._network import Comparison, network
from aerobe.evidence._pool import Pooled, pool
from aerobe.evidence._quality import Duplicate, Flag, flags, without_duplicates
from aerobe.units import ratio_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """The evidence on one pair of recipes. What is missing because there is too little of it is None."""

    recipe: str
    against: str
    outcome: str
    margin_ratio: float
    contrasts: tuple[Contrast, ...]  # in the pool, turned to the direction asked for
    left_out: tuple[Contrast, ...]  # by a flag that leaves a trial out
    pooled: Pooled | None
    bayes: BayesPool | None
    without: tuple[Pooled, ...]  # leave one out, in the order of contrasts
    hinges_on: tuple[str, ...]  # trials whose absence changes whether the answer is clear
    small: SmallStudies | None
    network: Comparison | None  # the same pair with indirect evidence
    flags: tuple[Flag, ...]
    duplicates: tuple[Duplicate, ...]
    answer: str  # "better", "worse", "about the same", "cannot tell"
    says: str


def weigh(
    contrasts: Sequence[Contrast],
    recipe: str,
    against: str,
    *,
    outcome: str = "biomass",
    margin_ratio: float = 1.25,
    level: float = 0.95,
) -> Weighed:
    """Pool what trials say of `recipe` against `against`, with every check that the number of trials allows.

    Parameters
    ----------
    contrasts
        All that was imported; other pairs serve the indirect comparison.
    recipe, against, outcome
        The question.
    margin_ratio
        A difference worth having. [-]
    level
        Of the intervals. [-]

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
    out = {flag.trial for flag in marks if flag.severity == "leaves it out"}
    turned = [_towards(item, recipe, against) for item in single]
    pair = [item for item in turned if (item.recipe, item.against) == (recipe, against)]
    used, left_out = [item for item in pair if item.key not in out], [item for item in pair if item.key in out]
    through = _through_network([item for item in single if item.key not in out], recipe, against, level)
    if not used and through is None:
        raise NotEnoughData(
            f"No usable trial speaks of {recipe} against {against}.",
            "A trial needs two brews of each recipe; import more, or plan one.",
        )
    effects, variances = [item.effect for item in used], [item.variance for item in used]
    pooled = pool(effects, variances, level=level) if len(used) > 1 else None
    others = leave_one_out(effects, variances) if len(used) > 2 else ()
    answer, says = _in_words(recipe, against, used, pooled, through, math.log(margin_ratio))
    return Weighed(
        recipe=recipe,
        against=against,
        outcome=outcome,
        margin_ratio=margin_ratio,
        contrasts=tuple(used),
        left_out=tuple(left_out),
        pooled=pooled,
        bayes=bayes_pool(effects, variances) if len(used) > 1 else None,
        without=others,
        hinges_on=tuple(used[i].key for i in fades_without(pooled, others)) if pooled else (),
        small=_small(effects, variances),
        network=through,
        flags=marks,
        duplicates=doubles,
        answer=answer,
        says=says,
    )


def _towards(item: Contrast, recipe: str, against: str) -> Contrast:
    return item.turned() if (item.recipe, item.against) == (against, recipe) else item


def _through_network(contrasts: Sequence[Contrast], recipe: str, against: str, level: float) -> Comparison | None:
    try:
        return network(contrasts, reference=against, level=level).of(recipe, against)
    except NotEnoughData:
        return None


def _small(effects: Sequence[float], variances: Sequence[float]) -> SmallStudies | None:
    try:
        return small_studies(effects, variances)
    except NotEnoughData:
        return None


def _in_words(
    recipe: str,
    against: str,
    used: Sequence[Contrast],
    pooled: Pooled | None,
    through: Comparison | None,
    margin: float,
) -> tuple[str, str]:
    if pooled is None:
        return _few_in_words(recipe, against, used, through, margin)
    answer = _answer(pooled.low, pooled.high, margin)
    ratio = ratio_words(*pooled.as_ratio())
    says = f"{pooled.studies} trials: {recipe} gives {ratio} times {against}. {_ANSWERS[answer]}"
    low, high = math.exp(pooled.prediction_low), math.exp(pooled.prediction_high)
    says += f" In your own hands the true ratio may lie anywhere between {low:.2g} and {high:.2g}."
    return answer, says


def _few_in_words(
    recipe: str,
    against: str,
    used: Sequence[Contrast],
    through: Comparison | None,
    margin: float,
) -> tuple[str, str]:
    if through is None or (used and math.isnan(through.indirect)):
        return "cannot tell", f"One trial only ({used[0].key}): it has not been repeated, so nothing is pooled."
    ratio = ratio_words(math.exp(through.effect), math.exp(through.low), math.exp(through.high))
    kind = (
        "One trial brewed both side by side; with what other recipes tell of them"
        if used
        else "No trial brewed both side by side; through recipes that both were compared with"
    )
    if not through.spread_known:
        return "cannot tell", (
            f"{kind}, {recipe} gives {ratio} times {against}, if trials do not differ. Every link rests "
            "on one trial, so how far they differ is not known, and that does not tell which gives more."
        )
    answer = _answer(through.low, through.high, margin)
    return answer, f"{kind}, {recipe} gives {ratio} times {against}. {_ANSWERS[answer]}"


def _answer(low: float, high: float, margin: float) -> str:
    """Clear only if the whole interval lies on one side; the same only if the whole interval lies within the margin."""
    if low > 0.0:
        return "better"
    if high < 0.0:
        return "worse"
    return "about the same" if -margin < low and high < margin else "cannot tell"


_ANSWERS = {
    "better": "It gives more; how much may differ from trial to trial.",
    "worse": "It gives less; how much may differ from trial to trial.",
    "about the same": "Whatever difference there is lies within the margin.",
    "cannot tell": "That does not tell which gives more.",
}
