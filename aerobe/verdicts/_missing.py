"""Brews that were started and gave no result: the claim must stand whatever they would have shown within reason."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.records import Trial
from aerobe.verdicts._calls import Calls
from aerobe.verdicts._contrasts import Contrast
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
MOST_LOST = 0.34  # share of an arm's brews beyond which nothing is claimed (our choice, no source)
OUTER = 0.1  # share of an arm's results beyond the one that stands for a lost brew (our choice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class LostBrew:
    """A brew of the plan that gave no result."""

    arm: str
    block: str = ""


def filled_in(
    arms: Sequence[int], blocks: Sequence[str], values: Array, lost: Sequence[tuple[int, str]], weights: Array, *, towards: float
) -> tuple[list[int], list[str], Array]:
    """The brews of a trial with the lost ones put at the end of their arm's results that speaks for or against the contrast.

    Parameters
    ----------
    arms, blocks
        Of the brews that have results. [-]
    values
        Their outcomes, shape (..., brews). [-]
    lost
        Arm and block of each brew without. [-]
    weights
        Of the arms in the contrast, shape (arms,). [-]
    towards
        +1 puts them where they raise the contrast, -1 where they lower it. [-]

    Source
    ------
    little-rubin-2002
    """
    added = []
    for arm, _ in lost:
        own = values[..., np.equal(arms, arm)]
        # The lowest (or highest) of up to ten results, else their outer tenth: the very extreme of many brews is no likely loss.
        outer = math.floor(OUTER * (own.shape[-1] - 1))
        place = -1 - outer if weights[arm] * towards > 0 else outer
        added.append(np.sort(own, axis=-1)[..., place])
    filled = np.concatenate([values, np.stack(added, axis=-1)], axis=-1)
    return [*arms, *(arm for arm, _ in lost)], [*blocks, *(block for _, block in lost)], filled


def hull(calls: Sequence[Calls]) -> Calls:
    """What holds in every one of several answers: the widest intervals, and only the calls that all of them make."""
    joined = {}
    for item in fields(Calls):
        parts = np.stack([getattr(one, item.name) for one in calls])
        if item.name.endswith("low"):
            joined[item.name] = parts.min(axis=0)
        elif item.name.endswith("high"):
            joined[item.name] = parts.max(axis=0)
        else:
            joined[item.name] = parts.all(axis=0)
    return Calls(**joined)


def too_many_lost(contrast: Contrast, results: Sequence[BrewResult], lost: Sequence[LostBrew]) -> Rival | None:
    """Whether so many brews of an arm gave no result that nothing is known of it."""
    for arm in (contrast.first, contrast.second):
        gone, got = sum(item.arm == arm for item in lost), sum(r.arm == arm for r in results)
        if got and gone / (gone + got) > MOST_LOST:
            return Rival(
                name="lost brews",
                words=f"{gone} of {gone + got} brews of {arm} gave no result; the others may be the better or the worse ones.",
                remedy="Enter what they showed, even if it was nothing, or brew them again.",
                blocks_claim=True,
            )
    return None


def without_missing_cells(trial: Trial, results: Sequence[BrewResult]) -> tuple[Trial, Rival | None]:
    """A trial of factors without the arms that have no result, and what that takes away; any other trial as it is."""
    seen = {result.arm for result in results}
    missing = [arm.key for arm in trial.arms if arm.key not in seen]
    left = tuple(arm for arm in trial.arms if arm.key in seen)
    if trial.question != "factors" or not missing or len(left) < 2:
        return trial, None
    rival = Rival(
        name="missing cell",
        words=f"Arm {', '.join(missing)} has no result: what a factor does over all levels of the others, and what factors do "
        "together, cannot be told without it. Each is told only where its levels stand beside each other, all else alike.",
        remedy=f"Brew {', '.join(missing)}.",
    )
    return replace(trial, arms=left), rival
