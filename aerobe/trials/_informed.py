"""The answer beside the plain one: what a few brews say if what earlier brews tell of the scatter is let in."""

from __future__ import annotations

import math
from dataclasses import replace

from aerobe.trials._scatter import ONE_DAY_AND_HEAP, Scatter
from aerobe.units import ratio_of, ratio_words
from aerobe.verdicts import INTERVAL_LEVEL, Verdict

# Beside a verdict what is published is worth two brews only (ours: no source), not the five it is worth to a plan: the law of one
# degree of freedom has tails so heavy that it gives way where a person's own brews disagree, as t laws do against a wrong prior.
BESIDE = replace(ONE_DAY_AND_HEAP, df=1.0)
FEW = 6.0  # degrees of freedom below which brews hardly tell their own scatter


def informed_interval(
    effect: float, low: float, high: float, *, df: float, brew_sd: float, prior: Scatter = BESIDE
) -> tuple[float, float]:
    """The interval of a comparison with the scatter of its brews and the prior's weighed by their degrees of freedom.

    A scaled inverse chi-squared prior of the variance joined with a normal sample: again a t law, with the degrees of freedom
    added up.

    Parameters
    ----------
    effect, low, high
        As the verdict gives them, at its interval's level. [ln ratio]
    df, brew_sd
        Behind that interval. [-]
    prior
        What is thought of the scatter beforehand. [ln]

    Source
    ------
    box-tiao-1973
    """
    from scipy.special import stdtrit

    tail = 0.5 + INTERVAL_LEVEL / 2
    unit = (high - low) / (2.0 * float(stdtrit(df, tail))) / brew_sd
    pooled = math.sqrt((df * brew_sd**2 + prior.df * prior.of_brew_mean(1) ** 2) / (df + prior.df))
    reach = float(stdtrit(df + prior.df, tail)) * pooled * unit
    return effect - reach, effect + reach


def informed_words(verdict: Verdict, prior: Scatter = BESIDE) -> tuple[str, ...]:
    """A sentence for each comparison of so few brews that their own scatter is hardly known; no claim is made by it."""
    if verdict.outcome.scale != "ratio" or not verdict.brew_sd or not math.isfinite(prior.df):
        return ()
    found = []
    for item in verdict.comparisons:
        df = float(getattr(item, "df", None) or verdict.df)
        if item.effect is None or item.low is None or item.high is None or not 0.0 < df < FEW:
            continue
        if verdict.question == "factors" and item.second:  # a point chosen for looking best has no plain t interval
            continue
        low, high = informed_interval(item.effect, item.low, item.high, df=df, brew_sd=verdict.brew_sd, prior=prior)
        ratio = ratio_words(*map(ratio_of, (item.effect, low, high)))
        found.append(
            f"{item.label}: so few brews hardly tell how they differ. If they differ as published brews of one day and heap "
            f"do (about {prior.brew_log_sd:g} on the log scale, worth {prior.df + 1:g} brews), the ratio would be {ratio}. Shown "
            "beside the answer; nothing is claimed by it."
        )
    return tuple(found)
