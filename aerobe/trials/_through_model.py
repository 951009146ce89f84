"""Power through a model of the brew: a design run many times over by what is believed of its recipes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotEnoughData
from aerobe.records import AssayError, Trial
from aerobe.trials._layouts import Plot
from aerobe.trials._power import calls_of, layout_of
from aerobe.trials._scatter import Scatter
from aerobe.verdicts import fit_effects, is_estimable, is_surface, planned_contrasts

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]  # trials done, trials in all


class SimulateBrew(Protocol):
    """Something that gives the true course of one brew of an arm.

    `world` is the number of the simulated trial: what nobody knows of the recipes is one and the same for all its brews.
    """

    def __call__(self, rng: np.random.Generator, arm: str, times_h: Sequence[float], world: int) -> Array:
        """True biomass at the times. [ug C/mL]"""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """How often simulated trials ended in each call, for each planned comparison."""

    labels: tuple[str, ...]
    better: tuple[float, ...]
    worse: tuple[float, ...]
    same: tuple[float, ...]
    wrong: tuple[float, ...]  # told in a direction that was not the true one
    true_ratio: tuple[float, ...]  # median over the simulated trials [-]
    median_ratio: tuple[float, ...]  # as estimated [-]
    simulations: int


CHUNK = 100  # trials sent at a time


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """How the brews of a simulated trial are measured."""

    error: AssayError  # its colour bias is taken as removed by killed controls, whose own error is added [ug C/mL]
    at_h: float  # time compared [h]
    tests_per_brew: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulating:
    """How many trials are simulated, and who works on them. The same seed gives the same answer with any executor."""

    simulations: int = 1000
    seed: int = 1
    executor: Executor | None = None  # of concurrent.futures, such as a process pool or that of a Dask client; None runs here
    progress: Progress | None = None  # called with trials done and trials in all


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chunk:
    """Work for one process: everything it needs, small enough to send."""

    trial: Trial
    plots: tuple[Plot, ...]
    scatter: Scatter
    tested: Tested
    simulate_brew: SimulateBrew
    seed: int
    number: int
    first: int
    simulations: int


def told_through_model(
    trial: Trial,
    plots: Sequence[Plot],
    scatter: Scatter,
    simulate_brew: SimulateBrew,
    tested: Tested,
    simulating: Simulating,
) -> Told:
    """How often each call would be made if brews followed a model and were measured by an assay.

    Parameters
    ----------
    trial
        Question, arms and margin. [-]
    plots
        Brews in their rounds. [-]
    scatter
        Scatter between brews and days around the model. Testing error comes from the assay. [-]
    simulate_brew
        True biomass of an arm at given times; must be picklable where an executor of processes is given. [ug C/mL]
    tested
        By which assay, when and how often. [-]
    simulating
        How many trials, and who works on them. [-]

    Returns
    -------
    Told
        Shares of simulated trials. [-]

    Raises
    ------
    NotEnoughData
        If the design leaves nothing to judge the scatter by.
    """
    chunks = [
        _Chunk(
            trial=trial,
            plots=tuple(plots),
            scatter=scatter,
            tested=tested,
            simulate_brew=simulate_brew,
            seed=simulating.seed,
            number=i,
            first=i * CHUNK,
            simulations=min(CHUNK, simulating.simulations - i * CHUNK),
        )
        for i in range(math.ceil(simulating.simulations / CHUNK))
    ]
    outcomes: list[Array] = []
    truths: list[Array] = []
    # Executor.map gives results in the order asked, so the answer does not depend on who finishes first.
    executor = simulating.executor
    done: Iterable[tuple[Array, Array]] = map(_simulate, chunks) if executor is None else executor.map(_simulate, chunks)
    for part, truth in done:
        outcomes.append(part)
        truths.append(truth)
        if simulating.progress is not None:
            simulating.progress(sum(map(len, outcomes)), simulating.simulations)
    return _count(trial, plots, np.concatenate(outcomes), np.concatenate(truths))


def _simulate(chunk: _Chunk) -> tuple[Array, Array]:
    """Log outcomes, shape (trials, brews), and true log levels of the arms, shape (trials, arms), of one chunk."""
    rng = np.random.default_rng([chunk.seed, chunk.number])
    rounds = 1 + max(plot.round for plot in chunk.plots)
    keys = [arm.key for arm in chunk.trial.arms]
    found = np.empty((chunk.simulations, len(chunk.plots)))
    truth = np.zeros((chunk.simulations, len(keys)))
    for trial in range(chunk.simulations):
        day = rng.normal(0.0, chunk.scatter.day_log_sd, rounds)
        world = chunk.first + trial
        for i, plot in enumerate(chunk.plots):
            level = float(chunk.simulate_brew(rng, keys[plot.arm], [chunk.tested.at_h], world)[0])
            truth[trial, plot.arm] = math.log(level)
            brew = level * math.exp(day[plot.round] + rng.normal(0.0, chunk.scatter.brew_log_sd))
            found[trial, i] = math.log(_measured(brew, chunk.tested, rng))
    return found, truth


def _measured(truth: float, tested: Tested, rng: np.random.Generator) -> float:
    """Mean of the tests less a killed control, never below the detection limit. [ug C/mL]"""
    error = tested.error
    sd = math.hypot(error.constant_sd, error.proportional_cv * truth)
    net = truth + rng.normal(0.0, sd / math.sqrt(tested.tests_per_brew)) - rng.normal(0.0, error.constant_sd)
    return float(max(net, error.detection_limit or 0.0, 0.1 * error.constant_sd, 1e-9 * truth))


def _count(trial: Trial, plots: Sequence[Plot], outcomes: Array, truths: Array) -> Told:
    contrasts = planned_contrasts(trial)
    rows = np.array([contrast.weights for contrast in contrasts])
    if is_surface(trial.arms):
        raise NotEnoughData("The brew model is not asked about a surface.", "See the plan: it says how often it would be told.")
    layout = layout_of(trial, plots)
    if layout.df < 1 or not is_estimable(layout, rows).all():
        raise NotEnoughData("This design leaves nothing to judge the scatter by.", "Plan at least two brews of each arm.")
    effects = fit_effects(outcomes, layout, rows)
    calls = calls_of(trial, plots, outcomes, rows)
    same = calls.same & ~calls.above & ~calls.below
    true = truths @ rows.T
    wrong = (calls.above & (true <= 0.0)) | (calls.below & (true >= 0.0))
    return Told(
        labels=tuple(contrast.label for contrast in contrasts),
        better=_shares(calls.above),
        worse=_shares(calls.below),
        same=_shares(same),
        wrong=_shares(wrong),
        true_ratio=tuple(float(value) for value in np.exp(np.median(true, axis=0))),
        median_ratio=tuple(float(value) for value in np.exp(np.median(effects.mean(), axis=0))),
        simulations=len(outcomes),
    )


def _shares(flags: NDArray[np.bool_]) -> tuple[float, ...]:
    return tuple(float(share) for share in flags.mean(axis=0))
