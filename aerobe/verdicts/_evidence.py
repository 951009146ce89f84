"""What the comparisons of a verdict rest on, and the same with lost brews put in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.verdicts._beyond_limits import Together
from aerobe.verdicts._days import as_one, together_on_days
from aerobe.verdicts._layout import Layout, lay_out
from aerobe.verdicts._missing import filled_in
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._results import BrewResult

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the comparisons rest on."""

    kind: Outcome
    results: tuple[BrewResult, ...]
    arms: tuple[int, ...]  # arm of each result, counted from 0
    values: Array  # outcomes on the scale compared, shape (brews,)
    layout: Layout
    members: tuple[tuple[BrewResult, ...], ...] = ()  # brews behind each result, where each day of an arm counts once

    @property
    def is_limited(self) -> bool:
        """Whether any brew lies beyond what the test can show."""
        return any(result.at_limit or result.above_range for result in self.results)

    @property
    def together(self) -> Together | None:
        """The brews behind the results, where several count as one."""
        if not self.members:
            return None
        brews = [brew for own in self.members for brew in own]
        of = np.repeat(np.arange(len(self.members)), [len(own) for own in self.members])
        return Together(values=values_on_scale(brews, self.kind), side=sides_of(brews), of=of)

    def without(self, place: int) -> Evidence:
        """The same less one brew."""
        return self.only(np.arange(len(self.results)) != place)

    def only(self, keep: NDArray[np.bool_]) -> Evidence:
        """The same with some of the brews, shape of `keep` (brews,)."""
        kept = np.flatnonzero(keep).tolist()
        return replace(
            self,
            results=tuple(self.results[i] for i in kept),
            arms=tuple(self.arms[i] for i in kept),
            values=self.values[keep],
            layout=self.layout.subset(keep),
            members=tuple(self.members[i] for i in kept) if self.members else (),
        )


def sides_of(results: Sequence[BrewResult]) -> NDArray[np.int_]:
    """-1 below what the test sees, +1 above what it shows, 0 within, shape (brews,)."""
    return np.array([int(result.above_range) - int(result.at_limit) for result in results])


def values_on_scale(results: Sequence[BrewResult], kind: Outcome) -> Array:
    """Logs for ratios, else the values themselves, shape (brews,)."""
    return np.array([math.log(result.value) if kind.scale == "ratio" else result.value for result in results])


def with_lost(evidence: Evidence, lost: Sequence[tuple[int, str]], row: Array, towards: float) -> Evidence:
    """The evidence with each lost brew at the end of its arm's results that speaks for (or against) the contrast."""
    blocks = [result.block for result in evidence.results]
    if evidence.members:
        return _filled_by_days(evidence, blocks, lost, row, towards)
    arms, filled, values = filled_in(evidence.arms, blocks, evidence.values, lost, row, towards=towards)
    twins = [
        replace(_twin(evidence.results, arms, values, place), brew=f"lost-{place}") for place in range(len(blocks), len(arms))
    ]
    results = tuple(replace(r, block=block) for r, block in zip((*evidence.results, *twins), filled, strict=True))
    return replace(evidence, results=results, arms=tuple(arms), values=values, layout=lay_out(arms, filled))


def _filled_by_days(
    evidence: Evidence, blocks: Sequence[str], lost: Sequence[tuple[int, str]], row: Array, towards: float
) -> Evidence:
    """The same where each day of an arm counts once: a lost brew moves the mean of its day, or is a day of its own."""
    counts = [len(own) for own in evidence.members]
    arms = [arm for arm, count in zip(evidence.arms, counts, strict=True) for _ in range(count)]
    # Days that are known by the hour of their brews alone are no blocks: each result, and each lost brew, is then of its own.
    named = any(blocks)
    days = [day if named else f"{i}" for i, (day, count) in enumerate(zip(blocks, counts, strict=True)) for _ in range(count)]
    gone = [(arm, day if named else f"lost-{i}") for i, (arm, day) in enumerate(lost)]
    brews = [brew for own in evidence.members for brew in own]
    arms, days, values = filled_in(arms, days, values_on_scale(brews, evidence.kind), gone, row, towards=towards)
    brews += [replace(_twin(brews, arms, values, place), brew=f"lost-{place}") for place in range(len(brews), len(arms))]
    groups = together_on_days(arms, days)
    members = tuple(tuple(brews[place] for place in places) for places in groups)
    results = tuple(
        replace(as_one(own, values[places], evidence.kind), brew=f"day-{i}", block=days[places[0]])
        for i, (own, places) in enumerate(zip(members, groups, strict=True))
    )
    means = np.array([values[places].mean() for places in groups])
    arms, days = [arms[places[0]] for places in groups], [days[places[0]] for places in groups]
    return replace(evidence, results=results, arms=tuple(arms), values=means, layout=lay_out(arms, days), members=members)


def _twin(brews: Sequence[BrewResult], arms: Sequence[int], values: Array, place: int) -> BrewResult:
    """The brew whose result stands for a lost one; where it lies at a limit of the test, the lost one lies beyond it, too."""
    return next(r for r, arm, value in zip(brews, arms, values, strict=False) if arm == arms[place] and value == values[place])
