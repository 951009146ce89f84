"""Rival explanations: what else than the recipes could make the arms differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aerobe.records import Arm
from aerobe.verdicts._contrasts import Contrast
from aerobe.verdicts._results import BrewResult

SAME_HOUR_H = 2.0  # samples within so many hours of each other count as of one hour [h]


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
        words=f"{contrast.label}: the method reads colour, and {_why_unchecked(open_results)}. "
        "A darker tea with the same microbes would look the same.",
        remedy="Run a killed control and a filtered blank of each brew beside its sample, or measure both arms by plate count or "
        "microscope.",
    )


def _why_unchecked(results: Sequence[BrewResult]) -> str:
    far = [result.control_apart_h for result in results if result.control_apart_h is not None]
    if len(far) == len(results):
        return f"the controls were taken {min(far):g} h or more from the samples, when the tea had another colour"
    if len({result.brew for result in results}) == 1:
        return f"brew {results[0].brew} has no killed control or filtered blank"
    return "no killed control or filtered blank was run"


def find_rivals(
    colour: Sequence[Rival | None], results: Sequence[BrewResult], arms: Sequence[Arm], *, hours_are_asked: bool
) -> tuple[Rival, ...]:
    """Everything that a sceptic would name, in the order of its weight."""
    found = [rival for rival in colour if rival is not None]
    counts = {arm.key: sum(result.arm == arm.key for result in results) for arm in arms}
    single = [arm for arm, count in counts.items() if count == 1]
    if single:
        found.append(
            Rival(
                name="single brew",
                words=f"{_arms(single, 'was', 'were')} brewed once: how much brews differ there is not known.",
                remedy="Brew again, at least twice more of each.",
            )
        )
    pairs = [arm for arm, count in counts.items() if count == 2]
    if pairs:
        found.append(
            Rival(
                name="two brews",
                words=f"{_arms(pairs, 'has', 'have')} two brews: their scatter is hardly known; only a gross difference is told.",
                remedy="Brew again, at least once more of each.",
            )
        )
    return (*found, *_block_rivals(results), *_limits(results), *([] if hours_are_asked else _hours(results)))


def _arms(keys: Sequence[str], one: str, several: str) -> str:
    if len(keys) == 1:
        return f"Arm {keys[0]} {one}"
    return f"Arms {', '.join(keys[:-1])} and {keys[-1]} {several}"


def one_brew_of(contrast: Contrast, fed_by: dict[str, set[str]]) -> Rival | None:
    """Whether all pots of an arm in this contrast got tea from one brew, so that it speaks of that brew and not of its recipe."""
    arms = [arm for arm in (contrast.first, contrast.second) if len(fed_by.get(arm, ())) == 1]
    if not arms:
        return None
    return Rival(
        name="one brew",
        words=f"{contrast.label}: all pots of {' and '.join(arms)} got tea from one brew, so nothing is known of its recipe.",
        remedy="Brew the recipe several times and give each brew its own pots.",
        blocks_claim=True,
    )


def hours_of(contrast: Contrast, results: Sequence[BrewResult]) -> Rival | None:
    """Whether the two arms were sampled at different hours, so that the hour may be all that differs."""
    means = []
    for arm in (contrast.first, contrast.second):
        hours = [r.elapsed_h for r in results if r.arm == arm and r.elapsed_h is not None]
        if not hours:
            return None
        means.append(sum(hours) / len(hours))
    if abs(means[0] - means[1]) <= SAME_HOUR_H:
        return None
    return Rival(
        name="hours",
        words=f"{contrast.first} was sampled at {means[0]:.3g} h and {contrast.second} at {means[1]:.3g} h, "
        "which may be all that differs.",
        remedy="Sample both at the same hour, or name an hour at which both were sampled.",
        blocks_claim=True,
    )


def _block_rivals(results: Sequence[BrewResult]) -> list[Rival]:
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
    found = []
    for name, words, remedy in (
        ("at_limit", "below what the test can see", "Use a method with a lower limit, or concentrate the sample."),
        ("above_range", "above what the test can show", "Dilute the sample and test it again."),
    ):
        brews = [result.brew for result in results if getattr(result, name)]
        if brews:
            said = f"Brew {', '.join(brews)} lies {words}; it counts as somewhere beyond that."
            found.append(Rival(name="limit of the test", words=said, remedy=remedy))
    return found


def _hours(results: Sequence[BrewResult]) -> list[Rival]:
    hours = [result.elapsed_h for result in results if result.elapsed_h is not None]
    if not hours or max(hours) - min(hours) <= SAME_HOUR_H:
        return []
    return [
        Rival(
            name="hours",
            words=f"Brews are compared at different hours ({min(hours):g} to {max(hours):g} h), which may be all that differs.",
            remedy="Sample all brews at the same hour, or name an hour at which all were sampled.",
        )
    ]
