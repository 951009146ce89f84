"""Several brews of an arm on one day: where they share that day's luck, the day is what counts, and not the brew."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import lay_out
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
# p below which brews of a day are taken to share its luck: our choice, no source [-]
SHARED_LUCK = 0.1


def brews_of_a_day(
    results: tuple[BrewResult, ...], arms: Sequence[int], values: Array, kind: Outcome
) -> tuple[tuple[BrewResult, ...], Rival | None]:
    """The results, or one for each arm and day where brews of an arm on a day are more alike than its days are.

    Parameters
    ----------
    results, arms, values
        Brews, the arm of each, and its outcome on the scale compared, shape (brews,). [-]
    kind
        Outcome. [-]

    Source
    ------
    hurlbert-1984
    """
    days = [result.block for result in results]
    cells = [f"{arm}|{day}" for arm, day in zip(arms, days, strict=True)]
    beyond = any(result.at_limit or result.above_range for result in results)
    if kind.is_counted or beyond or len(set(days)) < 2 or "" in days or len(set(cells)) == len(cells):
        return results, None
    if not _share_luck(values, arms, days, cells):
        return results, None
    groups: dict[str, list[int]] = {}
    for place, cell in enumerate(cells):
        groups.setdefault(cell, []).append(place)
    merged = tuple(_one_day([results[i] for i in places], values[places], kind) for places in groups.values())
    words = (
        "Brews of one arm on one day are more alike than its days: they share that day's luck, so each day of an arm counts once."
    )
    return merged, Rival(name="shared day", words=words, remedy="Spread the brews over more days.")


def _share_luck(values: Array, arms: Sequence[int], days: Sequence[str], cells: Sequence[str]) -> bool:
    """Arm by day against the scatter within, by the F test."""
    apart = lay_out([sorted(set(cells)).index(cell) for cell in cells])
    both = lay_out(arms, days)
    extra, left = both.df - apart.df, apart.df
    if extra < 1 or left < 1:
        return False
    within = _rest(values, apart.matrix)
    between = _rest(values, both.matrix) - within
    return bool(
        between > 1e-12 and (within <= 0.0 or special.fdtrc(extra, left, between / extra / (within / left)) < SHARED_LUCK)
    )


def _rest(values: Array, matrix: Array) -> float:
    residual = values - matrix @ (np.linalg.pinv(matrix) @ values)
    return float(residual @ residual)


def _one_day(members: Sequence[BrewResult], values: Array, kind: Outcome) -> BrewResult:
    if len(members) == 1:
        return members[0]
    mean = float(values.mean())
    names = {name for member in members for name in member.confounders}
    columns = {member.column for member in members}
    return replace(
        members[0],
        brew=" and ".join(member.brew for member in members),
        value=math.exp(mean) if kind.scale == "ratio" else mean,
        tests=sum(member.tests for member in members),
        points=tuple(member.value for member in members),
        column=columns.pop() if len(columns) == 1 else "",
        confounders={name: " and ".join(sorted({m.confounders.get(name, "") for m in members} - {""})) for name in names},
    )
