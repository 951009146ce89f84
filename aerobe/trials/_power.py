"""Power: how often the very verdict that will be used would be right, by simulating the trial."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aerobe.records import Trial
from aerobe.trials._circumstances import CLEAR, PATTERNS, Circumstances, brew_sds, patterns_of_loss, tested
from aerobe.trials._layouts import Plot, randomised
from aerobe.trials._scatter import Scatter
from aerobe.verdicts import (
    FULL,
    Allowance,
    Calls,
    Layout,
    allowance_now,
    call_contrasts,
    filled_in,
    fit_effects,
    is_estimable,
    lay_out,
    lay_out_in_vessels,
    planned_contrasts,
    share_luck,
    together_on_days,
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """What a design can answer, counted over simulated trials."""

    told: float  # a difference of the margin in one comparison would be told, were the scatter what it is taken for [-]
    assurance: float  # the same averaged over what the scatter may be, as far as it is known [-]
    same_told: float  # arms that do not differ would be called the same within the margin [-]
    false_claims: float  # arms that do not differ would be told apart, any comparison [-]
    detectable_ratio: float  # difference told four times in five [-]
    simulations: int
    standard_error: float  # of `told`, from the number of simulations [-]


def power_of(
    trial: Trial,
    plots: Sequence[Plot],
    scatter: Scatter,
    tests_per_brew: int,
    *,
    given: Circumstances = CLEAR,
    seed: int = 1,
    simulations: int = 4000,
    patterns: int = PATTERNS,
) -> Power:
    """Power of a design under log-normal scatter, by the very verdict, through sample and control.

    The first planned comparison is given a true difference of the margin, the others none.

    Parameters
    ----------
    trial
        Question, arms and margin. [-]
    plots
        Brews in their rounds. [-]
    scatter
        Standard deviations on the log scale, and how well that between brews is known. [-]
    tests_per_brew
        Tests averaged for each brew. [-]
    given
        Colour of the tea, controls, and brews that will be lost. [-]
    seed
        Of the simulation. [-]
    simulations
        Trials simulated. [-]
    patterns
        Ways in which brews are lost, if any are; the power differs much between them. [-]

    Returns
    -------
    Power
        Shares of simulated trials. [-]

    Source
    ------
    cohen-1988, ohagan-stevens-campbell-2005
    """
    rng = np.random.default_rng([seed, len(plots), tests_per_brew])
    # Vessels are drawn as on a run sheet, by numbers of their own.
    plots = randomised(plots, len(trial.arms), np.random.default_rng(seed))
    known = replace(scatter, df=math.inf)
    parts = [
        _one_way(trial, plots, known, tests_per_brew, given, kept, rng, max(40, simulations // count))
        for count, kept in _ways(plots, given, rng, patterns)
    ]
    power = _averaged(parts)
    if not math.isfinite(scatter.df):
        return power
    wide = [
        _one_way(trial, plots, scatter, tests_per_brew, given, kept, rng, max(40, simulations // count), only_real=True)
        for count, kept in _ways(plots, given, rng, patterns)
    ]
    return replace(power, assurance=_averaged(wide).told)


def _ways(
    plots: Sequence[Plot], given: Circumstances, rng: np.random.Generator, patterns: int
) -> list[tuple[int, NDArray[np.bool_]]]:
    ways = patterns_of_loss(plots, given, rng, patterns)
    return [(len(ways), kept) for kept in ways]


def _one_way(
    trial: Trial,
    plots: Sequence[Plot],
    scatter: Scatter,
    tests: int,
    given: Circumstances,
    kept: NDArray[np.bool_],
    rng: np.random.Generator,
    simulations: int,
    *,
    only_real: bool = False,
) -> Power:
    """Trials that lose the same brews."""
    arms = np.array([plot.arm for plot in plots])
    rounds = np.array([plot.round for plot in plots])
    day = rng.normal(0.0, scatter.day_log_sd, (simulations, 1 + rounds.max()))[:, rounds]
    bias = rng.normal(0.0, scatter.colour_log_sd, (simulations, len(trial.arms)))[:, arms]
    brew = rng.normal(0.0, 1.0, (simulations, len(plots))) * brew_sds(scatter, simulations, rng)[:, None]
    left = [plot for plot, here in zip(plots, kept, strict=True) if here]
    gone = [plot for plot, here in zip(plots, kept, strict=True) if not here]
    if {plot.arm for plot in left} != set(range(len(trial.arms))):
        return _nothing(simulations)
    margin = math.log(trial.margin_ratio)
    # The colour of a tea is that of its compost: a good day grows more microbes and no more colour.
    grown = brew + day
    real = (tested(grown + margin * shift_of(trial)[arms], scatter, tests, given, rng)[0] + bias)[:, kept]
    null = real if only_real else (tested(grown, scatter, tests, given, rng)[0] + bias)[:, kept]
    return power_from(trial, left, null, real, scatter.colour_log_sd, lost=gone, allowance=allowance_at_end(len(plots), given))


def allowance_at_end(brews: int, given: Circumstances) -> Allowance:
    """What the last of several even looks at so many brews may spend; lost brews count as seen, as they come no more."""
    looks = sorted({max(1, round(brews * (i + 1) / given.looks)) for i in range(given.looks)})
    return allowance_now(looks, brews)


def _nothing(simulations: int) -> Power:
    return Power(
        told=0.0,
        assurance=0.0,
        same_told=0.0,
        false_claims=0.0,
        detectable_ratio=math.inf,
        simulations=simulations,
        standard_error=0.0,
    )


def _averaged(parts: Sequence[Power]) -> Power:
    """Over equally likely ways of losing brews."""
    if len(parts) == 1:
        return parts[0]
    told = float(np.mean([part.told for part in parts]))
    count = sum(part.simulations for part in parts)
    return Power(
        told=told,
        assurance=told,
        same_told=float(np.mean([part.same_told for part in parts])),
        false_claims=float(np.mean([part.false_claims for part in parts])),
        detectable_ratio=float(np.median([part.detectable_ratio for part in parts])),
        simulations=count,
        # Ways of losing brews differ, so the error is that of their mean.
        standard_error=max(float(np.std([part.told for part in parts], ddof=1)) / math.sqrt(len(parts)), 1e-6),
    )


def power_from(
    trial: Trial,
    plots: Sequence[Plot],
    null: Array,
    real: Array,
    colour_log_sd: float = 0.0,
    *,
    lost: Sequence[Plot] = (),
    allowance: Allowance = FULL,
) -> Power:
    """Power from simulated log outcomes, shape (trials, brews), of trials whose arms do not differ and whose first two do.

    The bias that colour leaves is known to the verdict by its size, as `colour_log_sd` of each arm. What is told must stand with
    the lost brews at either end of what their arm showed.
    """
    rows = np.array([contrast.weights for contrast in planned_contrasts(trial)])
    layout = layout_of(trial, plots)
    if layout.df < 1 or not is_estimable(layout, rows).all():
        return _nothing(len(null))
    margin = math.log(trial.margin_ratio)
    bias = (rows**2).sum(axis=1) * colour_log_sd**2
    same = calls_of(trial, plots, null, rows, bias, allowance)
    found = same if real is null else calls_of(trial, plots, real, rows, bias, allowance)
    told = float((found.above[:, 0] & _stands_with_lost(real, plots, lost, rows, bias, margin, allowance)).mean())
    # The difference from which on each simulated verdict tells: its claim interval just leaves zero behind.
    needed = -same.claim_low[:, 0]
    return Power(
        told=told,
        assurance=told,
        same_told=float((same.same & ~same.above & ~same.below).all(axis=1).mean()),
        false_claims=float((same.above | same.below).any(axis=1).mean()),
        detectable_ratio=_exp(float(np.quantile(needed, 0.8))),
        simulations=len(null),
        standard_error=math.sqrt(max(told * (1 - told), 1e-12) / len(null)),
    )


def calls_of(
    trial: Trial, plots: Sequence[Plot], values: Array, rows: Array, bias: Array | None = None, allowance: Allowance = FULL
) -> Calls:
    """The calls of simulated trials, those by days where brews of an arm may share a day's luck."""
    arms, days = _arms_and_days(plots)
    margin = math.log(trial.margin_ratio)
    calls = call_contrasts(fit_effects(values, layout_of(trial, plots), rows, bias_variance=bias), margin, allowance=allowance)
    return _by_days(calls, share_luck(values, arms, days), values, (arms, days), rows, bias, margin, allowance)


