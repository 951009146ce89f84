"""Which comparisons a question asks for, written as weights of arms before any outcome is seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotEnoughData, NotFound
from aerobe.records import Arm, Trial

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """One comparison: a weighted sum of arms whose weights add up to nothing."""

    label: str  # "kelp against plain"
    first: str  # arm or factor that is asked about
    second: str  # arm it is compared with; empty for factor effects
    weights: tuple[float, ...]  # one for each arm of the trial [-]
    planned: bool = True
    factors: tuple[str, ...] = ()  # two of them: an interaction


def standard_of(arms: Sequence[Arm]) -> Arm:
    """The arm the others are compared with: the one marked so, else the lowest dose, else the first."""
    marked = [arm for arm in arms if arm.is_standard]
    if marked:
        return marked[0]
    dosed = [arm for arm in arms if arm.dose is not None]
    return min(dosed, key=lambda arm: arm.dose or 0.0) if dosed else arms[0]


def planned_contrasts(trial: Trial) -> tuple[Contrast, ...]:
    """The comparisons that the question of a trial asks for.

    Two arms: the other against the standard. Several against a standard, a dose series or a field response: each against
    the standard.
    Factors: main effects and two-factor interactions; of three levels or more, the slope of each (see `answer_surface`).
    Brewing time and vessels: all pairs.

    Raises
    ------
    NotEnoughData
        If the trial has fewer than two arms, or factors without levels.
    """
    arms = trial.arms
    if len(arms) < 2:
        raise NotEnoughData(f"Trial {trial.key} has fewer than two arms.", "Add an arm to compare with; a control counts.")
    if trial.question == "factors":
        return _factor_contrasts(arms)
    if trial.question in ("brewing time", "vessels") and len(arms) > 2:
        return tuple(pair_contrast(arms, b.key, a.key) for a, b in combinations(arms, 2))
    standard = standard_of(arms)
    return tuple(pair_contrast(arms, arm.key, standard.key) for arm in arms if arm.key != standard.key)


def pair_contrast(arms: Sequence[Arm], first: str, second: str, *, planned: bool = True) -> Contrast:
    """First arm against second.

    Raises
    ------
    NotFound
        If the trial has no such arm.
    """
    keys = [arm.key for arm in arms]
    for key in (first, second):
        if key not in keys:
            raise NotFound(f"The trial has no arm '{key}'.", f"Its arms are: {', '.join(keys)}.")
    weights = tuple(float(key == first) - float(key == second) for key in keys)
    return Contrast(label=f"{first} against {second}", first=first, second=second, weights=weights, planned=planned)


def _factor_contrasts(arms: Sequence[Arm]) -> tuple[Contrast, ...]:
    names = sorted({name for arm in arms for name in arm.levels})
    if not names or any(set(arm.levels) != set(names) for arm in arms):
        raise NotEnoughData("A trial of factors needs a level of every factor in every arm.", "Give each arm its levels.")
    if any(len({arm.levels[name] for arm in arms}) > 2 for name in names):
        return tuple(_slope(arms, name) for name in names)
    varied = [name for name in names if len({arm.levels[name] for arm in arms}) > 1]
    codes = {name: _codes([arm.levels[name] for arm in arms], name) for name in varied}
    terms = [(name,) for name in varied] + list(combinations(varied, 2))
    found: list[Contrast] = []
    for term in terms:
        code = np.prod([codes[name] for name in term], axis=0)
        if _is_balanced(term, code, codes):
            # High half against low half, so that the ratio reads "with over without"; an interaction is the whole ratio of
            # ratios: what one factor does beside the other over what it does without.
            weights, where = code / (np.abs(code).sum() / (2 * len(term))), ""
        else:
            weights, where = _beside_each_other(arms, term, code)
        if not weights.any() or _is_alias(weights, found):
            continue
        name = " x ".join(term)
        label = name + where
        found.append(Contrast(label=label, first=label, second="", weights=tuple(float(w) for w in weights), factors=term))
    if not found:
        raise NotEnoughData("No factor effect can be told from these arms.", "Use a balanced set of factor levels.")
    return tuple(found)


def _is_balanced(term: tuple[str, ...], code: Array, codes: dict[str, Array]) -> bool:
    """Whether both halves of an effect hold as much of every other factor."""
    if abs(code.sum()) > 1e-9 or np.ptp(code) == 0 or any(abs(own.sum()) > 1e-9 for own in codes.values()):
        return False
    return all(abs(float(code @ other)) < 1e-9 for name, other in codes.items() if term != (name,))


def _beside_each_other(arms: Sequence[Arm], term: tuple[str, ...], code: Array) -> tuple[Array, str]:
    """An effect from those arms alone that stand beside each other at all its levels, all other factors alike; and where that is.

    With a cell of a factorial missing these are simple effects: what one factor does at a given level of the other.
    """
    apart: dict[tuple[tuple[str, float], ...], list[int]] = {}
    for place, arm in enumerate(arms):
        apart.setdefault(tuple(sorted((n, v) for n, v in arm.levels.items() if n not in term)), []).append(place)
    whole = {where: places for where, places in apart.items() if len(places) == 2 ** len(term)}
    weights = np.zeros(len(arms))
    for places in whole.values():
        weights[places] = code[places] / len(whole)
    if len(whole) == 1:
        return weights, " at " + ", ".join(f"{name} {level:g}" for name, level in next(iter(whole)))
    return weights, f" at {len(whole)} of the levels of the others"


def _slope(arms: Sequence[Arm], name: str) -> Contrast:
    """The straight part of what a factor of three levels does, from its lowest to its highest."""
    levels = np.array([arm.levels[name] for arm in arms], dtype=float)
    away = levels - levels.mean()
    if not away.any():
        raise NotEnoughData(f"Factor {name} has one level.", "Give every factor two levels or more.")
    weights = away * float(np.ptp(levels)) / float(away @ away)
    return Contrast(label=name, first=name, second="", weights=tuple(float(w) for w in weights), factors=(name,))


def _is_alias(weights: Array, found: Sequence[Contrast]) -> bool:
    """Whether an effect has the same weights as an earlier one: a fraction of a factorial cannot tell them apart."""
    return any(abs(abs(np.corrcoef(weights, contrast.weights)[0, 1]) - 1.0) < 1e-9 for contrast in found)


def _codes(levels: Sequence[float], name: str) -> Array:
    low, high = min(levels), max(levels)
    if low == high or len(set(levels)) > 2:
        raise NotEnoughData(
            f"Factor {name} has {len(set(levels))} levels; effects of factors are worked out for two.",
            "Use two levels for each factor, or ask a dose series for more.",
        )
    return np.array([1.0 if level == high else -1.0 for level in levels])
