"""Several brews of an arm on one day: unless they plainly differ as much as the days do, the day counts, and not the brew.

Whether a day's luck falls on an arm is tested first, and that test is itself often wrong. So the brews are only believed one by
one where their days come out so alike that, whatever luck a day has, at most `WORST` of claims are false: worked out for the
degrees of freedom at hand. A linear programme over all rules that look at the difference and at both scatters finds none under
6 % that tells more than one to three points more. Two days hold one degree of freedom of their luck, which shows next to nothing
of it: there the days always count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import Layout, lay_out
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._rates import linear_parts
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
LEVEL, WORST = 0.05, 0.0575  # of false claims where a day has no luck of its own, and at its worst luck
_LUCK = np.geomspace(1.0, 60.0, 24)  # variance between days over that within, as brews of a day show it [-]
ONE_DAY_H = 12.0  # brews begun within so many hours of a day's first are of that day (our choice, no source) [h]
_NODES = 64  # of each scatter's distribution, by equal shares


def brews_of_a_day(
    results: tuple[BrewResult, ...], arms: Sequence[int], values: Array, kind: Outcome
) -> tuple[tuple[BrewResult, ...], tuple[tuple[BrewResult, ...], ...], Rival | None]:
    """The results, or one for each arm and day unless brews of an arm on a day differ as much as its days do.

    Beside them the brews behind each of these, none where every brew counts, and what is to be said of it.

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
    taken_out = "" not in days
    if not any(days):
        days = days_begun([result.began_h for result in results])
    one = "day" if kind.is_of_microbes else "block"
    if len(set(days)) == 1 and days[0] and len(days) > len(set(arms)):
        return results, (), _one_day_alone(one)
    weights = None
    if kind.is_counted:
        exposure = np.array([result.of_n or 1.0 for result in results])
        layout = lay_out(arms, *([days] if taken_out else []))
        values, weights = linear_parts(values, exposure, layout, is_share=kind.scale == "share")
    if "" in days or not share_luck(values, arms, days, taken_out=taken_out, weights=weights):
        return results, (), None
    groups = together_on_days(arms, days)
    merged = tuple(as_one([results[i] for i in places], values[places], kind) for places in groups)
    words = f"Results of one arm in one {one} may share its luck, and these do not rule it out: each {one} of an arm counts once."
    if len(set(days)) == 2:
        words += f" Two {one}s hardly show how much {one}s differ: only a very large difference is told."
    members = tuple(tuple(results[i] for i in places) for places in groups)
    return (
        merged,
        members,
        Rival(name="shared day", words=words, remedy=f"Spread each arm over more {one}s: one of each arm in a {one} tells most."),
    )


def _one_day_alone(one: str) -> Rival:
    return Rival(
        name=f"one {one}",
        words=f"All results are of one {one}: what it did to an arm cannot be told from the arm, and no interval holds that.",
        remedy=f"Brew again on other {one}s before you rely on it." if one == "day" else "Repeat it in other blocks.",
    )


def days_begun(began_h: Sequence[float | None]) -> list[str]:
    """The day on which each brew began, named by its first brew; empty for all unless every beginning is known.

    Parameters
    ----------
    began_h
        Beginning of each brew, since any fixed moment. [h]
    """
    days = [""] * len(began_h)
    first = -math.inf
    for place, hour in sorted(enumerate(began_h), key=lambda item: item[1] or 0.0):
        if hour is None:
            return [""] * len(began_h)
        if hour - first > ONE_DAY_H:
            first = hour
        days[place] = f"begun at {first:g} h"
    return days


