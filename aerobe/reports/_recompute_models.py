"""Which model a stranger has to fit to find a comparison again: found by trying them on the verdict's own brews."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import AerobeError
from aerobe.records import Arm, Trial
from aerobe.verdicts import INTERVAL_LEVEL, BrewResult, Comparison, Verdict, pair_contrast, planned_contrasts

Array = NDArray[np.float64]
LEAST_SQUARES = "least squares"
NEAR = 1e-6
# Groupings that may be taken out beside the arms, and which variance the error of a contrast is the root of.
GROUPINGS = ("", "block", "block vessel")
VARIANCES = ("own", "wider", "common")


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """How a comparison is found again by least squares."""

    groupings: str  # one of GROUPINGS
    variance: str  # one of VARIANCES
    weights: dict[str, float]  # of the arms


def model_of(verdict: Verdict, item: Comparison, arms: Sequence[Arm]) -> Model | None:
    """The layout and variance that give a comparison's effect, error and interval from its own degrees of freedom; None if none.

    Parameters
    ----------
    verdict, item
        The verdict and one of its comparisons. [-]
    arms
        Of the trial, with their levels where factors are compared. [-]

    Source
    ------
    satterthwaite-1946, rao-1971
    """
    if item.effect is None or item.error is None or item.df is None:
        return None
    from scipy.special import stdtrit

    reach = float(stdtrit(item.df, 0.5 + INTERVAL_LEVEL / 2)) * item.error
    if not _alike((item.low, item.high), (item.effect - reach, item.effect + reach)):
        return None
    names = list(dict.fromkeys(result.arm for result in verdict.results))
    weights = _weights(names, item, arms)
    if weights is None:
        return None
    values = np.array([math.log(r.value) if verdict.outcome.scale == "ratio" else r.value for r in verdict.results])
    for groupings in GROUPINGS:
        found = _fitted(verdict.results, values, groupings, names, weights)
        for variance in VARIANCES if found is not None else ():
            assert found is not None
            if _alike((item.effect, item.error), (found["effect"], math.sqrt(found[variance]))):
                return Model(groupings=groupings, variance=variance, weights=dict(zip(names, weights.tolist(), strict=True)))
    return None


def _alike(said: Iterable[float | None], found: Iterable[float]) -> bool:
    return all(a is not None and abs(a - b) <= NEAR * max(1.0, abs(b)) for a, b in zip(said, found, strict=True))


def _weights(names: Sequence[str], item: Comparison, arms: Sequence[Arm]) -> Array | None:
    """Weights of the arms, in the order of their names: of a pair, or of a factor's effect."""
    if item.second:
        pair = pair_contrast([Arm(key=name) for name in names], item.first, item.second)
        return np.array(pair.weights)
    present = tuple(arm for arm in arms if arm.key in names)
    try:
        told = planned_contrasts(Trial(key="again", name="again", question="factors", arms=present))
    except AerobeError:
        return None
    found = next((contrast.weights for contrast in told if contrast.label == item.label), None)
    if found is None:
        return None
    by_arm = {arm.key: weight for arm, weight in zip(present, found, strict=True)}
    return np.array([by_arm.get(name, 0.0) for name in names])


def _fitted(
    results: Sequence[BrewResult], values: Array, groupings: str, names: Sequence[str], weights: Array
) -> dict[str, float] | None:
    """Effect of a contrast and its variances, as the package's scripts work them out; None where the layout tells nothing."""
    labels = {"block": [r.block for r in results], "vessel": [r.column for r in results]}
    member = np.array([[float(r.arm == name) for name in names] for r in results])
    used = groupings.split()
    dummies = [[float(label == one) for label in labels[name]] for name in used for one in sorted(set(labels[name]))[1:]]
    if any(not 1 < len(set(labels[name])) < len(results) for name in used):
        return None
    design = np.column_stack([member, *dummies])
    inverse = np.linalg.pinv(design)
    left = len(results) - int(np.linalg.matrix_rank(design))
    if left < 1:
        return None
    rest = np.eye(len(results)) - design @ inverse
    of_brews = np.pad(weights, (0, len(dummies))) @ inverse
    sums = member.T @ (rest @ values) ** 2
    of_arms = np.maximum(np.linalg.pinv(member.T @ rest**2 @ member, rcond=NEAR * 1e-3, hermitian=True) @ sums, 0.0)
    own = float(of_brews**2 @ member @ of_arms)
    if used == ["block"]:
        own = _within_blocks(labels["block"], member, weights, values, own)
    common = float(sums.sum() / left * (of_brews**2).sum())
    return {"effect": float(of_brews @ values), "own": own, "common": common, "wider": max(own, common)}


def _within_blocks(blocks: Sequence[str], member: Array, weights: Array, values: Array, otherwise: float) -> float:
    """Variance of a contrast by its differences within blocks, where each of its arms stands once in each of them."""
    involved = np.flatnonzero(np.abs(weights) > 1e-12)
    each = [[block for block, one in zip(blocks, member[:, arm], strict=True) if one] for arm in involved]
    if len(each[0]) < 2 or any(sorted(own) != sorted(set(each[0])) for own in each):
        return otherwise
    of_brew = member @ weights
    apart = np.array([sum(of_brew[i] * values[i] for i, b in enumerate(blocks) if b == block) for block in sorted(each[0])])
    return float(apart.var(ddof=1)) / len(apart)
