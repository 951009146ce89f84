"""An arm that repeats another: its results are the other's times a number or shifted, shaken a little or in another order."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.verdicts._entered_again import is_sorted
from aerobe.verdicts._layout import Layout

Array = NDArray[np.float64]
Places = NDArray[np.int_]
# Scatter of the differences between two arms in order of size, over the scatter of the arms: what one pair in 1,000 of normal
# arms goes below (200,000 pairs of each number of brews drawn). One in so many more goes below it by the root given next.
ALIKE = {3: 0.025, 4: 0.060, 5: 0.085, 6: 0.103, 7: 0.116, 8: 0.124, 10: 0.132, 12: 0.134, 20: 0.130}
LARGEST_ROOT = 9.0
# That an honest trial is held, by likeness in order of size: at most so, since subsets and scales overlap (counted: 0.5 %).
CHANCE, CHANCE_IN_DAYS = 0.01, 0.003
CHANCE_IN_ORDER = 0.001  # and by likeness in the order of entry
MOST_SUBSETS = 4000
# Brews of one compost and one day differ by 0.2 where published brews differ least (two bottles of one water, flow cytometry):
# half of that is taken for the least that living brews can (our choice, no source) [ln].
LEAST_SCATTER = 0.1
CHANCE_BY_DAY = 0.005  # that arms whose brews differ by no more than that are held
# Scatter of the differences by day over that of the days, above which days explain the likeness; where nothing is known of the
# least scatter (yields, scores, oxygen) it is taken for the least (our choice, no source).
FOLLOWS = 0.1
CHANCE_UNKNOWN = 0.001  # that arms are held whose brews differ by that
ANOTHER_ORDER = 5.0  # differences by day over those by size, from which the days do not explain likeness by size


def copied_arm(values: Array, layout: Layout, step: float, *, are_logs: bool, of_microbes: bool) -> tuple[int, int] | None:
    """Two arms of which one is the other over again, or None.

    Brews of their own neither have the same pattern of sizes, nor go up and down together in the order of entry, nor differ on
    each day by one and the same number. Patterns are compared as logs (times a number) and as they are (shifted).

    Parameters
    ----------
    values
        On the scale compared, shape (brews,). [-]
    layout
        Arms and blocks. [-]
    step
        Of the scale that was read. [outcome's unit]
    are_logs
        Whether the values are logs.
    of_microbes
        Whether the outcome is of living things, whose brews differ by some per cent at least.
    """
    places = [np.flatnonzero(layout.membership[:, arm]) for arm in range(layout.n_arms)]
    pairs = [(a, b) for a, b in combinations(range(layout.n_arms), 2) if min(len(places[a]), len(places[b])) >= 3]
    tried = 2 * len(pairs)
    for scale, coarse, is_log in _scales(values, step, are_logs=are_logs):
        least = LEAST_SCATTER if of_microbes and is_log else 0.0
        for a, b in pairs:
            first, second = scale[places[a]], scale[places[b]]
            if not layout.is_blocked:
                if _same_sizes(first, second, coarse, tried) is not None or _follows(first, second, coarse, tried):
                    return a, b
            elif (days := _by_day(layout, scale, places[a], places[b])) is not None:
                if _differ_by_one_number(days, coarse, len(pairs), least):
                    return a, b
                apart = _same_sizes(first, second, coarse, tried, whole=True) if days.each == 1.0 else None
                if apart is not None and _apart(days.first, days.second) > ANOTHER_ORDER * apart:
                    return a, b
    return None


def _scales(values: Array, step: float, *, are_logs: bool) -> Iterator[tuple[Array, float, bool]]:
    """The values as logs and as they are, each with the step of its scale, and whether they are logs."""
    if are_logs or values.min() > 0.0:
        logs = values if are_logs else np.log(values)
        yield logs, step / math.exp(float(np.median(logs))), True
    yield (np.exp(values) if are_logs else values), step, False


def _apart(first: Array, second: Array) -> float:
    return float((second - first).std(ddof=1))


def _scatter(first: Array, second: Array) -> Array:
    return np.asarray(np.sqrt(0.5 * (first.var(axis=-1, ddof=1) + second.var(axis=-1, ddof=1))))


def _same_sizes(first: Array, second: Array, step: float, tried: int, *, whole: bool = False) -> float | None:
    """Scatter of the differences in order of size where it is too small for arms of their own; of all brews, or all but few."""
    fewer, more = sorted((len(first), len(second)))
    for count in (fewer, fewer - 1):
        if count < (4 if whole or more > count else 3) or (whole and more > count):
            continue
        if math.comb(len(first), count) * math.comb(len(second), count) > MOST_SUBSETS:
            continue
        ones, others = _subsets(first, count)[:, None, :], _subsets(second, count)[None, :, :]
        scatter = _scatter(ones, others)
        apart = (others - ones).std(axis=-1, ddof=1)
        bound = _bound(count, (CHANCE_IN_DAYS if whole else CHANCE) / (tried * apart.size)) * scatter
        alike = (apart < bound) & (step <= bound)
        if alike.any():
            return float(apart[alike].min())
    return None


def _subsets(values: Array, count: int) -> Array:
    return np.array(list(combinations(np.sort(values).tolist(), count)))


def _bound(brews: int, chance: float) -> float:
    single = float(np.interp(brews, list(ALIKE), list(ALIKE.values())))
    return float(single * (1000.0 * chance) ** (1.0 / min(brews - 1.0, LARGEST_ROOT)))


def _follows(first: Array, second: Array, step: float, tried: int) -> bool:
    """Whether one arm goes up and down with the other in the order of entry, by the t test of a correlation."""
    count = len(first)
    scatter = float(_scatter(first, second))
    if count < 4 or count != len(second) or is_sorted(first) or is_sorted(second):
        return False
    if min(float(np.ptp(first)), float(np.ptp(second))) <= step or scatter <= 0.0:
        return False
    r = float(np.corrcoef(first, second)[0, 1])
    t = abs(r) * math.sqrt((count - 2.0) / max(1.0 - r * r, 1e-15))
    return bool(2.0 * special.stdtr(count - 2.0, -t) * tried < CHANCE_IN_ORDER)


@dataclass(frozen=True, slots=True)
class _Days:
    """Two arms on the days that they share."""

    first: Array  # means of the days, shape (days,)
    second: Array
    each: float  # brews of an arm on a day, on average


def _by_day(layout: Layout, values: Array, first: Places, second: Places) -> _Days | None:
    """Both arms day by day, where they share three days or more."""
    if len(layout.groupings) != 1:
        return None
    labels = np.array(layout.groupings[0])
    shared = sorted(set(labels[first].tolist()) & set(labels[second].tolist()))
    if len(shared) < 3:
        return None
    ones, others = ([values[own[labels[own] == day]] for day in shared] for own in (first, second))
    each = sum(len(row) for row in (*ones, *others)) / (2.0 * len(shared))
    return _Days(np.array([row.mean() for row in ones]), np.array([row.mean() for row in others]), each)


def _differ_by_one_number(days: _Days, step: float, pairs: int, least: float) -> bool:
    """Whether two arms differ by one number on all days, so closely that their brews cannot have been brewed apart.

    The days must differ much more than that, or nothing tells a copy from two even arms.
    """
    scatter, apart = float(_scatter(days.first, days.second)), _apart(days.first, days.second)
    if step > FOLLOWS * scatter / 2.0 or apart > FOLLOWS * scatter:
        return False
    df = len(days.first) - 1
    if special.chdtr(df, df * (apart / (FOLLOWS * scatter)) ** 2) * pairs < CHANCE_UNKNOWN:
        return True
    return least > 0.0 and bool(special.chdtr(df, df * apart**2 * days.each / 2.0 / least**2) * pairs < CHANCE_BY_DAY)
