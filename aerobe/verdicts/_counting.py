"""Which results count, and as what: brews, or the brews that pots were treated with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.records import Trial
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._results import BrewResult


def usable_results(trial: Trial, results: Sequence[BrewResult], kind: Outcome) -> tuple[BrewResult, ...]:
    keys = {arm.key for arm in trial.arms}
    names = [result.brew for result in results]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise UnusableRecord(
            f"Brew {twice[0]} appears more than once.",
            "Average its tests into one result: tests of one brew do not replicate the recipe.",
        )
    for result in results:
        if result.arm not in keys:
            raise UnusableRecord(
                f"Brew {result.brew} belongs to arm '{result.arm}', which the trial does not have.",
                f"Its arms are: {', '.join(sorted(keys))}.",
            )
        if kind.is_counted:
            _check_count(result, kind)
        elif not math.isfinite(result.value) or (kind.scale == "ratio" and result.value <= 0):
            raise UnusableRecord(
                f"Brew {result.brew} has {kind.label} {result.value:g}, of which no ratio can be taken.",
                "Check the value, or enter the detection limit and mark it as such.",
            )
    missing = sorted(keys - {result.arm for result in results})
    if missing:
        raise NotEnoughData(
            f"No brew of arm {', '.join(missing)} has a result.", "Finish the trial, or judge one without that arm."
        )
    return tuple(results)


def _check_count(result: BrewResult, kind: Outcome) -> None:
    if not math.isfinite(result.value) or result.value < 0 or (result.of_n is not None and not result.of_n > 0):
        raise UnusableRecord(f"Unit {result.brew} has a count of {result.value:g}.", "Enter how many there were, 0 or more.")
    if kind.scale == "share" and (result.of_n is None or result.value > result.of_n):
        among = "nobody said among how many" if result.of_n is None else f"it was counted among {result.of_n:g}"
        raise UnusableRecord(
            f"Unit {result.brew} has {result.value:g} {kind.label}, but {among}.",
            "Give the column of_n: how many plants, leaves or seeds were looked at.",
        )


def sources_of(results: Sequence[BrewResult]) -> dict[str, set[str]]:
    """The brews whose tea each arm got, for arms that got tea."""
    sources: dict[str, set[str]] = {}
    for result in results:
        if result.source_brew:
            sources.setdefault(result.arm, set()).add(result.source_brew)
    return sources


def collapse_to_source(results: tuple[BrewResult, ...], kind: Outcome) -> tuple[BrewResult, ...]:
    """Pots fed from one brew become one unit where their arm has several brews.

    Where the pots of a brew stand in several blocks, what the blocks share is first taken off every pot: the brew has no block of
    its own. A control pot without tea is its own unit.
    """
    several = {arm for arm, brews in sources_of(results).items() if len(brews) > 1}
    if not several:
        return results
    groups: dict[tuple[str, str], list[BrewResult]] = {}
    for result in results:
        groups.setdefault((result.arm, result.source_brew if result.arm in several else result.brew), []).append(result)
    if any(len({member.block for member in members}) > 1 for members in groups.values()):
        levelled = iter(_without_blocks(groups, kind))
        groups = {key: [next(levelled) for _ in members] for key, members in groups.items()}
    return tuple(_one_unit(name, members, kind) for (_, name), members in groups.items())


def _one_unit(name: str, members: Sequence[BrewResult], kind: Outcome) -> BrewResult:
    values = np.array([member.value for member in members])
    merged = {
        "ratio": lambda: math.exp(float(np.log(values).mean())),
        "difference": lambda: float(values.mean()),
    }.get(kind.scale, lambda: float(values.sum()))()
    exposures = [member.of_n for member in members]
    return replace(
        members[0],
        brew=name,
        value=merged,
        of_n=sum(n for n in exposures if n is not None) if exposures[0] is not None else float(len(members)),
        tests=len(members),
        block=members[0].block if len({member.block for member in members}) == 1 else "",
        points=tuple(member.value for member in members),
        at_limit=any(member.at_limit for member in members),
        above_range=any(member.above_range for member in members),
    )


def _without_blocks(groups: dict[tuple[str, str], list[BrewResult]], kind: Outcome) -> list[BrewResult]:
    """The pots in the order of the groups, less what their blocks share, by least squares on groups and blocks."""
    if kind.is_counted:  # sums over blocks: every brew has pots in all of them, or the block stays in the scatter
        return [replace(member, block="") for members in groups.values() for member in members]
    pots = [member for members in groups.values() for member in members]
    y = np.array([math.log(pot.value) if kind.scale == "ratio" else pot.value for pot in pots])
    unit = np.repeat(np.eye(len(groups)), [len(members) for members in groups.values()], axis=0)
    labels = sorted({pot.block for pot in pots})
    blocks = np.array([[float(pot.block == label) for label in labels] for pot in pots])
    # Blocks as departures from their mean, so that no level moves.
    effects = (np.linalg.pinv(np.hstack([unit, blocks - 1.0 / len(labels)])) @ y)[len(groups) :]
    level = y - (blocks - 1.0 / len(labels)) @ effects
    back = np.exp(level) if kind.scale == "ratio" else level
    return [replace(pot, value=float(value), block="") for pot, value in zip(pots, back, strict=True)]


def margin_of(trial: Trial, margin: float | None, kind: Outcome) -> float:
    if kind.scale == "difference":
        if margin is None or margin <= 0:
            raise UnusableRecord(
                f"A {kind.label} is compared by difference.", "Say which difference is worth having, in its own unit."
            )
        return margin
    ratio = trial.margin_ratio if margin is None else margin
    if ratio < 1.0:
        raise UnusableRecord(
            f"A margin of {ratio:g} is below 1.", "Give it as the larger over the smaller: 1.25 is a quarter more."
        )
    return math.log(ratio)
