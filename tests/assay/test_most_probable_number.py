"""Most probable numbers against printed tables."""

from __future__ import annotations

import math
from itertools import product
from types import SimpleNamespace

import pytest
from pytest import approx

from aerobe.assay import most_probable_number
from aerobe.errors import UnusableReading
from tests.conftest import truth

THREE = {"amounts": (0.1, 0.01, 0.001), "tubes": (3, 3, 3)}


def numbers(cell: object) -> list[float]:
    return [float(part) for part in str(cell).replace("-", " ").split()]


def whole(cell: object) -> list[int]:
    return [int(part) for part in numbers(cell)]


def two_figures(value: float) -> float:
    return float(f"{value:.1e}")


@pytest.mark.parametrize("row", truth("mpn_three_tubes.csv"), ids=lambda row: str(row.positives))
def test_three_tube_table_of_the_food_manual(row: SimpleNamespace) -> None:
    assert two_figures(most_probable_number(positives=whole(row.positives), **THREE).value) == approx(row.printed, rel=1e-9)


def test_all_38_rows_of_that_table_are_there() -> None:
    assert len({row.positives for row in truth("mpn_three_tubes.csv")}) == 38


@pytest.mark.parametrize("row", truth("mpn_designs.csv"), ids=lambda row: str(row.id))
def test_other_designs(row: SimpleNamespace) -> None:
    found = most_probable_number(numbers(row.amounts), whole(row.tubes), whole(row.positives))
    assert found.value == approx(row.printed, abs=row.tolerance * 1.0001)


@pytest.mark.parametrize("row", truth("mpn_likelihood_ratio.csv"), ids=lambda row: str(row.positives))
def test_likelihood_ratio_limits(row: SimpleNamespace) -> None:
    # The print carries errors of its own in the last digit: 0-1-0 is 3.049 and printed 3.1, 3-3-0 ends at 975.28, printed 975.0.
    found = most_probable_number(positives=whole(row.positives), limits="likelihood ratio", **THREE)
    for got, printed in ((found.value, row.printed), (found.low, row.low), (found.high, row.high)):
        assert got == printed if math.isinf(printed) else got == approx(printed, rel=1.2e-3, abs=0.06)


@pytest.mark.parametrize("row", truth("mpn_rarity.csv"), ids=lambda row: str(row.id))
def test_rarity(row: SimpleNamespace) -> None:
    found = most_probable_number(numbers(row.amounts), whole(row.tubes), whole(row.positives))
    assert found.rarity == approx(row.printed, rel=0.01)


# FDA BAM appendix 2 spreadsheet, scanned: inocula 0.1, 0.01, 0.001, ten tubes each, 5-3-0 positive.
def test_spreadsheet_example_of_the_food_manual() -> None:
    found = most_probable_number((0.1, 0.01, 0.001), (10, 10, 10), (5, 3, 0))
    assert found.value == approx(9.951, abs=5e-4)
    assert found.thomas == approx(9.97, abs=5e-3)
    assert math.log10(found.value) == approx(0.998, abs=5e-4)
    assert found.log10_sd == approx(0.1575, abs=5e-5)  # observed information; the expected one gives 0.1659
    assert found.likelihood == approx(0.0079637, abs=5e-8)
    assert found.rarity == approx(9.25e-2, abs=5e-5)
    # The sheet multiplies rounded numbers: 4.891 to 20.263.
    assert found.low == approx(4.891, abs=0.005) and found.high == approx(20.263, abs=0.02)
    assert most_probable_number((0.1, 0.01, 0.001), (10, 10, 10), (5, 3, 0), limits="log expected").log10_sd == approx(
        0.1659, abs=5e-5
    )


# Jarvis, Wilrich and Wilrich 2010 print limits of 2 standard deviations of the log; all-negative and all-positive
# sets have exact one-sided limits at 97.5 %.
@pytest.mark.parametrize(
    ("amounts", "tubes", "positives", "low", "high"),
    [
        ((1, 0.1, 0.01), (3, 3, 3), (2, 2, 0), 0.71, 6.2),
        ((1, 0.1, 0.01), (3, 3, 3), (3, 1, 1), 1.9, 30),
        ((2, 0.2, 0.02), (50, 49, 49), (50, 34, 7), 4.5, 8.6),
    ],
)
def test_limits_of_two_standard_deviations(amounts: tuple, tubes: tuple, positives: tuple, low: float, high: float) -> None:
    found = most_probable_number(amounts, tubes, positives, level=0.9544997361036416)
    assert (two_figures(found.low), two_figures(found.high)) == (low, high)


def test_all_negative_and_all_positive_have_exact_one_sided_limits() -> None:
    none = most_probable_number((1, 0.1, 0.01), (3, 3, 3), (0, 0, 0), level=0.975)
    everything = most_probable_number((1, 0.1, 0.01), (3, 3, 3), (3, 3, 3), level=0.975)
    assert (none.value, none.low, two_figures(none.high)) == (0.0, 0.0, 1.1)  # Jarvis et al. 2010
    assert (everything.high, two_figures(everything.low)) == (math.inf, 36.0)  # Jarvis et al. 2010
    assert "not zero" in none.says and "dilute" in everything.says


def test_bias_is_taken_off() -> None:
    # Haas et al. 2014, example 6.4: 0.792 becomes 0.67.
    assert most_probable_number((10, 1, 0.1), (5, 5, 5), (5, 3, 0)).bias_adjusted == approx(0.67, abs=0.005)


def test_exact_coverage_of_the_limits_for_every_outcome_of_a_design() -> None:
    """No simulation: all 216 outcomes of five tubes at three amounts, weighted by their probability at five true values."""
    from scipy.stats import binom

    v, n = (1.0, 0.1, 0.01), (5, 5, 5)
    outcomes = list(product(range(6), repeat=3))
    found = {x: most_probable_number(v, n, x, limits="likelihood ratio") for x in outcomes}

    def coverage(rate: float, shrink: float) -> float:
        total = 0.0
        for x, item in found.items():
            p = math.prod(binom.pmf(k, 5, -math.expm1(-rate * amount)) for k, amount in zip(x, v, strict=True))
            low = item.value * (item.low / item.value) ** shrink if 0 < item.value < math.inf else item.low
            high = item.value * (item.high / item.value) ** shrink if 0 < item.value < math.inf else item.high
            total += p * (low <= rate <= high)
        return total

    rates = (0.8, 2.0, 5.0, 12.0, 30.0)
    assert all(0.92 <= coverage(rate, 1.0) <= 0.995 for rate in rates)
    assert any(coverage(rate, 0.5) < 0.92 for rate in rates)  # halved intervals are noticed


def test_unlikely_patterns_are_named() -> None:
    assert "very unlikely" in most_probable_number((1, 0.1, 0.01), (5, 5, 5), (0, 4, 1)).says
    assert "unlikely" not in most_probable_number((1, 0.1, 0.01), (5, 5, 5), (4, 1, 0)).says


@pytest.mark.parametrize(
    ("amounts", "tubes", "positives"),
    [((1, 0.1), (3, 3), (4, 0)), ((1, -0.1), (3, 3), (1, 0)), ((1, 0.1), (3, 3), (1.5, 0)), ((1,), (3, 3), (1, 0)), ((), (), ())],
)
def test_impossible_tubes_are_refused_with_a_remedy(amounts: tuple, tubes: tuple, positives: tuple) -> None:
    with pytest.raises(UnusableReading) as caught:
        most_probable_number(amounts, tubes, positives)
    assert caught.value.remedy
