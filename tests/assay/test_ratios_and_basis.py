"""Ratios with their intervals and kinds, and results on another basis."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import (
    FungalRatio,
    Material,
    Uncertain,
    convert_basis,
    fieller,
    log_ratio,
)
from aerobe.errors import UnusableReading


def test_fieller() -> None:
    # Closed form, 10 (2) over 5 (0.8); and the check by definition: the limits are where (10 - r 5)^2 = z^2 (4 + 0.64 r^2).
    found = fieller(10, 5, 2, 0.8)
    assert (found.low, found.high) == approx((1.13854136, 3.29772726), abs=5e-8)
    for r in (found.low, found.high):
        assert (10 - 5 * r) ** 2 == approx(1.959963984540054**2 * (4 + 0.64 * r * r), rel=1e-9)


def test_a_divisor_near_zero_has_no_bounds() -> None:
    found = fieller(10, 1, 2, 0.8)
    assert not found.bounded and found.high == math.inf and "no bounds" in found.says


def test_fieller_misses_evenly_where_the_linear_law_misses_on_one_side() -> None:
    rng = np.random.default_rng(4)
    top, bottom = rng.normal(10, 1.0, 4000), rng.normal(4, 1.2, 4000)
    found = [fieller(a, b, 1.0, 1.2, level=0.9) for a, b in zip(top, bottom, strict=True)]
    # An unbounded answer holds the truth, so the share is a little above what was asked for.
    assert 0.89 <= np.mean([item.low <= 2.5 <= item.high for item in found]) <= 0.95
    ratio = top / bottom
    half = 1.6448536 * np.hypot(1.0 / bottom, ratio * 1.2 / bottom)
    assert np.mean(ratio + half < 2.5) > 5 * np.mean(ratio - half > 2.5)


def test_log_ratio() -> None:
    found = log_ratio(10, 5, 2, 0.8)
    assert (found.low, found.high) == approx((1.210642808, 3.304029871), rel=1e-9)


def test_ratio_and_fraction_go_there_and_back() -> None:
    ratio = FungalRatio(ratio=0.25, log_sd=0.3, kind="mass")
    share, low, high = ratio.fungal_fraction(0.9)
    assert share == approx(0.2) and low < 0.2 < high


def test_per_gram_dry_to_per_ml_and_back() -> None:
    compost = Material(density_g_per_ml=Uncertain(value=0.5), moisture=Uncertain(value=0.6))
    there = convert_basis(Uncertain(value=1000.0, sd=50.0), given="per g dry", wanted="per mL", material=compost)
    assert there.linear.value == approx(1000 * 0.4 * 0.5) and there.linear.uncertainty == approx(10.0, rel=1e-6)
    back = convert_basis(Uncertain(value=there.linear.value, sd=10.0), given="per mL", wanted="per g dry", material=compost)
    assert back.linear.value == approx(1000.0)


def test_poor_moisture_makes_the_two_ways_disagree() -> None:
    wet = Material(density_g_per_ml=Uncertain(value=0.9, sd=0.02), moisture=Uncertain(value=0.8, sd=0.04))
    found = convert_basis(Uncertain(value=100.0, sd=5.0), given="per g wet", wanted="per g dry", material=wet)
    assert not found.agree and found.simulated.high > found.linear.high


@pytest.mark.parametrize(("density", "moisture"), [(0.0, 0.5), (9.0, 0.5), (1.0, 1.0), (1.0, 55.0)])
def test_impossible_material(density: float, moisture: float) -> None:
    with pytest.raises(UnusableReading):
        Material(density_g_per_ml=Uncertain(value=density), moisture=Uncertain(value=moisture))
