"""More air or less food: the two ways to the same floor, side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from aerobe.oxygen._ceiling import DoseOutcome, low_middle_high


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRow:
    """One way to run the brew, beside the way it is run now."""

    name: str
    chance_above_floor: float  # [-]
    lowest_oxygen_mg_per_l: tuple[float, float, float]  # 5, 50, 95 % quantile [mg/L]
    peak_biomass: tuple[float, float, float]  # [ug C/mL]
    biomass_ratio: tuple[float, float, float]  # peak over the peak as it is now, draw by draw [-]
    cost: float  # power and food of one brew [money]


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """Ways compared, and the sentence that follows."""

    rows: tuple[ChangeRow, ...]
    floor_mg_per_l: float
    says: str


def compare_changes(
    outcomes: Mapping[str, DoseOutcome], costs: Mapping[str, float], *, floor_mg_per_l: float, probability: float = 0.9
) -> Changes:
    """Ways to run a brew, by oxygen, biomass and cost.

    Parameters
    ----------
    outcomes
        Outcome by name; the first is the brew as it is now. All with the same draws. [-]
    costs
        Cost of one brew by the same names. [money]
    floor_mg_per_l
        Oxygen not to be undercut. [mg/L]
    probability
        Chance asked for. [-]

    Returns
    -------
    Changes
        One row a way, in the order given.
    """
    now = next(iter(outcomes.values()))
    rows = tuple(
        ChangeRow(
            name=name,
            chance_above_floor=outcome.chance_above(floor_mg_per_l),
            cost=costs.get(name, 0.0),
            lowest_oxygen_mg_per_l=low_middle_high(outcome.lowest_oxygen_mg_per_l),
            peak_biomass=low_middle_high(outcome.peak_biomass),
            biomass_ratio=low_middle_high(outcome.peak_biomass / np.maximum(now.peak_biomass, 1e-12)),
        )
        for name, outcome in outcomes.items()
    )
    return Changes(rows=rows, floor_mg_per_l=floor_mg_per_l, says=_say(rows, floor_mg_per_l, probability))


def _say(rows: tuple[ChangeRow, ...], floor: float, probability: float) -> str:
    holding = [row for row in rows if row.chance_above_floor >= probability]
    if not holding:
        best = max(rows, key=lambda row: row.chance_above_floor)
        return (
            f"None keeps oxygen above {floor:g} mg/L with a chance of {100 * probability:.0f} %; closest is '{best.name}' with "
            f"{100 * best.chance_above_floor:.0f} %."
        )
    if holding[0] is rows[0]:
        chance = 100 * rows[0].chance_above_floor
        return f"The brew as it is stays above {floor:g} mg/L with a chance of {chance:.0f} %: no change is needed."
    best = max(holding, key=lambda row: row.peak_biomass[1])
    low, middle, high = best.biomass_ratio
    return (
        f"Of those that keep oxygen above {floor:g} mg/L with a chance of {100 * probability:.0f} %, '{best.name}' grows most: "
        f"{middle:.2f} ({low:.2f} to {high:.2f}) times the biomass of the brew as it is, for {best.cost:.2f} a brew."
    )
