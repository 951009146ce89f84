"""The one answer on a pair of recipes: what the pool shows, and every reason why it may not be claimed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from aerobe.evidence._copies import CLOSE_TOGETHER, agreement
from aerobe.evidence._effects import TrialContrast
from aerobe.evidence._network import NetworkComparison
from aerobe.evidence._pool import Pooled, pool
from aerobe.evidence._quality import carries_a_headline
from aerobe.evidence._selection import Selection
from aerobe.evidence._sites import near_names, site_means
from aerobe.units import number, ratio_of, ratio_words
from aerobe.verdicts import CLAIM_LEVEL, INTERVAL_LEVEL

CANNOT_TELL = "cannot tell"
_LEVEL = f"{100 * INTERVAL_LEVEL:.0f} %"


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The answer with its sentence."""

    answer: str  # "better", "worse", "about the same", "cannot tell"
    says: str
    held_back: tuple[str, ...] = ()  # why a clear pool is not claimed


def headline(
    recipe: str,
    against: str,
    used: Sequence[TrialContrast],
    pooled: Pooled | None,
    through: NetworkComparison | None,
    missing: Selection | None,
    next_trial: tuple[float, float] | None,
    margin: float,
) -> Headline:
    """What may be said of a pair.

    Parameters
    ----------
    recipe, against
        The pair.
    used
        Trials in the pool.
    pooled
        Pool of their places, at the level of a verdict's interval; None with fewer than two places. [ln ratio]
    through
        The pair as the network of all recipes sees it.
    missing
        The selection model, with three places or more.
    next_trial
        Interval of the true effect of a next trial. [ln ratio]
    margin
        A difference worth having. [ln ratio]
    """
    if pooled is None:
        return _without_pool(recipe, against, used, through, margin)
    shown = claimed(used, margin)
    held = _held_back(shown, used, missing, margin)
    answer = CANNOT_TELL if held else shown
    places = pooled.studies
    trials = f"{len(used)} trials of {places} places" if places != len(used) else f"{places} trials"
    says = f"{trials}: {recipe} gives {ratio_words(*pooled.as_ratio())} times {against} ({_LEVEL} interval). "
    says += " ".join(held) if held else _ANSWERS[answer].format(number(math.exp(margin)))
    if answer in ("better", "worse") and missing is not None:
        says += f" {missing.in_words()}"
    if next_trial is not None:
        low, high = (ratio_of(end) for end in next_trial)
        says += f" In your own hands the true ratio may lie anywhere between {low:.2g} and {high:.2g} ({_LEVEL} of next trials)."
    return Headline(answer=answer, says=says, held_back=tuple(held))


def claimed(used: Sequence[TrialContrast], margin: float) -> str:
    """What the pool of the places of these trials shows by itself, before it is asked whether it may be claimed."""
    places = site_means(used)
    if len(places.names) < 2:
        return CANNOT_TELL
    strict = pool(places.effects, places.variances, level=CLAIM_LEVEL)
    if strict.low > 0.0:
        return "better"
    if strict.high < 0.0:
        return "worse"
    loose = pool(places.effects, places.variances, level=INTERVAL_LEVEL)
    return "about the same" if -margin < loose.low and loose.high < margin else CANNOT_TELL


def _held_back(shown: str, used: Sequence[TrialContrast], missing: Selection | None, margin: float) -> list[str]:
    """Why a clear pool is no claim."""
    if shown == CANNOT_TELL:
        return []
    if (close := agreement(used)) < CLOSE_TOGETHER:
        return [
            f"These trials agree more closely than independent ones would (chance {max(close, 1e-4):.1g}): ask whether some are "
            "one trial sent again. Nothing is claimed from them."
        ]
    sound = [item for item in used if carries_a_headline(item)]
    if not sound:
        return [
            "None of these trials was planned, blinded and checked for colour well enough to rest a claim on: that does not "
            "tell which gives more."
        ]
    if len(sound) < len(used) and claimed(sound, margin) != shown:
        weak = ", ".join(item.key for item in used if item not in sound)
        return [f"Without the trials that are too weak to rest a claim on ({weak}) that does not tell which gives more."]
    for one, other in near_names(used):
        if claimed([replace(item, site=one) if item.site.strip() == other else item for item in used], margin) != shown:
            return [
                f"'{one}' and '{other}' differ by a slip of the pen: if they are one place, that does not tell which gives more. "
                "Take one in again under the right name."
            ]
    if shown != "about the same" and missing is not None and not missing.stands:
        return [missing.in_words(), "That does not tell which gives more."]
    return []


def _without_pool(
    recipe: str, against: str, used: Sequence[TrialContrast], through: NetworkComparison | None, margin: float
) -> Headline:
    if len(used) > 1:
        places = site_means(used)
        return Headline(
            answer=CANNOT_TELL,
            says=f"All {len(used)} trials come from one place ({places.names[0]}): there {recipe} gives about "
            f"{ratio_of(float(places.effects[0])):.3g} times {against}. Nobody else has repeated it, so nothing is claimed.",
        )
    alone = ""
    if used:
        low, high = used[0].interval()
        ratio = ratio_words(*map(ratio_of, (used[0].effect, low, high)))
        alone = f"{recipe} gives {ratio} times {against} there ({_LEVEL} interval). "
    if through is None or (used and math.isnan(through.indirect)):
        says = f"One trial only ({used[0].key}): {alone}It has not been repeated, so nothing is pooled."
        return Headline(answer=CANNOT_TELL, says=says)
    ratio = ratio_words(*map(ratio_of, (through.effect, through.low, through.high)))
    kind = (
        "One trial brewed both side by side; with what other recipes tell of them"
        if used
        else "No trial brewed both side by side; through recipes that both were compared with"
    )
    if not through.spread_known:
        says = (
            f"{kind}, {recipe} gives {ratio} times {against}, if trials do not differ. Every link rests "
            "on one trial, so how far they differ is not known, and that does not tell which gives more."
        )
        return Headline(answer=CANNOT_TELL, says=says)
    says = (
        f"{kind}, {recipe} gives {ratio} times {against}. That is a way around, which no trial of the two has confirmed: brew "
        "both side by side before you claim which gives more."
    )
    return Headline(answer=CANNOT_TELL, says=says)


_ANSWERS = {
    "better": "It gives more; how much may differ from trial to trial.",
    "worse": "It gives less; how much may differ from trial to trial.",
    "about the same": "Whatever difference there is on average lies within the margin of {} times.",
    CANNOT_TELL: "That does not tell which gives more.",
}