def share_luck(
    values: Array, arms: Sequence[int], days: Sequence[str], *, taken_out: bool = True, weights: Array | None = None
) -> NDArray[np.bool_]:
    """Whether brews of an arm on a day may share its luck: arm by day over the scatter within, against the most that is trusted.

    Parameters
    ----------
    values
        Outcomes on the scale compared, shape (..., brews): one trial, or simulated ones. [-]
    arms, days
        Of each brew. [-]
    taken_out
        Whether what the arms of a day have in common is taken out of the comparison. [-]
    weights
        Of the outcomes, where they are not equally well known by chance alone, shape (brews,). [-]

    Returns
    -------
    array
        One flag for each trial; none where no arm has two brews on a day, or all stand on one day.

    Source
    ------
    hurlbert-1984, bancroft-1964
    """
    cells = [f"{arm}|{day}" for arm, day in zip(arms, days, strict=True)]
    names = sorted(set(cells))
    none = np.zeros(np.shape(values)[:-1], dtype=bool)
    if len(set(days)) < 2 or len(names) == len(cells):
        return none
    apart, both = lay_out([names.index(cell) for cell in cells]), lay_out(arms, *([days] if taken_out else []))
    extra, left = both.df - apart.df, apart.df
    if extra < 1 or left < 1:
        return none
    within = _rest(values, apart, weights)
    between = np.maximum(_rest(values, both, weights) - within, 0.0)
    return np.asarray(between / extra >= most_trusted(extra, left) * within / left)


@lru_cache(maxsize=256)
def most_trusted(between: int, within: int) -> float:
    """The ratio of scatter between days to that within up to which brews may count one by one. [-]

    The comparison is Student's t with the common scatter below it and with that between days from it on. The ratio returned is
    the largest at which no luck of the days makes more than `WORST` of such claims false; none with one degree of freedom between
    days.

    Parameters
    ----------
    between, within
        Degrees of freedom of arm by day, and of brews within arm and day. [-]

    Source
    ------
    bancroft-1964
    """
    if between < 2:
        return 0.0
    shares = (np.arange(_NODES) + 0.5) / _NODES
    own = 2.0 * special.gammaincinv(between / 2.0, shares) / between
    rest = 2.0 * special.gammaincinv(within / 2.0, shares) / within
    days, brews = (grid.ravel() for grid in np.meshgrid(own, rest))
    by_days = float(special.stdtrit(between, 1.0 - LEVEL / 2.0))
    by_brews = float(special.stdtrit(between + within, 1.0 - LEVEL / 2.0))
    alone = 2.0 * special.ndtr(-by_days * np.sqrt(days))
    common = np.sqrt((between * days + within * brews / _LUCK[:, None]) / (between + within))
    pooled = 2.0 * special.ndtr(-by_brews * common)
    ratio = _LUCK[:, None] * days / brews

    def worst(bound: float) -> float:
        return float(np.where(ratio < bound, pooled, alone).mean(axis=1).max())

    low, high = 0.0, 10.0
    for _ in range(20):
        middle = (low + high) / 2.0
        low, high = (middle, high) if worst(middle) <= WORST else (low, middle)
    return low


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


def _rest(values: Array, layout: Layout, weights: Array | None = None) -> Array:
    """What the layout leaves of the outcomes: the (weighted) sum of squares."""
    root = np.ones(len(layout.matrix)) if weights is None else np.sqrt(weights)
    matrix, scaled = root[:, None] * layout.matrix, values * root
    inverse = layout.inverse if weights is None else np.linalg.pinv(matrix)
    residual = scaled - scaled @ (matrix @ inverse).T
    return np.asarray((residual**2).sum(axis=-1))


def as_one(members: Sequence[BrewResult], values: Array, kind: Outcome) -> BrewResult:
    """One result in place of these, whose outcomes on the scale compared are given."""
    if len(members) == 1:
        return members[0]
    names = {name for member in members for name in member.confounders}
    columns = {member.column for member in members}
    return replace(
        members[0],
        brew=" and ".join(member.brew for member in members),
        members=tuple(member.brew for member in members),
        value=_value_of_all(members, values, kind),
        of_n=sum(member.of_n or 1.0 for member in members) if kind.is_counted else members[0].of_n,
        at_limit=any(member.at_limit for member in members),
        above_range=any(member.above_range for member in members),
        tests=sum(member.tests for member in members),
        points=tuple(member.value for member in members),
        column=columns.pop() if len(columns) == 1 else "",
        confounders={name: " and ".join(sorted({m.confounders.get(name, "") for m in members} - {""})) for name in names},
    )


def _value_of_all(members: Sequence[BrewResult], values: Array, kind: Outcome) -> float:
    """Counts add up; of other outcomes the mean is taken on the scale compared."""
    if kind.is_counted:
        return sum(member.value for member in members)
    mean = float(values.mean())
    return math.exp(mean) if kind.scale == "ratio" else mean
