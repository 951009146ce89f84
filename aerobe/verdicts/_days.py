"""Several brews of an arm on one day: where they share that day's luck, the day is what counts, and not the brew."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import Layout, lay_out
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
    beyond = any(result.at_limit or result.above_range for result in results)
    if kind.is_counted or beyond or "" in days or not share_luck(values, arms, days):
        return results, None
    merged = tuple(as_one([results[i] for i in places], values[places], kind) for places in together_on_days(arms, days))
    words = (
        "Brews of one arm on one day are more alike than its days: they share that day's luck, so each day of an arm counts once."
    )
    return merged, Rival(name="shared day", words=words, remedy="Spread the brews over more days.")


def share_luck(values: Array, arms: Sequence[int], days: Sequence[str]) -> NDArray[np.bool_]:
    """Whether brews of an arm on a day are more alike than its days: arm by day against the scatter within, by the F test.

    Parameters
    ----------
    values
        Outcomes on the scale compared, shape (..., brews): one trial, or simulated ones. [-]
    arms, days
        Of each brew. [-]

    Returns
    -------
    array
        One flag for each trial; none where no arm has two brews on a day, or all stand on one day.

    Source
    ------
    hurlbert-1984
    """
    cells = [f"{arm}|{day}" for arm, day in zip(arms, days, strict=True)]
    names = sorted(set(cells))
    none = np.zeros(np.shape(values)[:-1], dtype=bool)
    if len(set(days)) < 2 or len(names) == len(cells):
        return none
    apart, both = lay_out([names.index(cell) for cell in cells]), lay_out(arms, days)
    extra, left = both.df - apart.df, apart.df
    if extra < 1 or left < 1:
        return none
    within = _rest(values, apart)
    between = _rest(values, both) - within
    chance = special.fdtrc(extra, left, between / extra / np.maximum(within / left, 1e-300))
    return np.asarray((between > 1e-12) & (chance < SHARED_LUCK))


def together_on_days(arms: Sequence[int], days: Sequence[str]) -> list[list[int]]:
    """The places of the brews of each arm on each day, in the order in which they first come.

    Parameters
    ----------
    arms, days
        Of each brew. [-]
    """
    groups: dict[tuple[int, str], list[int]] = {}
    for place, cell in enumerate(zip(arms, days, strict=True)):
        groups.setdefault(cell, []).append(place)
    return list(groups.values())


def _rest(values: Array, layout: Layout) -> Array:
    residual = values - values @ (layout.matrix @ layout.inverse).T
    return np.asarray((residual**2).sum(axis=-1))


def as_one(members: Sequence[BrewResult], values: Array, kind: Outcome) -> BrewResult:
    """One result in place of these, whose outcomes on the scale compared are given."""
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
