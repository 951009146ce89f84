"""Results too alike to be what they are said to be: one brew entered as several, typed twice, or finer than the test can read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._copies import copied_arm
from aerobe.verdicts._entered_again import in_sets
from aerobe.verdicts._layout import Layout
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
CHANCE = 0.001  # that an honest trial is held for being too alike, in each of the two ways


def too_alike(
    results: Sequence[BrewResult], values: Array, layout: Layout, *, are_logs: bool, of_microbes: bool = False
) -> Rival | None:
    """Why these brews cannot each be a brew of its own, or None.

    Whether brews of an arm come in pairs (or larger sets) far closer together than their neighbours, or alike in the order of
    entry, which is what results typed twice or shaken a little look like; whether one arm repeats another; and whether brews
    differ by less than the test is known to err.

    Parameters
    ----------
    results
        One for each brew, all within the range of the test. [-]
    values
        On the scale compared, shape (brews,). [-]
    layout
        Arms and blocks. [-]
    are_logs
        Whether the values are logs.
    of_microbes
        Whether the outcome is of living things, whose brews differ by some per cent at least.

    Source
    ------
    pyke-1965
    """
    twins = _twins(results, values, layout, are_logs=are_logs)
    step = _step_of([result.value for result in results])
    relative = step / float(np.median([result.value for result in results])) if are_logs else step
    entered = None if twins else in_sets(values, layout, relative)
    if entered is not None:
        twins = results[entered[0]].brew, results[entered[1]].brew
    if twins:
        first, second = twins
        return Rival(
            name="double entry",
            words=f"Brews come in sets that read almost alike ({first} and {second}, for example) and far apart from the others: "
            "so look results that were entered twice.",
            remedy="Take out what stands twice; several tests of one brew belong to that brew.",
            blocks_claim=True,
        )
    if _finer_than_the_test(results, values, layout):
        return Rival(
            name="likeness of brews",
            words="Brews of one arm differ by less than their test is known to err: separate tests of separate brews do not.",
            remedy="Enter each brew's own reading as the test showed it; several readings of one brew belong to that brew.",
            blocks_claim=True,
        )
    copied = copied_arm(values, layout, step, are_logs=are_logs, of_microbes=of_microbes)
    if copied is not None:
        first, second = (next(r.arm for r, own in zip(results, layout.membership[:, arm], strict=True) if own) for arm in copied)
        return Rival(
            name="copied arm",
            words=f"The results of {second} repeat those of {first}, times a number, shifted or in another order: separate brews "
            "do not follow each other so.",
            remedy="Enter what was read of each brew, and the day that brews of both shared.",
            blocks_claim=True,
        )
    return None


@dataclass(frozen=True, slots=True)
class _Gap:
    """One gap between neighbours within an arm."""

    share: float  # of itself and the gaps beside it, put through its law: uniform for brews of their own [-]
    arm: int
    place: int  # from the lowest pair of the arm on
    below: int
    above: int


def _twins(results: Sequence[BrewResult], values: Array, layout: Layout, *, are_logs: bool) -> tuple[str, str] | None:
    """Two brews of those that come in sets, by the gaps between neighbours.

    How many gaps are how small is a binomial tail; that all gaps inside sets of two or of three are small is a sum of uniforms.
    With blocks the arms share their days, so that each arm speaks alone.
    """
    step = _step_of([result.value for result in results])
    gaps: list[_Gap] = []
    for arm in range(layout.n_arms):
        places = np.flatnonzero(layout.membership[:, arm])
        order = places[np.argsort(values[places], kind="stable")]
        coarse = step / np.array([results[i].value for i in order[1:]]) if are_logs else np.full(len(order) - 1, step)
        gaps += _gaps(values[order], coarse, arm, order) if len(order) > 2 else []
    groups = [[gap for gap in gaps if gap.arm == arm] for arm in range(layout.n_arms)] if layout.is_blocked else [gaps]
    for group in groups:
        if group and min(_tail(group), _in_sets(group, 2), _in_sets(group, 3)) * len(groups) < CHANCE:
            closest = min(group, key=lambda gap: gap.share)
            return results[closest.below].brew, results[closest.above].brew
    return None


def _gaps(values: Array, coarse: Array, arm: int, order: NDArray[np.int_]) -> list[_Gap]:
    """Each gap at its largest, those beside it at their smallest, as the step of the scale allows."""
    apart = np.diff(values)
    found = []
    for i, gap in enumerate(apart + coarse):
        beside = [max(0.0, float(apart[j] - coarse[j])) for j in (i - 1, i + 1) if 0 <= j < len(apart)]
        share = 1.0 - (1.0 - gap / max(gap + sum(beside), 1e-300)) ** len(beside)
        found.append(_Gap(float(share), arm, i, int(order[i]), int(order[i + 1])))
    return found


def _tail(gaps: Sequence[_Gap]) -> float:
    """Chance that so many shares are so small, corrected for the numbers tried."""
    ordered, count = np.sort([gap.share for gap in gaps]), len(gaps)
    chances = [float(special.bdtrc(k - 1, count, min(1.0, float(ordered[k - 1])))) for k in range(1, count + 1)]
    return min(chances) * count


def _in_sets(gaps: Sequence[_Gap], size: int) -> float:
    """Chance that the gaps inside sets of this many are all together so small; 1 where the brews do not divide into such sets."""
    arms = {gap.arm for gap in gaps}
    counts = [1 + sum(gap.arm == arm for gap in gaps) for arm in arms]
    if any(count % size or count < 2 * size for count in counts):
        return 1.0
    inner = [gap.share for gap in gaps if (gap.place + 1) % size]
    total, many = sum(inner), len(inner)
    if total > 4.0 or many > 20:  # beyond that the series below loses its digits
        return 1.0
    terms = [(-1.0) ** k * math.comb(many, k) * (total - k) ** many for k in range(math.floor(total) + 1)]
    return max(0.0, sum(terms)) / math.factorial(many)


def _step_of(values: Sequence[float]) -> float:
    """The coarsest step that all of these are multiples of (Euclid): readings on one step are alike by the scale alone."""
    least = 1e-9 * max(abs(value) for value in values)  # a remainder under this is rounding
    step = largest = 0.0
    for value in values:
        rest = abs(value)
        largest = max(largest, rest)
        while rest > least:
            step, rest = rest, abs(math.remainder(step, rest))
        if step:  # rounding grows with each remainder: the step is taken afresh from what was read
            step = largest / round(largest / step)
    return step or 1.0  # of noughts alone any step is one


def _finer_than_the_test(results: Sequence[BrewResult], values: Array, layout: Layout) -> bool:
    known = [result.test_log_sd**2 for result in results if result.test_is_measured]
    if len(known) < len(results) or min(known) <= 0.0 or layout.df < 1:
        return False
    residual = values - layout.matrix @ (layout.inverse @ values)
    return float(special.chdtr(layout.df, float(residual @ residual) / min(known))) < CHANCE
