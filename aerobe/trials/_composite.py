"""A central composite over two to four factors: corners, faces and a repeated centre, so that bends can be told."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import UnusableRecord
from aerobe.records import Arm, Trial
from aerobe.trials._circumstances import CLEAR, Circumstances, brew_sds, patterns_of_loss, tested
from aerobe.trials._design import GOOD_POWER, Design
from aerobe.trials._layouts import Plot, randomised
from aerobe.trials._power import Power
from aerobe.trials._scatter import Scatter
from aerobe.units import number, percent
from aerobe.verdicts import FittedDesign, Surface, standard_of, told_of

CENTRE_BREWS = 4  # repeated to know the scatter and whether a smooth surface fits (our choice, no source)
STANDARD_BREWS = 2  # all is measured against it: were it brewed once and died, anything else would look better (our choice)
LEAST, MOST = 2, 4  # factors
LOSSES = 16  # ways in which brews are lost, each simulated together


def central_composite(factors: Mapping[str, tuple[float, float]]) -> tuple[Arm, ...]:
    """The points of a face-centred central composite.

    Every level lies between the two that were given: what is higher may foam over, and less than nothing cannot be weighed. Each
    factor has three levels. The standard is the corner of all low levels.

    Parameters
    ----------
    factors
        Low and high level of each factor, two to four of them. [any]

    Raises
    ------
    UnusableRecord
        If a factor has equal levels, or there are too few or too many factors.

    Source
    ------
    box-wilson-1951, nist-handbook
    """
    if not LEAST <= len(factors) <= MOST:
        raise UnusableRecord(f"A central composite of {len(factors)} factors is not planned here.", "Use two to four factors.")
    for name, (low, high) in factors.items():
        if low == high:
            raise UnusableRecord(f"Factor {name} has the same low and high level.", "Give two different levels.")
    corners = list(product((-1, 1), repeat=len(factors)))
    faces = [tuple(sign if i == at else 0 for i in range(len(factors))) for at in range(len(factors)) for sign in (-1, 1)]
    return tuple(_arm(code, factors) for code in (*corners, *faces, (0,) * len(factors)))


def counts_of(trial: Trial, repeats: int) -> tuple[int, ...]:
    """Brews of each point if the whole composite is brewed so many times."""
    standard = standard_of(trial.arms).key
    once = [STANDARD_BREWS if arm.key == standard else CENTRE_BREWS if _is_centre(arm, trial.arms) else 1 for arm in trial.arms]
    return tuple(repeats * count for count in once)


def _is_centre(arm: Arm, arms: Sequence[Arm]) -> bool:
    return all(
        abs(2.0 * level - min(a.levels[name] for a in arms) - max(a.levels[name] for a in arms)) < 1e-9 * (1.0 + abs(level))
        for name, level in arm.levels.items()
    )


def surface_power(
    trial: Trial,
    plots: Sequence[Plot],
    scatter: Scatter,
    tests: int,
    *,
    given: Circumstances = CLEAR,
    seed: int = 1,
    simulations: int = 1000,
) -> Power:
    """How often the best point would be told to be above the standard, by the whole rule of the verdict but for single brews.

    The surface simulated is highest in the middle of all factors and falls towards the corners, where it is lower by the margin.
    Where the scatter is known from few brews, it is drawn anew for each trial.

    Parameters
    ----------
    trial, plots, scatter, tests, given
        As for `power_of`. [-]
    seed, simulations
        Of the simulation. [-]
    """
    rng = np.random.default_rng([seed, len(plots), tests])
    ways = patterns_of_loss(plots, given, rng, LOSSES)
    parts = [_one_way(trial, plots, scatter, tests, given, kept, rng, max(100, simulations // len(ways))) for kept in ways]
    told, average, false, needed = (np.array([part[place] for part in parts]) for place in range(4))
    share = float(told.mean())
    return Power(
        told=share,
        assurance=float(average.mean()),
        same_told=0.0,
        false_claims=float(false.mean()),
        detectable_ratio=math.exp(float(np.median(needed))),
        simulations=simulations,
        standard_error=math.sqrt(max(share * (1.0 - share), 1e-12) / simulations),
    )


def _one_way(
    trial: Trial,
    plots: Sequence[Plot],
    scatter: Scatter,
    tests: int,
    given: Circumstances,
    kept: NDArray[np.bool_],
    rng: np.random.Generator,
    count: int,
) -> tuple[float, float, float, float]:
    """Trials that lose the same brews: told, told on average over the scatter, told falsely, smallest effect told 4 in 5."""
    names = sorted({name for arm in trial.arms for name in arm.levels})
    levels = np.array([[arm.levels[name] for name in names] for arm in trial.arms])
    coded = 2.0 * (levels - levels.min(axis=0)) / np.ptp(levels, axis=0) - 1.0
    drawn = [plot for plot, here in zip(randomised(plots, len(trial.arms), rng), kept, strict=True) if here]
    at, rounds = np.array([plot.arm for plot in drawn]), np.array([plot.round for plot in drawn])
    standard = trial.arms.index(standard_of(trial.arms))
    design = FittedDesign(Surface(coded[at], tuple(str(one) for one in rounds), coded[standard]))
    if not design.tells:
        return 0.0, 0.0, 0.0, math.inf
    shape, margin = 1.0 - (coded[at] ** 2).mean(axis=1), math.log(trial.margin_ratio)
    unit, day = rng.normal(size=(count, len(at))), rng.normal(0.0, scatter.day_log_sd, (count, 1 + rounds.max()))[:, rounds]
    bias = rng.normal(0.0, scatter.colour_log_sd, (count, len(trial.arms)))[:, at]

    def share(size: float, sds: NDArray[np.float64], few: int) -> float:
        # The colour of a tea is that of its compost: a good day grows more microbes and no more colour.
        grown = (unit * sds[:, None] + day)[:few] + size * shape
        return float(told_of(design, tested(grown, scatter, tests, given, rng)[0] + bias[:few]).mean())

    known = np.full(count, scatter.brew_log_sd)
    told, false = share(margin, known, count), share(0.0, known, count)
    average = share(margin, brew_sds(scatter, count, rng), count) if math.isfinite(scatter.df) else told
    needed = next((size for size in np.linspace(0.05, 3.0, 60) if share(float(size), known, 200) >= GOOD_POWER), math.inf)
    return told, average, false, float(needed)


def surface_in_words(trial: Trial, design: Design, *, answers: bool) -> str:
    """What a central composite of this size takes, and how often it would tell."""
    factors = len({name for arm in trial.arms for name in arm.levels})
    rounds = "1 round" if design.rounds == 1 else f"{design.rounds} rounds"
    opening = "" if answers else "Your budget cannot answer this well. "
    brews, power = sum(design.brews_of), design.power
    return (
        f"{opening}A central composite of {factors} factors: {brews} brews at {len(trial.arms)} points in {rounds}, "
        f"{design.tests_per_brew} tests of each, cost {number(design.cost)}. If the middle is {number(trial.margin_ratio)} times "
        f"the corners, the best point would be told to be better than the standard {percent(power.assurance)} of the time; if no "
        f"factor does anything, {percent(power.false_claims)} of the time. It shows where the best lies, too."
    )


def _arm(code: tuple[int, ...], factors: Mapping[str, tuple[float, float]]) -> Arm:
    levels = {name: low + (high - low) * (sign + 1) / 2 for sign, (name, (low, high)) in zip(code, factors.items(), strict=True)}
    key = "centre" if not any(code) else "-".join(f"{'low' if s < 0 else 'high' if s > 0 else 'mid'}" for s in code)
    return Arm(key=key, recipe=key, is_standard=all(sign < 0 for sign in code), levels=levels)
