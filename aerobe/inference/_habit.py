"""When a person's brews of one recipe in one vessel were best: learned from the courses themselves, whatever law they follow.

The best hour is told on a clock that runs with the warmth of the water, so that brews of different days compare; on the log
scale it is y_i = a + e_i beyond what recipe and vessel let expect. What a person's brews share, a ~ N(0, r p^2), and what is
each brew's own, e_i ~ N(0, (1 - r) p^2), add up to the prior spread p of a first brew; the share r is learned
(lindley-smith-1972). A brew far off the others counts less, as under a t of few degrees (lange-1989).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.inference._courses import Courses
from aerobe.inference._wander import GROWTH_MINIMUM_DEGC
from aerobe.kinetics import growth_factor

Array = NDArray[np.float64]

SHARES = np.linspace(0.1, 0.9, 9)  # of the spread that a person's brews may share [-]
SHARE_BELIEF = SHARES * (1.0 - SHARES)  # before any brew, highest at a half [-]
DEGREES = 4.0  # of the t by which an odd brew is held down
LEAST_SPREAD = 0.15  # of the log of the best hour in brews of one recipe: no two are alike [-]
MOST_TOLD = 6.0  # no course is believed more or less by more than exp of this [-]
EARLIEST_H = 0.5  # a best time earlier than this is as good as the start [h]


@dataclass(frozen=True, slots=True, kw_only=True)
class BestHour:
    """Log of the best time on the clock of warmth: mean and standard deviation. [ln h at 20 degC, -]"""

    mean: float
    sd: float

    def hours(self) -> tuple[float, float, float]:
        """Low, median and high of a 90 % interval. [h at 20 degC]"""
        low, middle, high = np.exp(self.mean + 1.6449 * self.sd * np.array([-1.0, 0.0, 1.0]))
        return float(low), float(middle), float(high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taught:
    """What one earlier brew says: what was believed before its data, and after."""

    before: BestHour
    after: BestHour


def warm_clock(times_h: Array, temperature_degc: Array) -> Array:
    """Hours at 20 degC in which as much would grow, at each time; both of shape (times,). [h]"""
    pace = np.asarray(growth_factor(temperature_degc, GROWTH_MINIMUM_DEGC))
    return np.concatenate([[0.0], np.cumsum(np.diff(times_h) * 0.5 * (pace[1:] + pace[:-1]))])


def best_hour_of(clock_h: Array, log_mass: Array, weight: Array) -> BestHour:
    """Of courses with shape (courses, times) and weights that sum to 1: by the middle and the inner two thirds, since a few
    courses that rise to the end must not carry it."""
    at = np.log(np.maximum(clock_h[log_mass.argmax(axis=1)], EARLIEST_H))
    order = np.argsort(at, kind="stable")
    ladder = np.cumsum(weight[order])
    low, middle, high = (at[order][min(int(np.searchsorted(ladder, q)), len(at) - 1)] for q in (0.1587, 0.5, 0.8413))
    return BestHour(mean=float(middle), sd=max(0.5 * float(high - low), 0.02))


def habit_of(first: BestHour, taught: Sequence[Taught]) -> BestHour | None:
    """The best hour to expect of the next brew; None if no earlier one teaches anything.

    Parameters
    ----------
    first
        What recipe and vessel alone let expect of it.
    taught
        Earlier brews of the same recipe in the same vessel, each with what was believed before and after its data.

    Source
    ------
    lindley-smith-1972, lange-1989
    """
    told = [item for item in (_alone(first, one) for one in taught) if item is not None]
    if not told:
        return None
    y, v = np.array(told).T
    held = v.copy()
    for _ in range(4):
        shares, means, variances = _by_share(first.sd, y, held)
        middle, own = float(shares @ means), (1.0 - float(shares @ SHARES)) * first.sd**2
        held = v + (v + own) * (np.maximum((y - middle) ** 2 / (v + own + variances.mean()), 1.0) - 1.0) / (DEGREES + 1.0) * 2.0
    mean = float(shares @ means)
    within = np.maximum((1.0 - SHARES) * first.sd**2, LEAST_SPREAD**2)
    variance = float(shares @ (variances + within + (means - mean) ** 2))
    return BestHour(mean=float(first.mean + mean), sd=float(np.sqrt(min(variance, first.sd**2))))


def _alone(first: BestHour, one: Taught) -> tuple[float, float] | None:
    """What a brew's data alone said, beyond what its recipe let expect: value and variance."""
    precision = 1.0 / one.after.sd**2 - 1.0 / one.before.sd**2
    if precision < 0.05 / first.sd**2:
        return None
    mean = (one.after.mean / one.after.sd**2 - one.before.mean / one.before.sd**2) / precision
    return mean - first.mean, 1.0 / precision


def _by_share(spread: float, y: Array, v: Array) -> tuple[Array, Array, Array]:
    """For each share: its probability, and mean and variance of what the person's brews have in common."""
    logs, means, variances = [], [], []
    for share in SHARES:
        common, own = share * spread**2, max((1.0 - share) * spread**2, LEAST_SPREAD**2)
        w = 1.0 / (v + own)
        total = 1.0 / common + w.sum()
        mean = float(w @ y) / total
        logs.append(0.5 * np.sum(np.log(w)) - 0.5 * np.log(common * total) - 0.5 * (float(w @ y**2) - mean**2 * total))
        means.append(mean)
        variances.append(1.0 / total)
    p = SHARE_BELIEF * np.exp(np.array(logs) - max(logs))
    return p / p.sum(), np.array(means), np.array(variances)


def believed_by_habit(courses: Sequence[Courses], clock_h: Array, now: BestHour, habit: BestHour) -> tuple[Courses, ...]:
    """Courses believed more or less by their best hour, so that what was expected (`now`) becomes what was learned."""
    out = []
    for item in courses:
        at = np.log(np.maximum(clock_h[item.log_mass.argmax(axis=1)], EARLIEST_H))
        ratio = -0.5 * ((at - habit.mean) / habit.sd) ** 2 + 0.5 * ((at - now.mean) / now.sd) ** 2
        out.append(replace(item, log_weight=item.log_weight + np.clip(ratio, -MOST_TOLD, MOST_TOLD)))
    return tuple(out)
