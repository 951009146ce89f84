"""Draw the run sheet: which brew stands where and when, under which code, with a seed that is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from aerobe.errors import UnusableRecord
from aerobe.records import PlannedBrew, PlannedSample, RunSheet, Trial
from aerobe.trials._controls import Controls
from aerobe.trials._layouts import Plot, randomised

# Letters and digits that cannot be taken for one another in handwriting.
_CLEAR = "ACDEFHJKMNPRTWXY"
_DIGITS = "34679"


@dataclass(frozen=True, slots=True, kw_only=True)
class Starts:
    """When the brews of a trial start."""

    first: datetime  # of the first brew of the first round, with offset
    days_per_round: float = 3.0  # from round to round
    minutes_between: float = 15.0  # two brews of a round, so that one person can sample them on time


def draw_run_sheet(
    trial: Trial,
    plots: Sequence[Plot],
    *,
    controls: Controls,
    sample_times_h: Sequence[float],
    tests_per_brew: int,
    seed: int,
    starts: Starts,
    vessels: Sequence[str] = (),
) -> RunSheet:
    """Brews in random order with blind codes, vessels and clock times.

    Same trial, design and seed give the same sheet. Arms move through the vessels so that none keeps the best one.

    Parameters
    ----------
    trial
        Its key names the brews. [-]
    plots
        Brews in their rounds. [-]
    controls
        Readings to run beside each sample. [-]
    sample_times_h
        Since aeration of that brew began. [h]
    tests_per_brew
        Tests at each sampling. [-]
    seed
        Kept in the sheet. [-]
    starts
        When the brews start. [-]
    vessels
        Names of the vessels; numbered if empty. [-]

    Returns
    -------
    RunSheet
        One line a brew, in the order of starting. [-]

    Raises
    ------
    UnusableRecord
        If the start has no time zone, no sample is planned, or vessels are fewer than brews side by side.

    Source
    ------
    fisher-1935
    """
    if starts.first.tzinfo is None:
        raise UnusableRecord("The first start has no time zone.", "Give the offset, for example 2026-05-01T08:00+02:00.")
    if not sample_times_h:
        raise UnusableRecord("No sampling time is planned.", "Give at least one time, in hours since aeration began.")
    side_by_side = 1 + max(plot.place for plot in plots)
    names = list(vessels) or [f"vessel-{i + 1}" for i in range(side_by_side)]
    if len(names) < side_by_side:
        raise UnusableRecord(
            f"{side_by_side} brews stand side by side, but {len(names)} vessels are named.",
            "Name more vessels, or plan smaller rounds.",
        )
    rng = np.random.default_rng(seed)
    drawn = randomised(plots, len(trial.arms), rng)
    codes = _codes(len(drawn), rng)
    hours = sorted(float(hour) for hour in sample_times_h)
    samples = tuple(PlannedSample(elapsed_h=hour, tests=tests_per_brew, controls=controls.roles) for hour in hours)
    # What is needed once a round goes on the sheet of its first brew, at its first sampling.
    opening = (replace(samples[0], controls=(*controls.roles, *controls.round_roles)), *samples[1:])
    return RunSheet(
        trial=trial.key,
        seed=seed,
        brews=tuple(
            PlannedBrew(
                brew=f"{trial.key}-{code}",
                arm=trial.arms[plot.arm].key,
                block=f"round-{plot.round + 1}",
                vessel=_vessel(trial, plot, names),
                starts_at=starts.first
                + timedelta(days=starts.days_per_round * plot.round, minutes=starts.minutes_between * plot.place),
                blind_code=code,
                samples=opening if plot.place == 0 else samples,
            )
            for plot, code in zip(drawn, codes, strict=True)
        ),
    )


def _vessel(trial: Trial, plot: Plot, names: Sequence[str]) -> str:
    """Where a brew stands; where vessels are what is compared, each arm stands in its own."""
    own = trial.arms[plot.arm].key
    return own if trial.question == "vessels" else names[plot.place]


def _codes(count: int, rng: np.random.Generator) -> list[str]:
    """Short codes that tell nothing of the arm and cannot be misread for one another."""
    every = [first + second + digit for first in _CLEAR for second in _CLEAR for digit in _DIGITS]
    return [every[i] for i in rng.permutation(len(every))[:count]]
