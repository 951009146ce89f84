"""How often do the stated intervals of the colour bias hold the truth, over many kinds of test?

Prints the share of simulated studies whose 90 % interval holds the true bias, for tests from precise to poor, and the
same with intervals spoiled on purpose. Run: python benchmarks/how_often_does_the_colour_interval_hold.py [studies]
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from aerobe.assay import colour_fit, fit_variances

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueTest:
    """An invented test, all of whose errors are known."""

    constant_sd: float = 6.0  # [ug C/mL]
    proportional_cv: float = 0.12
    background: float = 5.0  # [ug C/mL]
    tea_slope: float = 45.0  # [ug C/mL per unit of colour]
    tea_colour: float = 0.4
    colourant_slopes: tuple[float, ...] = (60.0, 30.0, 50.0)

    @property
    def tea_bias(self) -> float:
        """What colour and background add to the tea. [ug C/mL]"""
        return self.background + self.tea_slope * self.tea_colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How often stated intervals held the truth."""

    studies: int
    level: float
    of_bias: float
    of_slope: float


def colour_coverage(
    true: TrueTest, *, studies: int, seed: int, level: float = 0.9, spoil: float = 1.0, ignore_covariance: bool = False
) -> Coverage:
    """Simulate whole studies, estimate error model and colour bias in each by the functions that people run, count the hits.

    A study has six water blanks, eight controls of the tea, ten readings of each colourant at five colours, and six teas
    read four times each for the error model. `spoil` shrinks the intervals and `ignore_covariance` forgets that
    background and slope are estimated together: the count must notice both.
    """
    rng = np.random.default_rng(seed)
    names = 1 + len(true.colourant_slopes)
    rows: list[tuple[int, float]] = [(0, 0.0)] * 6 + [(1, true.tea_colour)] * 8
    rows += [(place, colour) for place in range(2, names + 1) for colour in (0.1, 0.2, 0.4, 0.6, 0.8) for _ in range(2)]
    design = np.zeros((len(rows), 1 + names))
    design[:, 0] = 1.0
    for row, (place, colour) in enumerate(rows):
        if place:
            design[row, place] = colour
    net = design[:, 1:] @ np.array([true.tea_slope, *true.colourant_slopes])
    signal = (
        true.background + net + rng.standard_normal((studies, len(rows))) * np.hypot(true.constant_sd, true.proportional_cv * net)
    )
    a, b = _error_model(true, signal[:, :6], studies, rng)
    beta, covariance, _ = colour_fit(design, signal, a, b)
    if ignore_covariance:
        covariance = covariance * np.eye(covariance.shape[-1])
    t = float(stdtrit(design.shape[0] - design.shape[1], 0.5 + level / 2)) * spoil
    hits = []
    for row, truth in (
        (np.r_[1.0, true.tea_colour, np.zeros(names - 1)], true.tea_bias),
        (np.r_[0.0, 1.0, np.zeros(names - 1)], true.tea_slope),
    ):
        sd = np.sqrt(np.einsum("i,sij,j->s", row, covariance, row))
        hits.append(float(np.mean(abs(beta @ row - truth) <= t * sd)))
    return Coverage(studies=studies, level=level, of_bias=hits[0], of_slope=hits[1])


def _error_model(true: TrueTest, blanks: Array, studies: int, rng: np.random.Generator) -> tuple[Array, Array]:
    levels = np.array([0.0, 20.0, 60.0, 120.0, 250.0, 400.0])
    sds = np.hypot(true.constant_sd, true.proportional_cv * levels)
    teas = true.background + levels[:, None] + rng.standard_normal((studies, levels.size, 4)) * sds[:, None]
    zero = blanks.mean(axis=1, keepdims=True)
    means = np.concatenate([teas.mean(axis=2) - zero, np.zeros((studies, 1))], axis=1)
    variances = np.concatenate([teas.var(axis=2, ddof=1), blanks.var(axis=1, ddof=1)[:, None]], axis=1)
    df = np.broadcast_to(np.r_[np.full(levels.size, 3.0), blanks.shape[1] - 1.0], means.shape)
    constant, squared_cv, _ = fit_variances(means, variances, df)
    return constant, squared_cv


def main() -> None:
    """Print the table."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    began = time.perf_counter()
    print(f"{studies} studies each\nconstant  cv    slope  bias held  slope held")
    for constant, cv, slope in product((1.0, 6.0, 15.0), (0.0, 0.12, 0.3), (0.0, 45.0, 150.0)):
        found = colour_coverage(TrueTest(constant_sd=constant, proportional_cv=cv, tea_slope=slope), studies=studies, seed=1)
        print(f"{constant:8g}  {cv:4g}  {slope:5g}  {100 * found.of_bias:8.1f} %  {100 * found.of_slope:8.1f} %")
    for words, options in (("intervals x 0.8", {"spoil": 0.8}), ("covariance forgotten", {"ignore_covariance": True})):
        found = colour_coverage(TrueTest(), studies=studies, seed=1, **options)  # type: ignore[arg-type]
        print(f"spoiled, {words}: {100 * found.of_bias:.1f} %, {100 * found.of_slope:.1f} %")
    print(f"{time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
