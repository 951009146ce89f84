"""How much results differ: between brews, between days, between tests. It decides what a trial can answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aerobe.errors import NotEnoughData, UnusableRecord
from aerobe.records import AssayError
from aerobe.verdicts import BrewResult, lay_out


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Standard deviations on the log scale: 0.1 is about 10 %, 0.7 a factor of two."""

    brew_log_sd: float  # between brews of one recipe on one day [-]
    test_log_sd: float  # between tests of one brew [-]
    day_log_sd: float = 0.0  # between days, shared by the brews of a day [-]
    colour_log_sd: float = 0.0  # colour bias left after controls, shared by the brews of an arm [-]
    origin: str = "assumed"
    df: float = math.inf  # degrees of freedom behind the SD between brews; infinite where it is taken as known [-]

    def __post_init__(self) -> None:
        for name in ("brew_log_sd", "test_log_sd", "day_log_sd", "colour_log_sd"):
            value = getattr(self, name)
            if not (math.isfinite(value) and 0.0 <= value <= 20.0):
                raise UnusableRecord(
                    f"A scatter ({name.replace('_', ' ')}) of {value:g} is no SD of a log.",
                    "Give 0.1 for about 10 %, 0.7 for twofold.",
                )
        if not self.df >= 1.0:  # also true for nan
            raise UnusableRecord("A scatter known from nothing is no scatter.", "Give the brews it was learnt from: two or more.")
        if self.brew_log_sd + self.test_log_sd == 0.0:
            raise UnusableRecord("Brews without any scatter do not exist.", "Give the SD between brews of one recipe.")

    def of_brew_mean(self, tests: int) -> float:
        """SD of the mean of so many tests of one brew, within its day. [-]"""
        return math.sqrt(self.brew_log_sd**2 + self.test_log_sd**2 / tests)


# Aerated and not, four weekly batches (J Bioremed Biodegrad 2012, 3:149, Table 3; plate counts): differences within a week
# have an SD of 0.733 log10, so one brew has 0.733/sqrt(2) = 0.518 log10 (1.19 in natural logs); weekly means have an SD of
# 1.388 log10, less half of the brews' variance 1.34 log10 (3.1); three plates agree within 0.01 to 0.13 log10.
WEEKLY_BATCHES = Scatter(
    brew_log_sd=1.19,
    test_log_sd=0.2,
    day_log_sd=3.1,
    origin="four weekly batches of one recipe, plate counts (J Bioremed Biodegrad 2012, 3:149, Table 3)",
)
# Two bottles of each food from one water (UCSB EEMB 144L 2021, flow cytometry, 16 to 100 h): pairs differ with an SD of 0.22,
# counting error included. The nearest measured thing to careful brews of one compost on one day, and the optimistic end.
SAME_DAY_BOTTLES = Scatter(
    brew_log_sd=0.2, test_log_sd=0.1, day_log_sd=0.5, origin="two bottles of each food from one water (UCSB EEMB 144L 2021)"
)
# What may be thought of a newcomer's brews of one day and heap before any is made: the two published scatters above are the ends
# (ours: no source), their geometric mean the middle, and what five brews would tell puts nine tenths of it between 0.32 and 1.2.
ONE_DAY_AND_HEAP = Scatter(
    brew_log_sd=0.49,
    test_log_sd=0.15,
    day_log_sd=0.5,
    df=4.0,
    origin="between bottles of one water and weekly batches, both published; worth five brews, and replaced by your own",
)
SCATTERS = {"weekly batches": WEEKLY_BATCHES, "same-day bottles": SAME_DAY_BOTTLES, "one day and heap": ONE_DAY_AND_HEAP}


def informed(own: Scatter, prior: Scatter = ONE_DAY_AND_HEAP) -> Scatter:
    """Own brews and the prior together: variances weighted by their degrees of freedom.

    Source
    ------
    box-tiao-1973
    """
    df = own.df + prior.df
    if not math.isfinite(df):
        return own
    pooled = math.sqrt((own.df * own.brew_log_sd**2 + prior.df * prior.brew_log_sd**2) / df)
    return replace(
        own, brew_log_sd=pooled, df=df, origin=f"{own.origin}, with the prior of {prior.brew_log_sd:g} worth {prior.df:g}"
    )


def scatter_of_testing(error: AssayError, *, level: float, colour: float = 0.0, with_control: bool = True) -> float:
    """What one test adds to the log of a result, its killed control included.

    Parameters
    ----------
    error
        Of the assay. [unit of its result]
    level
        Biomass expected. [unit of its result]
    colour
        Signal of the tea without its cells. [unit of its result]
    with_control
        Whether a killed control is subtracted; its own error counts too. [-]

    Returns
    -------
    float
        SD of the log. [-]

    Raises
    ------
    UnusableRecord
        If the level is not above zero.

    Source
    ------
    cochran-1977
    """
    if level <= 0:
        raise UnusableRecord(f"A level of {level:g} has no logarithm.", "Give the biomass you expect at the time compared.")
    variance = error.constant_sd**2 + (error.proportional_cv * (level + colour)) ** 2
    if with_control:
        variance += error.constant_sd**2 + (error.proportional_cv * colour) ** 2
    return math.sqrt(variance) / level


def scatter_from(results: Sequence[BrewResult]) -> Scatter:
    """The scatter of past brews, from their results within arm and block.

    Parameters
    ----------
    results
        Earlier results; at least three more brews than arms and blocks. [outcome's unit]

    Raises
    ------
    NotEnoughData
        If fewer than two degrees of freedom are left for the scatter.

    Source
    ------
    cochran-1977
    """
    keys = sorted({result.arm for result in results})
    if not results:
        raise NotEnoughData("There are no earlier brews to learn the scatter from.", "Choose one of the named scatters.")
    y = np.log([result.value for result in results])
    layout = lay_out([keys.index(result.arm) for result in results], [result.block for result in results])
    if layout.df < 2:
        raise NotEnoughData(
            "The earlier brews leave too little to learn the scatter from.",
            "Repeat brews of one recipe, or choose a named scatter.",
        )
    residual = y - layout.matrix @ np.linalg.lstsq(layout.matrix, y, rcond=None)[0]
    total = float(residual @ residual) / layout.df
    test = float(np.mean([result.test_log_sd**2 for result in results]))
    each = float(np.mean([result.test_log_sd**2 * result.tests for result in results]))
    blocks = sorted({result.block for result in results})
    means = [float(np.mean([value for value, r in zip(y, results, strict=True) if r.block == block])) for block in blocks]
    day = float(np.std(means, ddof=1)) if len(blocks) > 1 else 0.0
    return Scatter(
        brew_log_sd=math.sqrt(max(total - test, 0.05 * total)),
        test_log_sd=math.sqrt(each),
        day_log_sd=day,
        df=float(layout.df),
        origin=f"{len(results)} earlier brews ({layout.df} degrees of freedom)",
    )
