"""Plate counts against printed examples."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from pytest import approx

from aerobe.assay import Plate, PlateCount, crowded_plates, poisson_limits, weighted_mean
from aerobe.errors import NotEnoughData, UnusableReading
from tests.conftest import truth


def plates(text: str) -> list[Plate]:
    found = []
    for part in text.split():
        volume, count = part.split(":")
        found.append(Plate(sample_ml=float(volume), colonies=int(count.lstrip(">")), too_many=count.startswith(">")))
    return found


def counted(row: SimpleNamespace) -> PlateCount:
    if row.rule == "crowded":
        return crowded_plates(plates(row.plates))
    lowest, highest = (int(part) for part in row.rule.split()[0].split("-"))
    return weighted_mean(plates(row.plates), lowest=lowest, highest=highest)


@pytest.mark.parametrize("row", truth("plate_counts.csv"), ids=lambda row: str(row.id))
def test_printed_plate_counts(row: SimpleNamespace) -> None:
    found = counted(row)
    assert (found.reported if "rounded" in row.rule else found.value) == approx(row.printed, abs=row.tolerance + 1e-9)
    assert found.low < found.value < found.high


def test_limits_of_the_weighted_mean_follow_the_standard() -> None:
    # ISO 7218 (from memory): (C + 1.92 +- 1.96 sqrt(C + 0.96)) / volume, for 422 colonies on 0.022 mL.
    found = weighted_mean(plates("0.01:168 0.01:215 0.001:14 0.001:25"))
    assert found.low == approx((422 + 1.92 - 1.96 * (422 + 0.96) ** 0.5) / 0.022, rel=1e-4)
    assert found.high == approx((422 + 1.92 + 1.96 * (422 + 0.96) ** 0.5) / 0.022, rel=1e-4)


@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.6889), (1, 0.0253, 5.5716), (10, 4.7954, 18.3904), (100, 81.3640, 121.6268)]
)
def test_exact_limits_of_a_count(count: int, low: float, high: float) -> None:
    # Garwood's limits via the chi-square quantiles of scipy, and the usual printed table (0: 3.689; 10: 4.795 to 18.390).
    from scipy.stats import chi2

    assert poisson_limits(count) == approx((low, high), abs=5e-5)
    assert poisson_limits(count)[1] == approx(chi2.ppf(0.975, 2 * count + 2) / 2)


def test_no_colony_gives_a_limit_and_not_zero() -> None:
    found = weighted_mean(plates("1:0 1:0"))
    assert found.high == approx(3.6889 / 2, rel=1e-4) and "not zero" in found.says


def test_few_colonies_are_called_an_estimate() -> None:
    assert "estimate" in weighted_mean(plates("1:3 1:5")).says


def test_crowded_plates_raise_the_estimate_when_they_were_thrown_away_before() -> None:
    assert crowded_plates(plates("1:10 1:12 10:>200")).value > crowded_plates(plates("1:10 1:12")).value
    assert crowded_plates(plates("1:10 1:12")).value == approx(11.0)


@pytest.mark.parametrize("text", ["0:5", "-1:5", "1:-2"])
def test_impossible_plates_are_refused(text: str) -> None:
    with pytest.raises(UnusableReading):
        plates(text)


def test_only_crowded_plates_is_not_enough() -> None:
    with pytest.raises(NotEnoughData):
        weighted_mean(plates("1:>300"))
    with pytest.raises(NotEnoughData):
        crowded_plates(plates("1:>300"))
