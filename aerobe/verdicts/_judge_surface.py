"""The verdict of a trial of factors at three levels: one surface, one claim about its best point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.errors import NotEnoughData
from aerobe.records import Arm, Trial
from aerobe.units import number, percent
from aerobe.verdicts._answer import CANNOT_TELL, Comparison, Verdict
from aerobe.verdicts._calls import INTERVAL_LEVEL
from aerobe.verdicts._compare import values_on_scale
from aerobe.verdicts._confounders import recorded
from aerobe.verdicts._contrasts import Contrast, standard_of
from aerobe.verdicts._interim import Standing
from aerobe.verdicts._missing import LostBrew
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival, colour_of
from aerobe.verdicts._surface import SurfaceAnswer, answer_surface
from aerobe.verdicts._words import because_of

BEST = "best point"
MIXED = 0.5  # share of a factor in a confounder from which on nothing is claimed (our choice, no source)
MOST_LOST = 0.15  # share of the brews that may be lost (our choice, no source)


def is_surface(arms: Sequence[Arm]) -> bool:
    """Whether some factor of these arms has three levels or more, so that a bend can be told."""
    names = {name for arm in arms for name in arm.levels}
    return any(len({arm.levels.get(name) for arm in arms}) > 2 for name in names)


def judge_surface(
    trial: Trial,
    results: Sequence[BrewResult],
    kind: Outcome,
    bound: float,
    *,
    standing: Standing,
    lost: Sequence[LostBrew],
) -> Verdict:
    """Judge a central composite by its surface: is its best point better than the standard, and where is it?

    Raises
    ------
    NotEnoughData
        If the outcome is counted, or the brews tell no surface.
    """
    if kind.is_counted:
        raise NotEnoughData("A surface is not fitted to counts or shares.", "Judge it by biomass or another measured outcome.")
    arms = {arm.key: arm for arm in trial.arms}
    sign = -1.0 if kind.better == "lower" else 1.0
    values = values_on_scale(results, kind)
    standard = standard_of(trial.arms)
    answer = answer_surface(
        [arms[result.arm].levels for result in results],
        list(sign * values),
        [result.block for result in results],
        standard.levels,
        margin=bound,
        level=INTERVAL_LEVEL,
        tail=max(standing.allowance.difference, 1e-3),  # a point chosen because it looks best is only ever told to be better
    )
    held = _held(trial, results, lost, answer)
    comparison = _claim(answer, kind, bound, sign, standard.key, held[0] if held else None, was_planned=standing.was_planned)
    sd = answer.scatter
    return Verdict(
        trial=trial.key,
        question=trial.question,
        outcome=kind,
        claims=kind.label,
        margin=math.exp(bound) if kind.is_ratio else bound,
        comparisons=(comparison,),
        ranking=(),
        dose=None,
        surface=None if held else answer,
        brew_sd=sd,
        brew_sd_low=sd * math.sqrt(answer.df / float(special.chdtri(answer.df, 0.05))),
        brew_sd_high=sd * math.sqrt(answer.df / float(special.chdtri(answer.df, 0.95))),
        test_sd=float(np.sqrt(np.mean([r.test_log_sd**2 for r in results]))),
        df=answer.df,
        brews=len(results),
        rivals=held,
        settle=None,
        checks=(),
        results=tuple(results),
        looks=standing.looks,
        asked=standing.words,
        headline="",
    )


def surface_words(answer: SurfaceAnswer) -> str:
    """Where the best point is, how well that is known, and what may not be said."""
    if answer.kind in ("flat", "not settled"):
        return f"Can't tell where it is best. {answer.because}"
    parts = [
        f"{name} {number(at)} ({number(low)} to {number(high)})"
        for name, at, low, high in zip(answer.factors, answer.best, answer.best_low, answer.best_high, strict=True)
    ]
    rounds = "" if answer.rounds_out else " Differences between rounds stay in the scatter."
    return (
        f"Best seen at {', '.join(parts)}, {percent(INTERVAL_LEVEL)} intervals. {answer.because} It is the best of what was "
        f"tested, or within the margin of it, with a chance of {percent(answer.chance_good)}.{rounds}"
    )


def _claim(
    answer: SurfaceAnswer, kind: Outcome, bound: float, sign: float, standard: str, rival: Rival | None, *, was_planned: bool
) -> Comparison:
    reach = answer.critical * answer.error
    told = answer.effect > reach and answer.kind in ("peak", "at the edge") and answer.effect > 0.0
    signal = "better" if told else CANNOT_TELL
    ends = sorted((sign * (answer.effect - reach), sign * (answer.effect + reach)))

    def above(at: float) -> float:
        spread = max(answer.error, 1e-300)
        return float(special.stdtr(answer.df, (answer.effect - at) / spread))

    comparison = Comparison(
        label=f"{BEST} against {standard}",
        first=BEST,
        second=standard,
        planned=was_planned,
        effect=sign * answer.effect,
        error=answer.error,
        df=float(answer.df),
        # A point that was chosen because it looked best has the interval of all points.
        low=ends[0],
        high=ends[1],
        family_low=ends[0],
        family_high=ends[1],
        probability_above=above(0.0) if sign > 0.0 else 1.0 - above(0.0),
        probability_better=above(bound),
        probability_worse=1.0 - above(-bound),
        probability_same=max(0.0, above(-bound) - above(bound)),
        call=CANNOT_TELL if rival is not None else signal,
        signal_call=signal,
        worthwhile=told and answer.effect - reach > bound,
        because="",
        held_by="" if rival is None else rival.name,
    )
    words = because_of(comparison, bound, kind)
    return replace(comparison, because=words if rival is not None else f"{words} {surface_words(answer)}")


def _held(trial: Trial, results: Sequence[BrewResult], lost: Sequence[LostBrew], answer: SurfaceAnswer) -> tuple[Rival, ...]:
    """What else could make the surface: then nothing is claimed."""
    arms = {arm.key: arm for arm in trial.arms}
    found: list[Rival] = []
    for name in answer.factors:
        middle = float(np.mean([arm.levels[name] for arm in trial.arms]))
        weights = tuple(arm.levels[name] - middle for arm in trial.arms)
        rival = colour_of(Contrast(label=name, first=name, second="", weights=weights), trial.arms, results)
        # A colour bias that is only characterised differs from point to point as the surface does: it holds the claim, too.
        if rival is not None:
            found.append(replace(rival, blocks_claim=True))
            break
    levels = np.array([[arms[r.arm].levels[name] for name in answer.factors] for r in results])
    for name, labels in recorded(results).items():
        if _explained(levels, labels) >= MIXED:
            words = f"{name.capitalize()} and factors go together, so either could make the surface."
            found.append(Rival(name=name, words=words, remedy=f"Give every {name} to all points alike.", blocks_claim=True))
    hours = [r.elapsed_h for r in results if r.elapsed_h is not None]
    if hours and max(hours) - min(hours) > 2.0:
        words = "Brews were sampled at different hours, so that the hour may make the surface."
        found.append(Rival(name="hour", words=words, remedy="Sample all brews at the same hour.", blocks_claim=True))
    if any(r.at_limit or r.above_range for r in results):
        words = "A brew lies beyond what the test can show."
        found.append(Rival(name="limit", words=words, remedy="Dilute, or use a test with a wider range.", blocks_claim=True))
    if len(lost) > MOST_LOST * (len(results) + len(lost)):
        words = f"{len(lost)} brews gave no result, which is too many for a surface."
        found.append(Rival(name="lost brews", words=words, remedy="Brew the lost points again.", blocks_claim=True))
    return tuple(found)


def _explained(levels: NDArray[np.float64], labels: Sequence[str]) -> float:
    """Largest share of a factor's variation that lies between labels. [-]"""
    centred = levels - levels.mean(axis=0)
    dummies = np.array([[float(label == one) for one in sorted(set(labels))] for label in labels])
    between = dummies @ (np.linalg.pinv(dummies) @ centred)
    return float(((between**2).sum(axis=0) / np.maximum((centred**2).sum(axis=0), 1e-300)).max())
