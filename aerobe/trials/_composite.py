"""A central composite over two to four factors: corners, faces and a repeated centre, so that bends can be told."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np

from aerobe.errors import UnusableRecord
from aerobe.records import Arm, Trial
from aerobe.trials._design import Design
from aerobe.trials._layouts import Plot, randomised
from aerobe.trials._power import Power
from aerobe.trials._scatter import Scatter
from aerobe.units import number, percent
from aerobe.verdicts import FittedDesign, Surface, standard_of, told_of

CENTRE_BREWS = 4  # repeated to know the scatter and whether a smooth surface fits (our choice, no source)
LEAST, MOST = 2, 4  # factors


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
    return tuple(repeats * (CENTRE_BREWS if _is_centre(arm, trial.arms) else 1) for arm in trial.arms)


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
    lost: float = 0.0,
    seed: int = 1,
    simulations: int = 1000,
) -> Power:
    """How often the best point would be told to be above the standard.

    The surface simulated is highest in the middle of all factors and falls towards the corners, where it is lower by the margin.

    Parameters
    ----------
    trial, plots, scatter, tests
        As for `power_of`. [-]
    lost
        Share of brews that give no result; another set in each of eight draws. [-]
    seed, simulations
        Of the simulation. [-]
    """
    rng = np.random.default_rng([seed, len(plots), tests])
    names = sorted({name for arm in trial.arms for name in arm.levels})
    levels = np.array([[arm.levels[name] for name in names] for arm in trial.arms])
    coded = 2.0 * (levels - levels.min(axis=0)) / np.ptp(levels, axis=0) - 1.0
    standard = coded[trial.arms.index(standard_of(trial.arms))]
    told, false, needed = [], [], []
    for _ in range(8 if lost > 0.0 else 1):
        drawn = [plot for plot in randomised(plots, len(trial.arms), rng) if rng.random() >= lost]
        at = np.array([plot.arm for plot in drawn])
        rounds = np.array([plot.round for plot in drawn])
        design = FittedDesign(Surface(coded[at], tuple(str(one) for one in rounds), standard))
        count = max(100, simulations // (8 if lost > 0.0 else 1))
        noise = rng.normal(0.0, scatter.of_brew_mean(tests), (count, len(at)))
        noise += rng.normal(0.0, scatter.day_log_sd, (count, 1 + rounds.max()))[:, rounds]
        noise += rng.normal(0.0, scatter.colour_log_sd, (count, len(trial.arms)))[:, at]
        shape = 1.0 - (coded[at] ** 2).mean(axis=1)
        if design.df < 1 or np.linalg.matrix_rank(design.matrix) < design.terms:
            told.append(0.0)
            false.append(0.0)
            needed.append(math.inf)
            continue
        told.append(float(told_of(design, noise + math.log(trial.margin_ratio) * shape).mean()))
        false.append(float(told_of(design, noise).mean()))
        sizes = np.linspace(0.05, 3.0, 60)
        enough = [size for size in sizes if told_of(design, noise[:200] + size * shape).mean() >= 0.8]
        needed.append(float(enough[0]) if enough else math.inf)
    share = float(np.mean(told))
    return Power(
        told=share,
        assurance=share,
        same_told=0.0,
        false_claims=float(np.mean(false)),
        detectable_ratio=math.exp(float(np.median(needed))),
        simulations=simulations,
        standard_error=math.sqrt(max(share * (1.0 - share), 1e-12) / simulations),
    )


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
