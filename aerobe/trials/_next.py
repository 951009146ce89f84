"""The next trial, from what the last one showed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from aerobe.records import Arm, Trial
from aerobe.trials._best_arm import NextRound, next_round
from aerobe.units import number, percent
from aerobe.verdicts import CANNOT_TELL, SurfaceAnswer, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTrial:
    """A proposal; nothing obliges to it."""

    trial: Trial | None  # None: the question is settled
    brews_per_arm: int | None  # to tell a difference of the margin, in all; None: not known
    because: tuple[str, ...]
    brews_of: tuple[tuple[str, int], ...] = ()  # for the next round, where the best arm is looked for
    cost: float | None = None  # of the next step; None: nothing is left to do, or nobody can say [money]
    may_stop: bool = False  # going on is seldom worth the brews


def propose_next(trial: Trial, verdict: Verdict, *, key: str) -> NextTrial:
    """What to run next.

    Rival explanations come first, then arms that cannot be the best are dropped, then a dose series closes in on its best dose.

    Parameters
    ----------
    trial
        The trial that was judged. [-]
    verdict
        What it showed. [-]
    key
        Key of the new trial. [-]

    Returns
    -------
    NextTrial
        A trial, or none where the question is settled. [-]
    """
    because: list[str] = []
    arms = trial.arms
    if any(rival.blocks_claim for rival in verdict.rivals):
        why = next(rival for rival in verdict.rivals if rival.blocks_claim)
        because.append(f"Run the same arms again once what else may explain it is out of the way. {why.words} {why.remedy}")
        return NextTrial(trial=replace(trial, key=key, arms=arms), brews_per_arm=_brews(verdict), because=tuple(because))
    if verdict.surface is not None:
        return _after_surface(verdict.surface, told=verdict.comparisons[0].call != CANNOT_TELL)
    if verdict.dose is not None:
        closer = _closer_doses(trial, verdict, because)
        return NextTrial(
            trial=None if closer is None else replace(trial, key=key, arms=closer),
            brews_per_arm=_brews(verdict),
            because=tuple(because),
        )
    if verdict.ranking:
        arms = _contenders(trial, verdict, because)
        step = _towards_the_best(trial, arms, verdict)
        if step is not None and (len(arms) > 2 or step.may_stop):
            return _search(trial, arms, step, because, key, verdict)
    still_open = [c for c in verdict.comparisons if c.call == "can't tell yet"]
    if not still_open:
        because.append("Every planned comparison is told. Ask the next question: another food, another time, or the field.")
        return NextTrial(trial=None, brews_per_arm=None, because=tuple(because))
    if len(arms) < 2:
        arms = trial.arms
    because.append(verdict.settle.words if verdict.settle else "More brews of each arm will narrow the intervals.")
    question = "two recipes" if len(arms) == 2 and trial.question == "several against a standard" else trial.question
    return NextTrial(
        trial=replace(trial, key=key, arms=arms, question=question), brews_per_arm=_brews(verdict), because=tuple(because)
    )


def _after_surface(found: SurfaceAnswer, *, told: bool) -> NextTrial:
    """What a surface leaves to ask."""
    at = ", ".join(f"{name} {number(level)}" for name, level in zip(found.factors, found.best, strict=True))
    if found.kind == "not settled":
        words = "Look for a brew that died, or tell the factors apart in two levels: no smooth surface fits."
    elif found.kind == "flat":
        words = "No factor stands out: widen the levels, or leave the factors where they cost least."
    elif not told:
        words = f"Brew the same points once more: the best seen ({at}) is not told to be better than the standard."
    elif found.kind == "at the edge":
        words = f"{found.because} Lay the next levels around {at}, beyond that end where there is a beyond and the oxygen allows."
    else:
        words = f"Brew {at} beside the standard, five or more of each, as a trial of two recipes: a surface only foretells it."
    return NextTrial(trial=None, brews_per_arm=None, because=(words,))


def _towards_the_best(trial: Trial, arms: Sequence[Arm], verdict: Verdict) -> NextRound | None:
    """The next round of a search for the best arm, from the results of the verdict; None where it cannot be planned."""
    keys = [arm.key for arm in arms]
    kept = [result for result in verdict.results if result.arm in keys and result.value > 0.0]
    if verdict.outcome.scale != "ratio" or not kept or verdict.brew_sd is None or verdict.brew_sd <= 0.0:
        return None
    sign = -1.0 if verdict.outcome.better == "lower" else 1.0
    logs = [sign * math.log(result.value) for result in kept]
    # Days that all arms shared are taken out, so that a good day is no good recipe.
    blocks = [result.block for result in kept]
    middle = {block: sum(v for v, b in zip(logs, blocks, strict=True) if b == block) / blocks.count(block) for block in blocks}
    whole = {block for block in blocks if {r.arm for r, b in zip(kept, blocks, strict=True) if b == block} == set(keys)}
    values = [v - (middle[b] if b in whole else 0.0) for v, b in zip(logs, blocks, strict=True)]
    places = [keys.index(result.arm) for result in kept]
    margin = math.log(trial.margin_ratio)
    return next_round(values, places, len(keys), 2 * len(keys), margin=margin, sd=verdict.brew_sd)


def _search(trial: Trial, arms: tuple[Arm, ...], step: NextRound, because: list[str], key: str, verdict: Verdict) -> NextTrial:
    best = arms[step.best].key
    good = f"{best} is the best, or within the margin of it, with a chance of {percent(step.probability_good)}"
    if step.may_stop:
        because.append(f"To find the best you may stop: {good}. More brews would tell by how much, at their price.")
    else:
        because.append(f"To find the best, and not to tell every difference: {good} so far. Most brews go to the two that lead.")
    kept = tuple(arm for arm, count in zip(arms, step.brews, strict=True) if count or arm.is_standard)
    question = "two recipes" if len(kept) == 2 and trial.question == "several against a standard" else trial.question
    return NextTrial(
        trial=replace(trial, key=key, arms=kept if len(kept) > 1 else arms, question=question),
        brews_per_arm=_brews(verdict),
        because=tuple(because),
        brews_of=tuple((arm.key, count) for arm, count in zip(arms, step.brews, strict=True) if count),
        may_stop=step.may_stop,
    )


def _brews(verdict: Verdict) -> int | None:
    return verdict.settle.brews_per_arm if verdict.settle else None


def _contenders(trial: Trial, verdict: Verdict, because: list[str]) -> tuple[Arm, ...]:
    """Arms that may still be the best; the standard stays, since all are measured against it."""
    out = {place.arm for place in verdict.ranking if place.best_place > 1 and place.probability_best < 0.02}
    out -= {arm.key for arm in trial.arms if arm.is_standard}
    if out:
        because.append(f"Drop {', '.join(sorted(out))}: clearly behind another arm.")
    return tuple(arm for arm in trial.arms if arm.key not in out)


def _closer_doses(trial: Trial, verdict: Verdict, because: list[str]) -> tuple[Arm, ...] | None:
    dose = verdict.dose
    assert dose is not None
    tested = sorted({arm.dose for arm in trial.arms if arm.dose is not None})
    if dose.kind == "still rising":
        because.append("The outcome still rises at the highest dose: go on upward, and watch the oxygen.")
        return _dose_arms([tested[0], tested[-1], 1.5 * tested[-1], 2.0 * tested[-1]])
    if dose.kind == "still falling":
        because.append("Less is better as far as tested: test below the lowest dose, or leave the food out.")
        low = tested[1] if tested[0] == 0.0 else tested[0]
        return _dose_arms([0.0, low / 4, low / 2, low])
    if dose.kind == "peak" and dose.best_low is not None and dose.best_high is not None:
        if dose.best_high <= 1.5 * max(dose.best_low, 1e-9):
            because.append("The best dose is known to within half of itself; closing in further is seldom worth the brews.")
            return None
        because.append("Close in on the best dose, with nothing as the standard.")
        best = dose.best or 0.0
        return _dose_arms([0.0, dose.best_low, best, dose.best_high])
    because.append("No shape stands out: repeat the series with more brews of fewer doses.")
    return _dose_arms([tested[0], tested[len(tested) // 2], tested[-1]])


def _dose_arms(doses: list[float]) -> tuple[Arm, ...]:
    distinct = sorted({float(f"{dose:.3g}") for dose in doses})
    return tuple(
        Arm(key=f"dose-{dose:g}", recipe=f"dose-{dose:g}", dose=dose, is_standard=i == 0) for i, dose in enumerate(distinct)
    )
