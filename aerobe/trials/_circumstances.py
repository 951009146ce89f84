"""What takes power away between the plan and the result: dark tea, lost brews, and a scatter that is known from few brews."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aerobe.errors import UnusableRecord
from aerobe.trials._layouts import Plot
from aerobe.trials._scatter import Scatter

Array = NDArray[np.float64]
DARKEST = 50.0  # colour as a multiple of the biomass beyond which no test sees anything [-]
MOST_LOST = 0.8
MOST_LOOKS = 50
PATTERNS, MANY_PATTERNS = 10, 80  # ways in which brews are lost, each simulated together: to search, and to promise


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """How the trial will really run."""

    colour: float = 0.0  # signal of the tea without its cells, as a multiple of that of the biomass [-]
    control_tests: int = 1  # tests of the killed control of each brew, subtracted; 0: none is run
    lost: float = 0.0  # share of brews that will give no result [-]
    looks: int = 1  # times that the results are judged on the way, evenly, the end included

    def __post_init__(self) -> None:
        if not 0.0 <= self.colour <= DARKEST:  # also false for nan
            raise UnusableRecord(
                f"A colour of {self.colour:g} times the biomass cannot be planned for.", f"Give 0 to {DARKEST:g}: 1 is as much."
            )
        if not 0.0 <= self.lost <= MOST_LOST:
            raise UnusableRecord(
                f"A share of {self.lost:g} lost brews is no plan.", f"Give 0 to {MOST_LOST:g}: 0.1 is one in ten."
            )
        if not 1 <= self.looks <= MOST_LOOKS:
            raise UnusableRecord(
                f"{self.looks} looks at one trial are no plan.", f"Give 1 to {MOST_LOOKS}; 1 is at the end only."
            )
        if self.control_tests < 0:
            raise UnusableRecord("Controls cannot be fewer than none.", "Give 0, 1 or 2 tests of each killed control.")


CLEAR = Circumstances()
MOST_LOG = 300.0  # a scatter that two brews taught can be drawn beyond any number


def tested(
    levels: Array, scatter: Scatter, tests: int, given: Circumstances, rng: np.random.Generator
) -> tuple[Array, NDArray[np.bool_]]:
    """Log results of brews of given log biomass through sample and control, relative to one, and which lie below the test. [-]

    The test errs in proportion to what it reads, colour included, in the sample and in the control that is subtracted. A
    result that is not above its control is put at its own error and marked, as `brew_results` does.
    """
    cv = scatter.test_log_sd
    if given.colour == 0.0:
        return np.asarray(levels + rng.normal(0.0, cv / math.sqrt(tests), levels.shape)), np.zeros(levels.shape, dtype=bool)
    truth = np.exp(np.minimum(levels, MOST_LOG))
    sample_sd = cv * (truth + given.colour) / math.sqrt(tests)
    control_sd = cv * given.colour / math.sqrt(given.control_tests) if given.control_tests else 0.0
    off = given.colour if given.control_tests else 0.0
    net = truth + given.colour - off + rng.normal(0.0, 1.0, levels.shape) * sample_sd
    net = net - rng.normal(0.0, 1.0, levels.shape) * control_sd
    below = net <= 0.0
    return np.asarray(np.log(np.where(below, np.hypot(sample_sd, control_sd), net))), below


def brew_sds(scatter: Scatter, simulations: int, rng: np.random.Generator) -> Array:
    """The scatter between brews in each simulated trial, as far as it is known, shape (simulations,). [-]

    An estimate from df degrees of freedom leaves the true variance at df / chi-squared times it (flat prior on its log).

    Source
    ------
    box-tiao-1973
    """
    if not math.isfinite(scatter.df):
        return np.full(simulations, scatter.brew_log_sd)
    drawn = rng.chisquare(scatter.df, simulations)
    return np.asarray(scatter.brew_log_sd * np.sqrt(scatter.df / np.maximum(drawn, 1e-9)))


def patterns_of_loss(
    plots: Sequence[Plot], given: Circumstances, rng: np.random.Generator, patterns: int = PATTERNS
) -> list[NDArray[np.bool_]]:
    """Which brews give a result, for several ways in which some are lost; one way where none is.

    How many are lost decides most of what is left to tell, so that their numbers are spread evenly over what chance gives them
    (stratified sampling): few ways then stand for all.

    Source
    ------
    cochran-1977
    """
    if given.lost == 0.0:
        return [np.ones(len(plots), dtype=bool)]
    chances = special.bdtr(np.arange(len(plots)), len(plots), given.lost)
    numbers = np.searchsorted(chances, rng.permutation((np.arange(patterns) + rng.random(patterns)) / patterns))
    return [rng.permutation(len(plots)) >= number for number in numbers]
