"""Rival explanations: what else than the recipes could make the arms differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.records import Arm
from aerobe.verdicts._contrasts import Contrast
from aerobe.verdicts._core import Layout
from aerobe.verdicts._results import BrewResult

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """Another explanation of a difference, or a limit to what it speaks of."""

    name: str
    words: str
    remedy: str
    blocks_claim: bool = False  # the call is held back while it stands
    log_variance: float = 0.0  # what it adds to the variance of the comparison [-]


def colour_of(contrast: Contrast, arms: Sequence[Arm], results: Sequence[BrewResult]) -> Rival | None:
    """Whether the colour of the teas could make this difference.

    A method that reads colour needs a killed control or filtered blank of each brew. Without one, a characterised bias widens the
    interval; without that either, nothing may be said of the microbes. Arms of one and the same recipe share their colour.
    """
    involved = [arm for arm, weight in zip(arms, contrast.weights, strict=True) if weight != 0]
    recipes = {arm.recipe for arm in involved}
    if len(recipes) == 1 and "" not in recipes:
        return None
    weight_of = {arm.key: weight for arm, weight in zip(arms, contrast.weights, strict=True) if weight != 0}
    open_results = [r for r in results if r.arm in weight_of and r.colour_sensitive and not r.colour_checked]
    if not open_results:
        return None
    if all(r.bias_log_sd is not None for r in open_results):
        variance = 0.0
        for key, weight in weight_of.items():
            sds = [r.bias_log_sd or 0.0 for r in open_results if r.arm == key]
            variance += weight**2 * float(np.mean(sds)) ** 2 if sds else 0.0
        return Rival(
            name="colour",
            words=f"{contrast.label}: no killed control was run; the characterised colour bias widens the interval.",
            remedy="Run a killed control and a filtered blank of each brew to narrow it.",
            log_variance=variance,
        )
    return Rival(
        name="colour",
        blocks_claim=True,
        words=f"{contrast.label}: the method reads colour, and no killed control or filtered blank was run. "
        "A darker tea with the same microbes would look the same.",
        remedy="Run a killed control and a filtered blank of each brew, or measure both arms by plate count or microscope.",
    )


def find_rivals(
    colour: Sequence[Rival | None],
    results: Sequence[BrewResult],
    arms: Sequence[Arm],
    values: Array,
    layout: Layout,
    pseudo: bool,
) -> tuple[Rival, ...]:
    """Everything that a sceptic would name, in the order of its weight."""
    found = [rival for rival in colour if rival is not None]
    if pseudo:
        found.append(
            Rival(
                name="one brew",
                words="All pots of an arm got tea from one brew: the verdict speaks of that brew and not of its recipe.",
                remedy="Brew the recipe several times and give each brew its own pots.",
            )
        )
    single = [arm.key for arm in arms if sum(r.arm == arm.key for r in results) == 1]
    if single:
        found.append(
            Rival(
                name="single brew",
                words=f"Arm {', '.join(single)} was brewed once; its tests tell of that brew, and other arms lend their scatter.",
                remedy="Brew it again, at least twice more.",
            )
        )
    found += _block_rivals(results, layout)
    found += _limits(results)
    found += _hours(results)
    uneven = _uneven_scatter(results, values, arms) if layout.df == len(results) - len(arms) else None
    return (*found, uneven) if uneven else tuple(found)


def _block_rivals(results: Sequence[BrewResult], layout: Layout) -> list[Rival]:
    labels = [result.block for result in results]
    if 1 < len(set(labels)) == len(labels):
        return [
            Rival(
                name="blocks",
                words="Every brew has a block of its own, so blocks cannot be taken into account.",
                remedy="Brew all arms side by side on each day.",
            )
        ]
    arms_in: dict[str, set[str]] = {}
    for result in results:
        arms_in.setdefault(result.block, set()).add(result.arm)
    alone = sorted(block for block, arms in arms_in.items() if len(arms) == 1 and block)
    if len(set(labels)) > 1 and alone:
        return [
            Rival(
                name="incomplete blocks",
                words=f"Block {', '.join(alone)} holds one arm only and tells nothing about differences.",
                remedy="Brew all arms side by side on each day.",
            )
        ]
    return []


def _limits(results: Sequence[BrewResult]) -> list[Rival]:
    at_limit = [result.brew for result in results if result.at_limit]
    if not at_limit:
        return []
    return [
        Rival(
            name="detection limit",
            words=f"Brew {', '.join(at_limit)} lies below what the test can see; it was set to the limit, and true "
            "ratios are wider.",
            remedy="Use a method with a lower limit, or concentrate the sample.",
            blocks_claim=False,
        )
    ]


def _hours(results: Sequence[BrewResult]) -> list[Rival]:
    hours = [result.elapsed_h for result in results if result.elapsed_h is not None]
    if not hours or max(hours) - min(hours) <= 2.0:
        return []
    return [
        Rival(
            name="hours",
            words=f"Brews are compared at different hours ({min(hours):g} to {max(hours):g} h), which may be all that differs.",
            remedy="Sample all brews at the same hour, or name an hour at which all were sampled.",
        )
    ]


def _uneven_scatter(results: Sequence[BrewResult], values: Array, arms: Sequence[Arm]) -> Rival | None:
    """Largest against smallest variance; with few brews only gross differences show."""
    groups = [values[[r.arm == arm.key for r in results]] for arm in arms]
    large_enough = [(group, arm.key) for group, arm in zip(groups, arms, strict=True) if len(group) > 2]
    spreads = [(float(group.var(ddof=1)), len(group) - 1, key) for group, key in large_enough]
    if len(spreads) < 2:
        return None
    (small, small_df, quiet), (large, large_df, loud) = min(spreads), max(spreads)
    if small <= 0:
        return None
    tail = float(special.fdtrc(large_df, small_df, large / small)) * len(spreads) * (len(spreads) - 1)
    if tail > 0.05:
        return None
    return Rival(
        name="uneven scatter",
        words=f"Brews of {loud} scatter more than those of {quiet}; the interval assumes one scatter for all.",
        remedy="Read Welch's interval in the check beside the verdict.",
    )
