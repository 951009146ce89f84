"""What the quick count of power leaves out, counted by the very verdict: vessels, limits, brews set apart, lost brews."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aerobe.errors import AerobeError
from aerobe.records import Trial
from aerobe.trials._circumstances import CLEAR, MANY_PATTERNS, Circumstances, brew_sds, tested
from aerobe.trials._layouts import Plot, randomised
from aerobe.trials._power import Power, allowance_at_end, power_from, power_of, shift_of
from aerobe.trials._scatter import Scatter
from aerobe.verdicts import BrewResult, LostBrew, Standing, judge, planned_contrasts

Array = NDArray[np.float64]
# Trials judged whole, by the number of comparisons; they only correct the quick count of many more. Each comparison more makes a
# verdict dearer, and with three or more the quick count stands as it is: a person would wait a minute for a point.
TRIALS = {1: 200, 2: 60}
MOST_CORRECTED = 0.999
BELIEVED = 3.0  # squared errors that are taken off a squared correction (our choice, no source)
HIGHER = "biomass"  # an outcome by ratio of which more is better, whatever the plan's own: the difference planned for is a rise


def checked_power(
    trial: Trial,
    plots: Sequence[Plot],
    scatter: Scatter,
    tests_per_brew: int,
    power: Power,
    *,
    given: Circumstances = CLEAR,
    seed: int = 1,
    trials: int | None = None,
) -> Power:
    """The quick count of a design corrected by whole verdicts on trials drawn as its run sheet will be.

    The same simulated trials go through both; the difference is added to the quick count (a control variate), shrunk by its own
    error: what few trials show of a small difference is chance, of a large one is not.

    Parameters
    ----------
    trial, plots, scatter, tests_per_brew, given
        As for `power_of`. [-]
    power
        The quick count. [-]
    seed
        Of the simulation. [-]
    trials
        Judged whole; by the number of comparisons if left out. [-]

    Source
    ------
    ohagan-stevens-campbell-2005, breiman-1995
    """
    trials = TRIALS.get(len(planned_contrasts(trial)), 0) if trials is None else trials
    rng = np.random.default_rng([seed, len(plots), tests_per_brew, trials])
    if given.lost > 0.0:
        simulations = 40 * MANY_PATTERNS
        power = power_of(
            trial, plots, scatter, tests_per_brew, given=given, seed=seed, simulations=simulations, patterns=MANY_PATTERNS
        )
    if not trials:
        return power
    whole, quick = np.empty(trials), np.empty(trials)
    for i in range(trials):
        whole[i], quick[i] = _one_trial(trial, randomised(plots, len(trial.arms), rng), scatter, tests_per_brew, given, rng)
    short = float((whole - quick).mean())
    error = float((whole - quick).std()) / math.sqrt(trials)
    short *= max(0.0, 1.0 - BELIEVED * (error / short) ** 2) if short else 0.0
    return replace(
        power,
        told=_share(power.told + short),
        assurance=_share(power.assurance + short),
        standard_error=math.hypot(power.standard_error, error),
    )


def like(power: Power, other: Power, checked: Power) -> Power:
    """A quick count corrected as another design's was, in proportion to how far a count can move at all (p (1 - p))."""
    room = other.assurance * (1.0 - other.assurance)
    share = 0.0 if room <= 0.0 else min(1.0, power.assurance * (1.0 - power.assurance) / room)
    short = (checked.assurance - other.assurance) * share
    return replace(power, told=_share(power.told + short), assurance=_share(power.assurance + short))


def _share(value: float) -> float:
    return min(MOST_CORRECTED, max(0.0, value))


def _one_trial(
    trial: Trial, plots: Sequence[Plot], scatter: Scatter, tests: int, given: Circumstances, rng: np.random.Generator
) -> tuple[bool, bool]:
    """Whether one simulated trial is told by the verdict, and by the quick count."""
    arms = np.array([plot.arm for plot in plots])
    rounds = np.array([plot.round for plot in plots])
    day = rng.normal(0.0, scatter.day_log_sd, 1 + rounds.max())[rounds]
    brew = rng.normal(0.0, 1.0, len(plots)) * brew_sds(scatter, 1, rng)[0]
    shift = math.log(trial.margin_ratio) * shift_of(trial)[arms]
    logs, below = tested((brew + day + shift)[None, :], scatter, tests, given, rng)
    values = logs[0] + rng.normal(0.0, scatter.colour_log_sd, len(trial.arms))[arms]
    kept = rng.random(len(plots)) >= given.lost
    left = [plot for plot, here in zip(plots, kept, strict=True) if here]
    gone = [plot for plot, here in zip(plots, kept, strict=True) if not here]
    if {plot.arm for plot in left} != set(range(len(trial.arms))):
        return False, False
    allowance = allowance_at_end(len(plots), given)
    results = [
        BrewResult(
            brew=f"b{i}",
            arm=trial.arms[plot.arm].key,
            value=math.exp(values[i]),
            block=f"{plot.round}",
            column=trial.arms[plot.arm].key if trial.question == "vessels" else f"v{plot.place}",
            at_limit=bool(below[0, i]),
            colour_sensitive=scatter.colour_log_sd > 0.0,
            bias_log_sd=scatter.colour_log_sd or None,
        )
        for i, plot in enumerate(plots)
        if kept[i]
    ]
    lost = [LostBrew(arm=trial.arms[plot.arm].key, block=f"{plot.round}") for plot in gone]
    try:
        first = judge(
            trial, results, outcome_key=HIGHER, lost=lost, standing=Standing(allowance=allowance), extent="comparisons"
        ).comparisons[0]
    except AerobeError:
        return False, False
    seen = values[None, kept]
    quick = power_from(trial, left, seen, seen, scatter.colour_log_sd, lost=gone, allowance=allowance).told > 0.5
    return first.call == "better", quick
