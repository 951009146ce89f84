"""How many tests on this sample, for a wanted precision, and what they cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.assay._arrays import normal_quantile
from aerobe.errors import OutsideValidity, UnusableReading
from aerobe.records import AssayError
from aerobe.units import number


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlan:
    """The cheapest number of samples and tests, and what is left that no repeat removes."""

    __test__ = False  # not a test class, whatever its name says to a test runner

    samples: int
    tests_per_sample: int
    cost: float  # [money]
    half_width: float  # of the interval of the mean [unit of the result]
    wanted_half_width: float
    reachable: bool
    floor: float  # half-width with endless tests [unit of the result]
    level: float
    says: str

    @property
    def tests(self) -> int:
        """Tests in all."""
        return self.samples * self.tests_per_sample


LEVEL = 0.9  # of the interval that a plan promises


def plan_tests(
    error: AssayError,
    *,
    expected: float,
    wanted_percent: float,
    test_price: float,
    sample_price: float = 0.0,
    sample_cv: float = 0.0,
    same_kit: bool = True,
    most_tests: int = 500,
) -> TestPlan:
    """The cheapest plan whose interval for the mean is within a wanted percentage of the expected result.

    Parameters
    ----------
    expected
        Biomass expected in the sample. [unit of the result]
    wanted_percent
        Wanted half-width of the interval. [% of the expected result]
    test_price, sample_price
        Of one test, and of taking one more sample. [money]
    sample_cv
        Scatter between samples of the same brew. [-]
    same_kit
        True to compare results of one kit and recipe (scale and bias are shared and drop out); False for the true
        value, where bias and scale remain however often the test is repeated.

    Raises
    ------
    OutsideValidity
        If the expected result is not above zero.
    UnusableReading
        If the wanted precision or a price is impossible.

    Notes
    -----
    Scatter known from the characterisation, so the normal quantile is used. With k samples of m tests the variance of
    the mean is sample^2 / k + test^2 / (k m).

    Source
    ------
    cochran-1977
    """
    if expected <= 0:
        raise OutsideValidity(
            "An expected result of zero cannot be known to a percentage.",
            "Give the result you expect, or plan for the detection limit.",
        )
    if wanted_percent <= 0 or test_price < 0 or sample_price < 0 or sample_cv < 0:
        raise UnusableReading(
            "A wanted precision or a price is not possible.", "Give a percentage above zero and prices of zero or more."
        )
    z = normal_quantile(LEVEL)
    wanted = wanted_percent / 100 * expected
    test_variance = error.constant_sd**2 + (error.proportional_cv * expected) ** 2
    sample_variance = (sample_cv * expected) ** 2
    shared = 0.0 if same_kit else error.bias_sd**2 + expected**2 * math.expm1(error.gain_log_sd**2)
    floor = z * math.sqrt(shared)

    def half(samples: int, tests: int) -> float:
        return z * math.sqrt(shared + sample_variance / samples + test_variance / (samples * tests))

    best: tuple[float, int, int] | None = None
    if floor < wanted:
        for samples in range(1, most_tests + 1):
            room = (wanted / z) ** 2 - shared - sample_variance / samples
            if room <= 0:
                continue
            tests = max(1, math.ceil(test_variance / (samples * room) - 1e-9))
            if samples * tests > most_tests:
                continue
            cost = samples * (sample_price + tests * test_price)
            # At equal cost prefer more samples: they also average what differs between samples.
            if best is None or cost < best[0] - 1e-12:
                best = (cost, samples, tests)
            if tests == 1:
                break
    if best is None:
        samples, tests = _best_within(most_tests, sample_variance, test_variance)
        says = (
            f"Not reachable: with endless tests +-{number(100 * floor / expected, 2)} % remains from bias and scale. "
            "Characterise the colour and the scale of the kit better, or compare samples of one kit only."
            if floor >= wanted
            else f"Not reachable with {most_tests} tests."
        )
        return TestPlan(
            samples=samples,
            tests_per_sample=tests,
            cost=samples * (sample_price + tests * test_price),
            half_width=half(samples, tests),
            wanted_half_width=wanted,
            reachable=False,
            floor=floor,
            level=LEVEL,
            says=says,
        )
    cost, samples, tests = best
    got = half(samples, tests)
    says = (
        f"{samples} sample{'s' if samples > 1 else ''} with {tests} test{'s' if tests > 1 else ''} each "
        f"give{'' if samples > 1 else 's'} "
        f"+-{number(100 * got / expected, 2)} % at {number(expected)} ({100 * LEVEL:.0f} % interval), for {number(cost)} in all."
    )
    return TestPlan(
        samples=samples,
        tests_per_sample=tests,
        cost=cost,
        half_width=got,
        wanted_half_width=wanted,
        reachable=True,
        floor=floor,
        level=LEVEL,
        says=says,
    )


def _best_within(most: int, sample_variance: float, test_variance: float) -> tuple[int, int]:
    return (most, 1) if sample_variance > 0 or test_variance > 0 else (1, 1)
