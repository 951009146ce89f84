"""Which results count, and as what: brews, or the brews that pots were treated with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

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
        if not math.isfinite(result.value) or (kind.scale == "ratio" and result.value <= 0):
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


def collapse_to_source(results: tuple[BrewResult, ...], kind: Outcome) -> tuple[tuple[BrewResult, ...], bool]:
    """Pots fed from one brew become one unit where every arm with tea has several brews; else the pots stay, with a warning."""
    sources: dict[str, set[str]] = {}
    for result in results:
        if result.source_brew:
            sources.setdefault(result.arm, set()).add(result.source_brew)
    if not sources:
        return results, False
    if any(len(found) < 2 for found in sources.values()):
        return results, True
    groups: dict[tuple[str, str], list[BrewResult]] = {}
    for result in results:
        # A control pot without tea is its own unit.
        groups.setdefault((result.arm, result.source_brew or result.brew), []).append(result)
    merged = []
    for (_, name), members in groups.items():
        values = [math.log(m.value) if kind.scale == "ratio" else m.value for m in members]
        mean = sum(values) / len(values)
        blocks = {m.block for m in members}
        merged.append(
            replace(
                members[0],
                brew=name,
                value=math.exp(mean) if kind.scale == "ratio" else mean,
                tests=len(members),
                block=members[0].block if len(blocks) == 1 else "",
                points=tuple(m.value for m in members),
            )
        )
    return tuple(merged), False


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
