"""From what a study reports to an effect on the log-ratio scale.

A ratio of two recipes measured by one assay in one trial is free of the assay's unknown gain, so ratios of a home
test and of a laboratory can stand in one pool; a difference of their biomass cannot. A colour bias is not a gain
and does not cancel: see the quality flags.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field, replace

from aerobe.errors import UnusableRecord
from aerobe.records import canonical_json
from aerobe.verdicts import INTERVAL_LEVEL


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialContrast:
    """What one trial says of one pair of recipes: ln(recipe / against), with its error and what is known of its making."""

    key: str  # of the trial, as the person who made it calls it
    recipe: str  # what was tried
    against: str  # what it was compared with
    effect: float  # [ln ratio]
    variance: float  # squared standard error [ln ratio squared]
    outcome: str = "biomass"
    site: str = ""  # person or place; never a name unless they chose one
    brews: int = 0  # of the recipe
    brews_against: int = 0
    shared_variance: float = 0.0  # part of the variance that comes from the arm `against` [ln ratio squared]
    planned: bool | None = None  # was this comparison fixed before the first brew?
    blinded: bool | None = None
    randomised: bool | None = None
    killed_control: bool | None = None  # was the colour of each recipe measured without its living cells?
    assay: str = ""
    assay_characterised: bool | None = None
    moderators: dict[str, float] = field(default_factory=dict)  # temperature_degc, dose_g_per_l ...
    data_hash: str = ""  # of the readings it rests on
    invented: bool = False  # made up, for practice; it stays marked wherever it goes
    df: float = 0.0  # degrees of freedom behind the variance; 0: not told [-]
    low: float | None = None  # the interval that the trial itself shows, at the level of a verdict [ln ratio]
    high: float | None = None
    results: tuple[float, ...] = ()  # of the recipe's brews in the order of the trial, where they were sent [ln]
    results_against: tuple[float, ...] = ()
    origin: str = ""  # random mark of the notebook it comes from, where a package told it
    grain: float = 0.0  # step of the numbers that the results were written with [ln]

    def __post_init__(self) -> None:
        if not math.isfinite(self.effect) or not math.isfinite(self.variance) or self.variance <= 0.0:
            raise UnusableRecord(
                f"Trial {self.key} has an effect of {self.effect:g} with variance {self.variance:g}.",
                "An effect is a finite natural log of a ratio, its variance above zero.",
            )
        if self.recipe == self.against:
            raise UnusableRecord(f"Trial {self.key} compares {self.recipe} with itself.", "Name two different recipes.")
        if not 0.0 <= self.shared_variance <= self.variance:
            raise UnusableRecord(f"Trial {self.key} shares more variance than it has.", "Check the errors of its arms.")
        if not (math.isfinite(self.df) and self.df >= 0.0 and min(self.brews, self.brews_against) >= 0):
            raise UnusableRecord(
                f"Trial {self.key} has {self.df:g} degrees of freedom from {self.brews} and {self.brews_against} brews.",
                "Numbers of brews and degrees of freedom are zero (not told) or more.",
            )
        if not all(map(math.isfinite, (*self.moderators.values(), *self.results, *self.results_against))):
            raise UnusableRecord(
                f"Trial {self.key} holds a result or a circumstance that is no number.", "Leave out what is not known."
            )
        if self.low is None and self.high is None:
            return
        if self.low is None or self.high is None or not self.low < self.effect < self.high or math.isinf(self.high - self.low):
            raise UnusableRecord(
                f"Trial {self.key} has an interval of {self.low} to {self.high} around {self.effect:g}.",
                "Give both ends, as natural logs of ratios, one on either side of the effect.",
            )

    def interval(self) -> tuple[float, float]:
        """The trial's interval at the level of a verdict: the one it was judged by where that is told. [ln ratio]"""
        if self.low is not None and self.high is not None:
            return self.low, self.high
        from scipy.special import ndtri, stdtrit

        df, tail = self.error_df(), 0.5 + 0.5 * INTERVAL_LEVEL
        reach = float(stdtrit(df, tail) if df > 0.0 else ndtri(tail)) * math.sqrt(self.variance)
        return self.effect - reach, self.effect + reach

    def error_df(self) -> float:
        """Degrees of freedom behind the variance: as told, else those of its brews; 0 where neither is told. [-]"""
        return self.df if self.df > 0.0 else max(0.0, self.brews + self.brews_against - 2.0)

    def pool_variance(self) -> float:
        """The variance it enters a pool with: that of the normal law whose interval is the one the trial itself shows.

        An error estimated from few brews is an uncertain error, which the trial's own interval allows for and its variance
        does not. [ln ratio squared]
        """
        from scipy.special import ndtri

        low, high = self.interval()
        return ((high - low) / (2.0 * float(ndtri(0.5 + 0.5 * INTERVAL_LEVEL)))) ** 2

    def turned(self) -> TrialContrast:
        """The same evidence seen from the other recipe. The shared part cannot be carried over and is dropped."""
        return replace(
            self,
            recipe=self.against,
            against=self.recipe,
            effect=-self.effect,
            brews=self.brews_against,
            brews_against=self.brews,
            shared_variance=0.0,
            results=self.results_against,
            results_against=self.results,
            low=None if self.high is None else -self.high,
            high=None if self.low is None else -self.low,
        )


def evidence_hash(numbers: object) -> str:
    """A hash of the data a contrast rests on: the same readings under another name have the same hash."""
    return hashlib.sha256(canonical_json(numbers).encode()).hexdigest()


def ratio_of_means(
    mean: float,
    sd: float,
    brews: int,
    mean_against: float,
    sd_against: float,
    brews_against: int,
) -> tuple[float, float]:
    """ln of the ratio of two means and its variance, from printed means and standard deviations between brews.

    Parameters
    ----------
    mean, sd, mean_against, sd_against
        Of brews, not of tests of one brew. Any unit, the same for both.
    brews, brews_against
        Numbers of brews; at least two each, or nothing is known of the spread.

    Returns
    -------
    tuple of float
        Effect [ln ratio] and variance.

    Raises
    ------
    UnusableRecord
        For a mean at or below zero or fewer than two brews.

    Source
    ------
    hedges-gurevitch-curtis-1999
    """
    for value in (mean, mean_against):
        if not value > 0.0:
            raise UnusableRecord(f"A mean of {value:g} has no logarithm.", "Use means above zero, background subtracted.")
    if min(brews, brews_against) < 2:
        raise UnusableRecord(
            "One brew of a recipe says nothing about the spread of that recipe.", "Use trials with two brews or more of each."
        )
    variance = (sd / mean) ** 2 / brews + (sd_against / mean_against) ** 2 / brews_against
    return math.log(mean / mean_against), variance