def _arms_and_days(plots: Sequence[Plot]) -> tuple[list[int], list[str]]:
    return [plot.arm for plot in plots], [str(plot.round) for plot in plots]


def _by_days(
    calls: Calls,
    merged: NDArray[np.bool_],
    values: Array,
    brews: tuple[Sequence[int], Sequence[str]],
    rows: Array,
    bias: Array | None,
    margin: float,
    allowance: Allowance,
) -> Calls:
    """The same, but for the trials judged by days: each arm and day of the brews (their arms, their days) counts once."""
    if not merged.any():
        return calls
    arms, days = brews
    groups = together_on_days(arms, days)
    layout = lay_out([arms[places[0]] for places in groups], [days[places[0]] for places in groups])
    if layout.df < 1 or not is_estimable(layout, rows).all():
        kept = ~merged[:, None]
        return replace(calls, above=calls.above & kept, below=calls.below & kept, same=calls.same & kept)
    means = np.column_stack([values[merged][:, places].mean(axis=1) for places in groups])
    by_days = call_contrasts(fit_effects(means, layout, rows, bias_variance=bias), margin, allowance=allowance)
    return calls.with_others(merged, by_days)


def _stands_with_lost(
    real: Array, plots: Sequence[Plot], lost: Sequence[Plot], rows: Array, bias: Array, margin: float, allowance: Allowance
) -> NDArray[np.bool_]:
    """Whether the first comparison is told with the lost brews put where they speak against it, shape (trials,)."""
    concerned = [(plot.arm, str(plot.round)) for plot in lost if abs(rows[0][plot.arm]) > 1e-12]
    told = np.ones(len(real), dtype=bool)
    if not concerned:
        return told
    arms, days = _arms_and_days(plots)
    merged = share_luck(real, arms, days)
    for towards in (1.0, -1.0):
        all_arms, all_days, filled = filled_in(arms, days, real, concerned, rows[0], towards=towards)
        effects = fit_effects(filled, lay_out(all_arms, all_days), rows, bias_variance=bias)
        calls = call_contrasts(effects, margin, allowance=allowance)
        told &= _by_days(calls, merged, filled, (all_arms, all_days), rows, bias, margin, allowance).above[:, 0]
    return told


def layout_of(trial: Trial, plots: Sequence[Plot]) -> Layout:
    """Arms, rounds and vessels as the verdict sees them."""
    arms, blocks = [plot.arm for plot in plots], [str(plot.round) for plot in plots]
    if trial.question == "vessels":
        return lay_out(arms, blocks)
    rows = np.array([contrast.weights for contrast in planned_contrasts(trial)])
    return lay_out_in_vessels(arms, blocks, [str(plot.place) for plot in plots], rows)


def shift_of(trial: Trial) -> Array:
    """What one log unit in the first comparison adds to each arm, leaving the other comparisons alone, shape (arms,). [-]"""
    first = planned_contrasts(trial)[0]
    weights = np.array(first.weights)
    return np.clip(weights, 0.0, None) if first.second else weights / (weights @ weights)


def _exp(value: float) -> float:
    return math.exp(value) if value < 700 else math.inf
