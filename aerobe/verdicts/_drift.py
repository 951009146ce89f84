"""Results that drift with the date while the arms were not brewed on the same dates: a steady drift is taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._layout import Layout, is_estimable, padded
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival

Array = NDArray[np.float64]
LEAST_SPAN_H = 20.0  # between the first start and the last, under which all is of one day [h]
LEAST_DF = 3  # left for the scatter beside the drift
# Share of a contrast that lies along the date: under the first a drift is only scatter, from the last on it is taken out unseen,
# between them where a drift is seen at this level (counted; see the benchmark of traps).
LITTLE, MUCH, SEEN = 0.05, 0.3, 0.1


def take_out_drift(layout: Layout, rows: Array, results: Sequence[BrewResult], values: Array) -> tuple[Layout, Rival | None]:
    """The layout with a straight line along the starts of the brews, where arms differ in their dates and results drift.

    Where days are blocks they hold the season already.

    Parameters
    ----------
    layout
        Arms, and what is taken out besides. [-]
    rows
        Weights of the arms in each contrast, shape (contrasts, arms). [-]
    results
        One for each brew.
    values
        On the scale compared, shape (brews,). [-]

    Source
    ------
    fisher-1935
    """
    began = [result.began_h for result in results if result.began_h is not None]
    if len(began) < len(results) or len({result.block for result in results}) > 1 or layout.df <= LEAST_DF:
        return layout, None
    hours = np.array(began)
    if float(np.ptp(hours)) < LEAST_SPAN_H:
        return layout, None
    along = (hours - hours.mean()) / hours.std()
    share = _share_along(layout, rows, along)
    if share <= LITTLE or (share < MUCH and not _chance(layout, along, values) < SEEN):
        return layout, None
    found = replace(layout, matrix=np.column_stack([layout.matrix, along]))
    if bool((is_estimable(layout, rows) & ~is_estimable(found, rows)).any()):
        return layout, None  # arms that stand apart in time are held for that
    return found, Rival(
        name="drift",
        words="The arms were not brewed on the same dates, and results may drift with the date: a steady drift is taken out, "
        "which makes the interval wider. A season that comes and goes is not.",
        remedy="Brew all arms side by side, and record the day as a block.",
    )


def _share_along(layout: Layout, rows: Array, along: Array) -> float:
    """How much of any contrast's weights lies along the dates, from 0 (balanced) to 1. [-]"""
    weights = padded(layout, rows) @ np.linalg.pinv(layout.matrix)
    return float((((weights @ along) ** 2) / (weights**2).sum(axis=1) / (along @ along)).max())


def _chance(layout: Layout, along: Array, values: Array) -> float:
    """Chance of so steep a line though nothing drifts, by the t test of its slope beside the arms."""
    hat = layout.matrix @ np.linalg.pinv(layout.matrix)
    line, rest = along - hat @ along, values - hat @ values
    size = float(line @ line)
    if size < 1e-9:
        return 1.0
    slope, df = float(line @ rest) / size, layout.df - 1
    left = float(rest @ rest) - slope**2 * size
    return float(2.0 * special.stdtr(df, -abs(slope) * np.sqrt(size * df / max(left, 1e-300))))
