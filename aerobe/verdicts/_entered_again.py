"""Results that were entered again, seen by the order in which they were entered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import Layout

Array = NDArray[np.float64]
CHANCE = 0.001  # that honest brews are taken for sets entered in order


def in_sets(values: Array, layout: Layout, step: float) -> tuple[int, int] | None:
    """Two brews of those that come in sets in the order of entry (in twos, threes, or a second round of all), or None.

    The scatter within sets against that between sets of one arm, by the F test, with what the step of the scale hides put within;
    with days it is left to `brews_of_a_day`.
    """
    if layout.is_blocked:
        return None
    arms = [np.flatnonzero(layout.membership[:, arm]) for arm in range(layout.n_arms)]
    tried = [(sets, size) for arm in arms for sets, size in sets_of(arm, values)]
    tried += [(np.concatenate(both), size) for size in (2, 3, 0) for both in [_of_all(arms, values, size)] if both]
    for sets, _ in tried:
        own = values[sets]
        within = float(((own - own.mean(axis=1, keepdims=True)) ** 2).sum())
        free = own.shape[0] * (own.shape[1] - 1)
        arm_of = np.argmax(layout.membership[sets[:, 0]], axis=1)
        means = own.mean(axis=1)
        centre = np.array([means[arm_of == arm].mean() for arm in arm_of])
        between = float(((means - centre) ** 2).sum()) * own.shape[1]
        groups = len(means) - len(set(arm_of.tolist()))
        if within <= 0.0:
            continue  # brews that read exactly alike are told by the gaps
        within += free * step**2 / 12.0
        if groups >= 1 and special.fdtrc(groups, free, between / groups / (within / free)) * len(tried) < CHANCE:
            return int(sets[0, 0]), int(sets[0, 1])
    return None


def sets_of(places: NDArray[np.int_], values: Array) -> Iterator[tuple[NDArray[np.int_], int]]:
    """The brews of one arm in twos, in threes, and the first half beside the second (0).

    None where they stand in order of size, as in a sorted table: neighbours are then alike, whatever was brewed.

    Parameters
    ----------
    places
        Of the brews, in the order of entry.
    values
        On the scale compared, shape (brews,). [-]
    """
    count = len(places)
    if is_sorted(values[places]):
        return
    for size in (2, 3):
        if count % size == 0 and count >= 2 * size:
            yield places.reshape(-1, size), size
    if count % 2 == 0 and count >= 6:
        yield places.reshape(2, -1).T, 0


def is_sorted(values: Array) -> bool:
    """Whether these stand in order of size, so that their order of entry tells nothing."""
    steps = np.diff(values)
    return bool((steps >= 0.0).all() or (steps <= 0.0).all())


def _of_all(arms: Sequence[NDArray[np.int_]], values: Array, size: int) -> list[NDArray[np.int_]]:
    found = [sets for arm in arms for sets, kind in sets_of(arm, values) if kind == size]
    return found if len(found) == len(arms) and len({sets.shape[1] for sets in found}) == 1 else []
