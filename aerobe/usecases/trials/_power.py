"""Power through the brew model: a planned trial run many times over by what is believed of its recipes."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import NotAllowed, NotFound, UnusableRecord
from aerobe.inference import BrewStory, simulate_brews
from aerobe.notebook import Notebook
from aerobe.records import Assay, AssayError, Recipe, Vessel
from aerobe.trials import Plot, Scatter, Simulating, Tested, Told, told_through_model
from aerobe.usecases.trials._view import trial_view

Array = NDArray[np.float64]
MOST_SIMULATIONS = 1_000_000
COURSES = 300
USUAL_DEGC = 20.0  # of the water, where nothing is brewed yet


@dataclass(frozen=True, slots=True)
class BelievedCourses:
    """Log biomass of each arm in each believed world; the same world has the same unknowns in every arm."""

    times_h: Array  # [h]
    log_biomass: dict[str, Array]  # shape (worlds, times) [-]

    def __call__(self, rng: np.random.Generator, arm: str, times_h: Sequence[float], world: int) -> Array:
        """True biomass of an arm at the times. [ug C/mL]"""
        courses = self.log_biomass[arm]
        return np.exp(np.interp(times_h, self.times_h, courses[world % len(courses)]))


def power_through_model(
    notebook: Notebook,
    key: str,
    *,
    scatter: Scatter,
    simulations: int = 1000,
    workers: int = 0,
    cluster: str = "",
    seed: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Told:
    """How often each call would be made if the recipes behaved as the brew model believes.

    Parameters
    ----------
    notebook
        Open notebook.
    key
        Of a trial with a run sheet, whose arms all have recipes.
    scatter
        Between brews and days, around the model.
    simulations
        Trials simulated. [-]
    workers
        Processes; 0 for as many as the machine has, 1 for none but this one. [-]
    cluster
        Address of a Dask scheduler, such as tcp://192.168.1.9:8786; empty for processes here.
    seed
        Same seed, same answer, with any workers.
    progress
        Called with trials done and trials in all.

    Raises
    ------
    NotFound
        If the trial has no run sheet.
    UnusableRecord
        If an arm is not brewed.
    """
    if not 1 <= simulations <= MOST_SIMULATIONS:
        raise UnusableRecord(f"{simulations} is no number of simulations.", f"Give from 1 to {MOST_SIMULATIONS}.")
    view = trial_view(notebook, key)
    if view.sheet is None:
        raise NotFound(f"Trial {key} has no run sheet.", "Plan the trial here first.")
    bare = [arm.key for arm in view.trial.arms if not arm.recipe]
    if bare:
        raise UnusableRecord(f"Arm {', '.join(bare)} is not brewed, so no brew model speaks of it.", "Use the plan's own power.")
    rounds = {block: i for i, block in enumerate(dict.fromkeys(brew.block for brew in view.sheet.brews))}
    arms = [arm.key for arm in view.trial.arms]
    # By round and arm, and not as they were drawn: the figures of simulated trials would tell the order behind the codes.
    order = sorted((rounds[brew.block], arms.index(brew.arm)) for brew in view.sheet.brews)
    plots = [Plot(arm=arm, round=number, place=i) for i, (number, arm) in enumerate(order)]
    last = view.sheet.brews[0].samples[-1]
    vessel = notebook.get(Vessel, view.sheet.brews[0].vessel)
    courses = _believed(notebook, {arm.key: arm.recipe for arm in view.trial.arms}, vessel, USUAL_DEGC, seed)
    with _workers(workers, cluster) as executor:
        return told_through_model(
            view.trial,
            plots,
            scatter,
            courses,
            Tested(error=_error_of(notebook), at_h=last.elapsed_h, tests_per_brew=last.tests),
            Simulating(seed=seed, simulations=simulations, executor=executor, progress=progress),
        )


def _believed(notebook: Notebook, recipes: dict[str, str], vessel: Vessel, temperature_degc: float, seed: int) -> BelievedCourses:
    found: dict[str, Array] = {}
    times = np.zeros(0)
    usable = np.ones(COURSES, dtype=bool)
    for arm, recipe in recipes.items():
        story = BrewStory(recipe=notebook.get(Recipe, recipe), vessel=vessel, temperature_degc=temperature_degc)
        drawn = simulate_brews(story, COURSES, seed=seed)
        times = drawn[0].times_h
        found[arm] = np.log(np.array([brew.biomass for brew in drawn]))
        usable &= np.isfinite(found[arm]).all(axis=1)
    return BelievedCourses(times_h=times, log_biomass={arm: logs[usable] for arm, logs in found.items()})


def _error_of(notebook: Notebook) -> AssayError:
    """Error of the notebook's biomass assay, bias left to the killed controls; an assumed one if there is none."""
    known = [assay.error for assay in notebook.find(Assay) if assay.error is not None and assay.quantity == "biomass"]
    return replace(known[0], bias=0.0) if known else AssayError(constant_sd=1.0, proportional_cv=0.15)


@contextmanager
def _workers(workers: int, cluster: str) -> Iterator[Executor | None]:
    if cluster:
        try:
            from distributed import Client
        except ImportError:
            raise NotAllowed("Dask is not installed.", "Install it with: pip install 'aerobe[cluster]'") from None
        with Client(cluster) as client:
            yield client.get_executor()
    elif workers == 1:
        yield None
    else:
        with ProcessPoolExecutor(workers or min(8, os.cpu_count() or 1)) as pool:
            yield pool
