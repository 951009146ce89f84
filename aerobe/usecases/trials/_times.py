"""When to sample the brews of a trial, by the brew model's own beliefs about a recipe."""

from __future__ import annotations

import numpy as np

from aerobe.errors import UnusableRecord
from aerobe.inference import BrewStory, peak_times, simulate_brews
from aerobe.notebook import Notebook
from aerobe.records import Recipe, Vessel
from aerobe.trials import SamplingTimes, optimal_times
from aerobe.usecases.trials._power import USUAL_DEGC

MOST_SAMPLES = 50
LATEST_H = 240.0
EARLIEST_GAP_H = 2.0  # between two samples: a person has to take them


def suggest_sampling_times(
    notebook: Notebook,
    recipe: str,
    vessel: str,
    *,
    samples: int,
    until_h: float = 48.0,
    aim: str = "course",
    seed: int = 1,
    courses: int = 400,
) -> SamplingTimes:
    """Times that tell most about the course of a recipe, averaged over what is believed of it before sampling.

    The believed courses are reduced to the few directions in which their log biomass varies most; times are D-optimal for
    these, or best for the peak time.

    Parameters
    ----------
    notebook
        Open notebook.
    recipe, vessel
        Keys.
    samples
        Samples of each brew. [-]
    until_h
        Latest time. [h]
    aim
        "course" or "peak time".
    seed
        Of the believed courses.
    courses
        How many courses are drawn. [-]

    Raises
    ------
    UnusableRecord
        If so many samples, or so late an end, cannot be placed.
    """
    if not 0.0 < until_h <= LATEST_H or not samples <= MOST_SAMPLES:
        raise UnusableRecord(
            f"{samples} samples until {until_h:g} h cannot be placed.",
            f"Give up to {MOST_SAMPLES} samples, and an end within {LATEST_H:g} h.",
        )
    story = BrewStory(recipe=notebook.get(Recipe, recipe), vessel=notebook.get(Vessel, vessel), temperature_degc=USUAL_DEGC)
    drawn = [brew for brew in simulate_brews(story, courses, seed=seed) if np.isfinite(brew.biomass).all()]
    times = drawn[0].times_h
    logs = np.log(np.array([brew.biomass for brew in drawn]))
    kept = times <= until_h
    times, logs = times[kept], logs[:, kept]
    centred = logs - logs.mean(axis=0)
    left, singular, right = np.linalg.svd(centred, full_matrices=False)
    share = np.cumsum(singular**2) / (singular**2).sum()
    enough = int(np.searchsorted(share, 0.98)) + 1
    size = min(max(2, enough), max(2, samples))
    scores = left[:, :size] * singular[:size]
    directions = right[:size].T  # (times, directions); scores have these as slopes

    def slopes(at: np.ndarray) -> np.ndarray:
        # 0.2 is a usual error of one test on the log scale; only its size against the prior matters.
        return np.column_stack([np.interp(at, times, directions[:, k]) for k in range(size)]) / 0.2

    goal = None
    if aim == "peak time":
        peaks = peak_times(times, np.exp(logs))
        goal = np.linalg.lstsq(np.column_stack([scores, np.ones(len(scores))]), np.asarray(peaks), rcond=None)[0][:size]
    return optimal_times(
        slopes,
        samples=samples,
        start_h=float(times[0]),
        end_h=float(times[-1]),
        aim=goal,
        prior_information=np.diag(1.0 / scores.var(axis=0)),
        earliest_gap_h=EARLIEST_GAP_H,
        grid=97,
    )
