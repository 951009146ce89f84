"""Which brew stands where: arms, blocks and other groupings as a design matrix, and which contrasts it can tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Which brew belongs to which arm, block and column, as a design matrix: arms first, then block dummies."""

    matrix: Array  # shape (brews, arms + dummies) [-]
    n_arms: int
    groupings: tuple[tuple[str, ...], ...] = ()  # labels of every grouping taken out, one for each brew

    @property
    def rank(self) -> int:
        """Number of effects that the layout can tell apart."""
        return _rank(self)

    @property
    def df(self) -> int:
        """Degrees of freedom left for the scatter between brews."""
        return int(self.matrix.shape[0]) - self.rank

    @property
    def inverse(self) -> Array:
        """Pseudo-inverse of the design matrix, shape (columns, brews); shared by all who ask, so not to be written to. [-]"""
        return _inverse(self)

    @property
    def is_blocked(self) -> bool:
        """Whether anything beside the arms is taken out."""
        return int(self.matrix.shape[1]) > self.n_arms

    def subset(self, keep: NDArray[np.bool_]) -> Layout:
        """The layout of some of the brews, shape of `keep` (brews,)."""
        kept = tuple(tuple(label for label, kept in zip(labels, keep, strict=True) if kept) for labels in self.groupings)
        return Layout(matrix=self.matrix[keep], n_arms=self.n_arms, groupings=kept)

    @property
    def membership(self) -> Array:
        """1 where a brew belongs to an arm, shape (brews, arms). [-]"""
        return self.matrix[:, : self.n_arms]


def lay_out(arms: Sequence[int], *groupings: Sequence[str]) -> Layout:
    """The design matrix of brews in arms (counted from 0) and in any number of groupings such as day and vessel.

    A grouping in which all brews share one label, or in which every brew has its own, carries no block and is left out.
    """
    return _laid_out(tuple(map(int, arms)), tuple(map(tuple, groupings)))


# A verdict, and each of some hundred simulated ones, asks the same few layouts again and again.
@lru_cache
def _laid_out(arms: tuple[int, ...], groupings: tuple[tuple[str, ...], ...]) -> Layout:
    n_arms = max(arms) + 1
    columns = [np.equal(arms, arm).astype(float) for arm in range(n_arms)]
    used = tuple(labels for labels in groupings if 1 < len(set(labels)) < len(labels))
    for labels in used:
        columns += [np.array([label == one for label in labels], dtype=float) for one in sorted(set(labels))[1:]]
    return Layout(matrix=_shared(np.column_stack(columns)), n_arms=n_arms, groupings=used)


@lru_cache
def _rank(layout: Layout) -> int:
    return int(np.linalg.matrix_rank(layout.matrix.T @ layout.matrix, hermitian=True))


@lru_cache
def _inverse(layout: Layout) -> Array:
    return _shared(np.asarray(np.linalg.pinv(layout.matrix), dtype=np.float64))


def _shared(found: Array) -> Array:
    found.flags.writeable = False
    return found


def is_estimable(layout: Layout, contrasts: Array) -> NDArray[np.bool_]:
    """Whether each contrast of arms can be told apart from blocks, shape (contrasts,)."""
    rows = padded(layout, contrasts)
    projector = layout.inverse @ layout.matrix
    return np.asarray(np.abs(rows @ projector - rows).max(axis=1) < 1e-8)


def padded(layout: Layout, contrasts: Array) -> Array:
    rows = np.zeros((contrasts.shape[0], layout.matrix.shape[1]))
    rows[:, : contrasts.shape[1]] = contrasts
    return rows
