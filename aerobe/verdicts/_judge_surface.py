"""The verdict of a trial of factors at three levels: one surface, one claim about its best point."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.errors import NotEnoughData
from aerobe.records import Arm, Trial
from aerobe.units import number, percent
from aerobe.verdicts._answer import CANNOT_TELL, Comparison, Verdict
from aerobe.verdicts._calls import INTERVAL_LEVEL
from aerobe.verdicts._confounders import recorded
from aerobe.verdicts._contrasts import Contrast, standard_of
from aerobe.verdicts._evidence import values_on_scale
from aerobe.verdicts._interim import Standing
from aerobe.verdicts._missing import LostBrew
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival, colour_of
from aerobe.verdicts._surface import SurfaceAnswer, answer_surface, design_of
from aerobe.verdicts._surface_brews import (
    alike_at_points,
    dead_alone,
    dead_words,
    farthest_brew,
    misfit_words,
    odd_brew,
    standard_once,
)
from aerobe.verdicts._surface_design import FittedDesign
from aerobe.verdicts._words import because_of

BEST, HIGHEST = "best point", "highest point"
SURE = 0.99  # more than this is not said of a surface: it stands on a model [-]
MIXED = 0.5  # share of a factor in a confounder, beyond what the lot gives, with which nothing is claimed (our choice, no source)
BY_LOT = 0.005  # and so seldom by lot (our choice, no source)
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
    fit = _Fit(trial, tuple(results), kind, bound, standing)
    whole = fit.answer()
    odd = None if kind.scale != "ratio" or _limited(results) else odd_brew(fit.design, fit.outcomes)
    left_out, notes = "", []
    with_all: tuple[Comparison, ...] = ()
    held = list(_held(trial, results, lost, whole))
    if (alike := alike_at_points(results, values_on_scale(results, kind), are_logs=kind.scale == "ratio")) is not None:
        held.append(alike)
    if odd is not None:
        brew = results[odd]
        _, _, off = farthest_brew(fit.design, fit.outcomes)
        if sum(result.arm == brew.arm for result in results) > 1:
            left_out, with_all = brew.brew, (_claim(fit, whole, held[0] if held else None),)
            notes.append(dead_words(brew, fit.sign * off))
            fit = replace(fit, results=tuple(result for result in results if result is not brew))
        else:
            held.append(dead_alone(brew, fit.sign * off))
    answer = fit.answer() if left_out else whole
    if answer.kind == "not settled" and odd is None:
        notes.append(misfit_words(fit.results[farthest_brew(fit.design, fit.outcomes)[0]]))
    if not held and _is_told(answer):
        alone = standard_once(fit.results, fit.standard.key, stands_without=_stands_without(fit))
        held += [alone] if alone is not None else []
    sd = answer.scatter
    return Verdict(
        trial=trial.key,
        question=trial.question,
        outcome=kind,
        claims=kind.label,
        margin=math.exp(bound) if kind.is_ratio else bound,
        comparisons=(_claim(fit, answer, held[0] if held else None),),
        ranking=(),
        dose=None,
        surface=None if held else answer,
        brew_sd=sd,
        brew_sd_low=sd * math.sqrt(answer.df / float(special.chdtri(answer.df, 0.05))),
        brew_sd_high=sd * math.sqrt(answer.df / float(special.chdtri(answer.df, 0.95))),
        test_sd=float(np.sqrt(np.mean([r.test_log_sd**2 for r in results]))),
        df=answer.df,
        brews=len(results),
        rivals=(*held, *notes),
        settle=None,
        checks=(),
        results=tuple(results),
        looks=standing.looks,
        asked=standing.words,
        left_out=left_out,
        with_all=with_all,
        headline="",
    )


@dataclass(frozen=True)
class _Fit:
    """Brews with what is asked of them."""

    trial: Trial
    results: tuple[BrewResult, ...]
    kind: Outcome
    bound: float
    standing: Standing

    @property
    def standard(self) -> Arm:
        return standard_of(self.trial.arms)

    @property
    def sign(self) -> float:
        return -1.0 if self.kind.better == "lower" else 1.0

    @property
    def tail(self) -> float:
        # A point chosen because it looks best is only ever told to be better.
        return max(self.standing.allowance.difference, 1e-3)

    @property
    def levels(self) -> list[Mapping[str, float]]:
        by_key = {arm.key: arm.levels for arm in self.trial.arms}
        return [by_key[result.arm] for result in self.results]

    @property
    def blocks(self) -> list[str]:
        return [result.block for result in self.results]

    @property
    def outcomes(self) -> NDArray[np.float64]:
        """On the scale compared, higher is better."""
        return self.sign * values_on_scale(self.results, self.kind)

    @property
    def design(self) -> FittedDesign:
        return design_of(self.levels, self.blocks, self.standard.levels, tail=self.tail)

    def answer(self) -> SurfaceAnswer:
        found = [float(value) for value in self.outcomes]
        return answer_surface(
            self.levels, found, self.blocks, self.standard.levels, margin=self.bound, level=INTERVAL_LEVEL, tail=self.tail
        )


def _is_told(answer: SurfaceAnswer) -> bool:
    """Whether the best point stands out of the scatter as one chosen for looking best must."""
    return answer.kind in ("peak", "at the edge") and answer.effect > max(0.0, answer.critical * answer.error)


def _stands_without(fit: _Fit) -> bool:
    """Whether the claim stands where the standard is only foretold by the surface."""
    rest = replace(fit, results=tuple(result for result in fit.results if result.arm != fit.standard.key))
    try:
        return _is_told(rest.answer())
    except NotEnoughData:
        return False


def surface_words(answer: SurfaceAnswer, name: str) -> str:
    """Where the best (or highest) point is, how well that is known, and what may not be said."""
    most = name.split()[0]
    if answer.kind in ("flat", "not settled"):
        return f"Can't tell where it is {most}. {answer.because}"
    parts = [
        f"{name} {number(at)} ({number(low)} to {number(high)})"
        for name, at, low, high in zip(answer.factors, answer.best, answer.best_low, answer.best_high, strict=True)
    ]
    rounds = "" if answer.rounds_out else " Differences between rounds stay in the scatter."
    good = percent(answer.chance_good) if answer.chance_good < SURE else f"over {percent(SURE)}"
    return (
        f"{most.capitalize()} seen at {', '.join(parts)}, {percent(INTERVAL_LEVEL)} intervals. {answer.because} It is the "
        f"{most} of what was tested, or within the margin of it, with a chance of {good}.{rounds}"
    )


def _claim(fit: _Fit, answer: SurfaceAnswer, rival: Rival | None) -> Comparison:
    reach, sign, bound = answer.critical * answer.error, fit.sign, fit.bound
    told = _is_told(answer)
    has_side = fit.kind.better != "neither"
    signal = CANNOT_TELL if not told else "better" if has_side else "higher"
    ends = sorted((sign * (answer.effect - reach), sign * (answer.effect + reach)))

    def above(at: float) -> float:
        spread = max(answer.error, 1e-300)
        return float(special.stdtr(answer.df, (answer.effect - at) / spread))

    name = BEST if has_side else HIGHEST
    at = ", ".join(f"{factor} {number(level)}" for factor, level in zip(answer.factors, answer.best, strict=True))
    comparison = Comparison(
        label=f"{name} against {fit.standard.key}",
        first=f"{name} ({at})" if told and rival is None else name,
        second=fit.standard.key,
        planned=fit.standing.was_planned,
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
    words = because_of(comparison, bound, fit.kind)
    return replace(comparison, because=words if rival is not None else f"{words} {surface_words(answer, name)}")


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
        if _go_together(levels, labels):
            words = f"{name.capitalize()} and factors go together, so either could make the surface."
            found.append(Rival(name=name, words=words, remedy=f"Give every {name} to all points alike.", blocks_claim=True))
    hours = [r.elapsed_h for r in results if r.elapsed_h is not None]
    if hours and max(hours) - min(hours) > 2.0:
        words = "Brews were sampled at different hours, so that the hour may make the surface."
        found.append(Rival(name="hour", words=words, remedy="Sample all brews at the same hour.", blocks_claim=True))
    if _limited(results):
        words = "A brew lies beyond what the test can show."
        found.append(Rival(name="limit", words=words, remedy="Dilute, or use a test with a wider range.", blocks_claim=True))
    if len(lost) > MOST_LOST * (len(results) + len(lost)):
        words = f"{len(lost)} brews gave no result, which is too many for a surface."
        found.append(Rival(name="lost brews", words=words, remedy="Brew the lost points again.", blocks_claim=True))
    return tuple(found)


def _limited(results: Sequence[BrewResult]) -> bool:
    return any(result.at_limit or result.above_range for result in results)


def _go_together(levels: NDArray[np.float64], labels: Sequence[str]) -> bool:
    """Whether labels explain a factor, more than the lot explains: many vessels of few brews each always explain some of it."""
    more, left = len(set(labels)) - 1, len(labels) - len(set(labels))
    if more < 1 or left < 1:
        return False
    centred = levels - levels.mean(axis=0)
    dummies = np.array([[float(label == one) for one in sorted(set(labels))] for label in labels])
    between = dummies @ (np.linalg.pinv(dummies) @ centred)
    share = float(((between**2).sum(axis=0) / np.maximum((centred**2).sum(axis=0), 1e-300)).max())
    beyond = 1.0 - (1.0 - share) * (more + left) / left
    by_lot = float(special.fdtrc(more, left, share / more / max(1.0 - share, 1e-300) * left))
    return beyond >= MIXED and by_lot < BY_LOT
