"""Brews entered one after another that come in sets, as one brew in several vessels does; each set then counts once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._days import as_one
from aerobe.verdicts._entered_again import sets_of
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
Sets = list[list[int]]
# p below which brews are taken to share luck: so few of honest trials may be judged by sets that they lose at most 3 points of
# power (counted).
IN_TWOS_OF_VESSELS = 0.08
IN_ORDER = {2: 0.02, 0: 0.01, 3: 0.005}  # by the size of the sets; 0 is a second round of all


def brews_in_sets(
    results: tuple[BrewResult, ...], arms: Sequence[int], values: Array, kind: Outcome
) -> tuple[tuple[BrewResult, ...], Rival | None]:
    """The results, or one for each set where brews of an arm that were entered together are more alike than others.

    One brew in two vessels, or one result typed twice and shaken, is no two brews. Where days are known, they say which brews
    belong together (see `brews_of_a_day`).

    Parameters
    ----------
    results, arms, values
        Brews in the order of entry, the arm of each, and its outcome on the scale compared, shape (brews,). [-]
    kind
        Outcome. [-]

    Source
    ------
    hurlbert-1984
    """
    beyond = any(result.at_limit or result.above_range for result in results)
    if kind.is_counted or beyond or any(result.block for result in results):
        return results, None
    places = [np.flatnonzero(np.equal(arms, arm)) for arm in range(max(arms) + 1)]
    for how, sets in _candidates(results, places, values):
        many = [own for own in sets if len(own) > 1]
        merged = tuple(as_one([results[i] for i in own], values[own], kind) for own in sorted(sets))
        named = " and ".join(results[i].brew for i in many[0])
        words = f"Brews {how} ({named}, for example) are more alike than others of their arm, as one brew in several vessels is: "
        return merged, Rival(
            name="brews in sets",
            words=words + "each such set counts once.",
            remedy="Enter several vessels or tests of one brew as one brew; brew each anew, at another time.",
        )
    return results, None


def _candidates(results: Sequence[BrewResult], places: Sequence[NDArray[np.int_]], values: Array) -> Iterator[tuple[str, Sets]]:
    """Ways in which the brews share luck, each with all brews in their sets."""
    for size, level in IN_ORDER.items():
        by_arm: list[Sets] = [next((rows.tolist() for rows, kind in sets_of(own, values) if kind == size), []) for own in places]
        bar = IN_TWOS_OF_VESSELS if size == 2 and _in_two_vessels(results, by_arm) else level
        if any(by_arm) and _chance(values, [own for own in by_arm if own]) < bar:
            whole = [own or [[int(i)] for i in row] for own, row in zip(by_arm, places, strict=True)]
            yield "entered one after another" if size else "entered in a second round", [row for own in whole for row in own]


def _in_two_vessels(results: Sequence[BrewResult], by_arm: Sequence[Sets]) -> bool:
    """Whether the brews of each set stood in vessels of their own, the same for every set: one brew may have filled both."""
    vessels = {tuple(sorted(results[i].column for i in row)) for own in by_arm for row in own}
    return len(vessels) == 1 and "" not in (only := vessels.pop()) and len(set(only)) == len(only)


def _chance(values: Array, by_arm: Sequence[Sets]) -> float:
    """Chance that brews of a set are so much more alike than the sets of their arm, by the F test."""
    within = between = 0.0
    free = groups = 0
    for sets in by_arm:
        centre = float(values[[place for own in sets for place in own]].mean())
        for own in sets:
            mean = float(values[own].mean())
            within += float(((values[own] - mean) ** 2).sum())
            between += len(own) * (mean - centre) ** 2
        free += sum(len(own) - 1 for own in sets)
        groups += len(sets) - 1
    if free < 1 or groups < 1 or between <= 1e-12:
        return 1.0
    return float(special.fdtrc(groups, free, between / groups / max(within / free, 1e-300)))
