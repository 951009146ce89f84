"""How much food the air carries: a search over doses of any forecast that says how oxygen may run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aerobe.errors import NotEnoughData, OutsideValidity

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseOutcome:
    """What a brew with one dose may come to: one value a draw, all of shape (draws,)."""

    lowest_oxygen_mg_per_l: Array  # [mg/L]
    peak_biomass: Array  # [ug C/mL]
    peak_at_h: Array  # [h]

    def chance_above(self, floor_mg_per_l: float) -> float:
        """Share of draws whose oxygen never falls below the floor.

        Parameters
        ----------
        floor_mg_per_l
            The floor. [mg/L]

        Returns
        -------
        float
            Between 0 and 1. [-]
        """
        return float(np.mean(self.lowest_oxygen_mg_per_l >= floor_mg_per_l))


Forecast = Callable[[float], DoseOutcome]  # dose [g/L] -> outcome, the same draws for every dose


def outcome_of(times_h: ArrayLike, oxygen_mg_per_l: ArrayLike, biomass: ArrayLike) -> DoseOutcome:
    """The outcome of simulated courses.

    Parameters
    ----------
    times_h
        Shape (times,). [h]
    oxygen_mg_per_l, biomass
        Courses, shape (draws, times). [mg/L, ug C/mL]

    Returns
    -------
    Outcome
        Lowest oxygen, highest biomass and when, for each draw.
    """
    times, oxygen, mass = (np.asarray(part, dtype=float) for part in (times_h, oxygen_mg_per_l, biomass))
    highest = np.argmax(mass, axis=1)
    return DoseOutcome(
        lowest_oxygen_mg_per_l=oxygen.min(axis=1),
        peak_biomass=mass[np.arange(len(mass)), highest],
        peak_at_h=times[highest],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseRow:
    """One dose of the trade-off: median and 90 % range of what it may come to."""

    dose_g_per_l: float  # [g/L]
    chance_above_floor: float  # [-]
    lowest_oxygen_mg_per_l: tuple[float, float, float]  # 5, 50, 95 % quantile [mg/L]
    peak_biomass: tuple[float, float, float]  # [ug C/mL]
    peak_at_h: tuple[float, float, float]  # [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodCeiling:
    """The largest dose that keeps oxygen above a floor with a chosen chance."""

    dose_g_per_l: float | None  # None: not even without this food [g/L]
    beyond_range: bool  # the highest dose looked at still holds
    chance: float  # at that dose (without the food where there is none) [-]
    dose_low_g_per_l: float  # range that the number of draws leaves, one standard error each way [g/L]
    dose_high_g_per_l: float
    floor_mg_per_l: float
    probability: float
    rows: tuple[DoseRow, ...]  # the trade-off, doses increasing


def trade_off(forecast: Forecast, doses_g_per_l: Sequence[float], *, floor_mg_per_l: float) -> tuple[DoseRow, ...]:
    """What each dose may come to: peak biomass, when, and the lowest oxygen.

    Parameters
    ----------
    forecast
        Outcome for a dose. [-]
    doses_g_per_l
        Doses to look at. [g/L]
    floor_mg_per_l
        For the chance. [mg/L]

    Returns
    -------
    tuple of DoseRow
        In the order of the doses.
    """
    return tuple(dose_row(float(dose), forecast(float(dose)), floor_mg_per_l) for dose in doses_g_per_l)


def food_ceiling(
    forecast: Forecast, *, floor_mg_per_l: float, probability: float = 0.9, highest_g_per_l: float = 20.0, tolerance: float = 0.02
) -> FoodCeiling:
    """Largest dose whose lowest oxygen stays above a floor with a chosen probability.

    Parameters
    ----------
    forecast
        Outcome for a dose; must use the same draws each time, or the search chases noise. [-]
    floor_mg_per_l
        Oxygen not to be undercut. [mg/L]
    probability
        Chance asked for, between 0.5 and 0.99. [-]
    highest_g_per_l
        Doses above are not looked at. [g/L]
    tolerance
        Relative width at which the search stops. [-]

    Returns
    -------
    FoodCeiling
        The dose, and the trade-off table met on the way.

    Raises
    ------
    OutsideValidity
        If the probability is outside its range.
    NotEnoughData
        If the forecast has too few draws for that probability.

    Notes
    -----
    More food never helps oxygen in any model here, but a forecast is not trusted to know that: the whole range is scanned first,
    and the ceiling is sought below the first dose that fails.
    """
    if not 0.5 <= probability <= 0.99:
        raise OutsideValidity(f"A probability of {probability:g} is outside 0.5 to 0.99.", "0.9 is a usual choice.")
    nothing = forecast(0.0)
    draws = len(nothing.lowest_oxygen_mg_per_l)
    if draws * (1.0 - probability) < 4.0:
        raise NotEnoughData(
            f"{draws} draws cannot show a chance of {probability:g}.",
            f"Use at least {int(np.ceil(4.0 / (1.0 - probability)))} draws.",
        )
    scan = [float(dose) for dose in highest_g_per_l * np.geomspace(0.01, 1.0, 9)]
    rows = [dose_row(0.0, nothing, floor_mg_per_l), *trade_off(forecast, scan, floor_mg_per_l=floor_mg_per_l)]
    fails = [index for index, row in enumerate(rows) if row.chance_above_floor < probability]
    if not fails:
        return _result(rows, rows[-1], True, floor_mg_per_l, probability, draws)
    if fails[0] == 0:
        return _result(rows, None, False, floor_mg_per_l, probability, draws)
    good, bad = rows[fails[0] - 1], rows[fails[0]]
    while bad.dose_g_per_l - good.dose_g_per_l > tolerance * bad.dose_g_per_l:
        middle = 0.5 * (good.dose_g_per_l + bad.dose_g_per_l)
        row = dose_row(middle, forecast(middle), floor_mg_per_l)
        rows.append(row)
        good, bad = (row, bad) if row.chance_above_floor >= probability else (good, row)
    return _result(sorted(rows, key=lambda row: row.dose_g_per_l), good, False, floor_mg_per_l, probability, draws)


def split_feeds(total_g_per_l: float, times_h: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """One dose in equal parts.

    Parameters
    ----------
    total_g_per_l
        The whole dose. [g/L]
    times_h
        When the parts go in. [h]

    Returns
    -------
    tuple of (h, g/L)
        The parts.

    Raises
    ------
    OutsideValidity
        If no time is given.
    """
    if not times_h:
        raise OutsideValidity("A dose cannot be split over no times.", "Give at least one feeding time in hours.")
    return tuple((float(at), total_g_per_l / len(times_h)) for at in times_h)


def dose_row(dose_g_per_l: float, outcome: DoseOutcome, floor_mg_per_l: float) -> DoseRow:
    """What one dose may come to, from brews that were simulated with it.

    Parameters
    ----------
    dose_g_per_l
        The dose. [g/L]
    outcome
        Of the brews with it. [-]
    floor_mg_per_l
        For the chance. [mg/L]
    """
    return DoseRow(
        dose_g_per_l=dose_g_per_l,
        chance_above_floor=outcome.chance_above(floor_mg_per_l),
        lowest_oxygen_mg_per_l=low_middle_high(outcome.lowest_oxygen_mg_per_l),
        peak_biomass=low_middle_high(outcome.peak_biomass),
        peak_at_h=low_middle_high(outcome.peak_at_h),
    )


def low_middle_high(values: Array) -> tuple[float, float, float]:
    """The 5, 50 and 95 % quantile."""
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    return float(low), float(middle), float(high)


def _result(
    rows: Sequence[DoseRow], at: DoseRow | None, beyond: bool, floor: float, probability: float, draws: int
) -> FoodCeiling:
    error = float(np.sqrt(probability * (1.0 - probability) / draws))
    doses = np.array([row.dose_g_per_l for row in rows])
    # Chance falls with dose; reversed and made monotone it can be read the other way round.
    chances = np.minimum.accumulate([row.chance_above_floor for row in rows])
    low, high = (float(np.interp(-level, -chances, doses)) for level in (probability + error, probability - error))
    dose = 0.0 if at is None else at.dose_g_per_l
    return FoodCeiling(
        dose_g_per_l=None if at is None else dose,
        beyond_range=beyond,
        chance=(at or rows[0]).chance_above_floor,
        dose_low_g_per_l=min(low, dose),
        dose_high_g_per_l=dose if at is None else max(high, dose),
        floor_mg_per_l=floor,
        probability=probability,
        rows=tuple(rows),
    )
