"""Structures weighed by the assay results, and draws of the brew's course from all of them.

Within a structure every course has the evidence of the results under it, whatever strays (see `_wander`). Between structures the
weights are tempered: evidence is exact only if one of the structures is right, and none is (grunwald-2012).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._courses import Courses
from aerobe.inference._likelihood import Results
from aerobe.inference._regression import BELIEFS, evidence_under, regression_of, strays_given
from aerobe.inference._sampler import tail_shape
from aerobe.inference._wander import WANDERS, Wander

Array = NDArray[np.float64]

TEMPER = 0.7  # power of the evidence between structures; tuned on brews of foreign laws


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mixture:
    """Courses of all structures with their weights.

    Parameters
    ----------
    courses
        The structures.
    weights
        Of every course under every wander, one array of shape (courses, wanders) a structure; all together sum to 1.
    biases
        Of the assays, drawn for each course, one array of shape (courses, assays) a structure. [unit of the results]
    """

    grid_h: Array
    results: Results
    courses: tuple[Courses, ...]
    weights: tuple[Array, ...]
    biases: tuple[Array, ...]
    log_evidence: float
    clock_h: Array

    @property
    def shares(self) -> dict[str, float]:
        """Weight of each structure. [-]"""
        return {item.structure: float(w.sum()) for item, w in zip(self.courses, self.weights, strict=True)}

    @property
    def effective(self) -> float:
        """Effective number of courses. [-]"""
        each = np.concatenate([w.sum(axis=1) for w in self.weights])
        return float(1.0 / np.sum(each**2))

    @property
    def khat(self) -> float:
        """Tail shape of the weights of the courses. [-]"""
        return tail_shape(np.concatenate([w.sum(axis=1) for w in self.weights]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """Equally likely courses; arrays have a row a draw."""

    log_mass: Array
    log_ratio: Array
    oxygen: Array
    scores: Array
    gains: Array
    biases: Array
    structure: NDArray[np.int64]


def mixture_of(
    grid_h: Array,
    results: Results,
    courses: Sequence[Courses],
    prior: Sequence[float],
    *,
    clock_h: Array,
    rng: np.random.Generator,
) -> Mixture:
    """Weigh structures and courses by the results; `prior` is the belief in each structure before them."""
    logs, biases = [], []
    for item in courses:
        bias = results.bias + results.bias_sd * rng.standard_normal((len(item.log_mass), len(results.assays)))
        bias = bias if item.biases is None else item.biases
        biases.append(bias)
        log_w = (item.log_weight - _log_sum(item.log_weight))[:, None] + BELIEFS[None]
        if len(results.value):
            regression = regression_of(results, item.log_mass, item.log_ratio, grid_h, clock_h, bias, WANDERS)
            found = evidence_under(regression)
            log_w = log_w + np.where(np.isfinite(found), found, -np.inf)
        logs.append(log_w)
    evidence = np.array([_log_sum(log_w) for log_w in logs])
    believed = np.log(np.maximum(prior, 1e-12)) + np.array([item.log_belief for item in courses])
    share = believed + TEMPER * (evidence - evidence.max())
    share = np.exp(share - _log_sum(share))
    weights = tuple(s * np.exp(log_w - e) for s, log_w, e in zip(share, logs, evidence, strict=True))
    return Mixture(
        grid_h=grid_h,
        results=results,
        courses=tuple(courses),
        weights=weights,
        biases=tuple(biases),
        log_evidence=_log_sum(believed - _log_sum(believed) + evidence),
        clock_h=clock_h,
    )


def draw_from(mixture: Mixture, count: int, rng: np.random.Generator) -> Drawn:
    """Equally likely courses: a course by its weight, then what strays given the results."""
    flat = np.concatenate([w.ravel() for w in mixture.weights])
    ladder = (np.arange(count) + rng.random()) / count * flat.sum()
    picked = np.minimum(np.searchsorted(np.cumsum(flat), ladder), len(flat) - 1)
    edges = np.cumsum([0, *(w.size for w in mixture.weights)])
    structure = np.searchsorted(edges, picked, side="right") - 1
    place, which = np.divmod(picked - edges[structure], len(WANDERS))
    parts = []
    for s, item in enumerate(mixture.courses):
        for w, wander in enumerate(WANDERS):
            mine = place[(structure == s) & (which == w)]
            if len(mine):
                parts.append(_strayed(mixture, item, mixture.biases[s], mine, wander, s, rng))
    joined = {name: np.concatenate([getattr(part, name) for part in parts]) for name in Drawn.__dataclass_fields__}
    # In random order, so that any run of draws stands for all.
    order = rng.permutation(count)
    return Drawn(**{name: values[order] for name, values in joined.items()})


def _strayed(
    mixture: Mixture, item: Courses, biases: Array, mine: NDArray[np.int64], wander: Wander, s: int, rng: np.random.Generator
) -> Drawn:
    """Courses `mine` of a structure with what strays under one wander, drawn given the results."""
    strays = strays_given(
        mixture.results,
        item.log_mass[mine],
        item.log_ratio[mine],
        mixture.grid_h,
        mixture.clock_h,
        biases[mine],
        wander,
        rng,
    )
    return Drawn(
        log_mass=item.log_mass[mine] + strays.log_mass,
        log_ratio=item.log_ratio[mine] + strays.log_ratio,
        oxygen=item.oxygen[mine],
        scores=item.scores[mine],
        gains=np.exp(strays.log_gain),
        biases=biases[mine],
        structure=np.full(len(mine), s),
    )


def _log_sum(values: Array) -> float:
    top = float(np.max(values))
    return top + float(np.log(np.sum(np.exp(values - top)))) if np.isfinite(top) else float("-inf")
