"""Counting under the microscope."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import (
    carbon_from_hyphae,
    carbon_from_volume,
    cylinder_um3,
    density_from_fields,
    hyphal_length_m_per_ml,
)
from aerobe.errors import OutsideValidity, UnusableReading


def test_haemocytometer() -> None:
    # Handbook example, from memory: mean 50 in a square of 1 mm2, dilution 2: 50 x 10 000 x 2 = 1.0e6 per mL.
    assert density_from_fields((50, 48, 52, 50), 2 / 1e-4).value == approx(1.0e6)
    # Five squares of a 25-square grid: sum x 5 x 10 000.
    assert density_from_fields((8, 12, 10, 9, 11), 1 / (0.04 * 1e-4)).value == approx(50 * 5 * 1e4)


def test_random_fields_use_the_poisson_limits_and_clumped_fields_their_own_scatter() -> None:
    from scipy.stats import chi2

    even = density_from_fields((9, 12, 10, 8, 11, 10), 1.0)
    assert not even.overdispersed
    # Garwood's exact limits of 60 by scipy's chi-square quantiles.
    assert (6 * even.low, 6 * even.high) == approx((chi2.ppf(0.025, 120) / 2, chi2.ppf(0.975, 122) / 2))
    clumped = density_from_fields((0, 31, 2, 18, 1, 8), 1.0)
    assert clumped.overdispersed and clumped.high - clumped.low > 2 * (even.high - even.low) and "clump" in clumped.says


def test_index_of_dispersion_agrees_with_scipy() -> None:
    from scipy.stats import chi2

    n = np.array((3, 9, 4, 8, 2, 7))
    assert density_from_fields(n, 1.0).dispersion_p == approx(chi2.sf(((n - n.mean()) ** 2).sum() / n.mean(), 5))


def test_overdispersed_intervals_hold_where_poisson_intervals_fail() -> None:
    rng = np.random.default_rng(1)
    own, poisson = 0, 0
    for _ in range(400):
        n = rng.negative_binomial(2, 2 / 22, 20)
        found = density_from_fields(n, 1.0)
        own += found.low <= 20 <= found.high
        half = 1.96 * math.sqrt(n.sum()) / 20
        poisson += abs(n.mean() - 20) <= half
    assert own >= 360 and poisson < 240


def test_length_of_hyphae_by_crossings() -> None:
    """Newman 1966 by simulation: straight pieces of known length thrown on a square grid are recovered."""
    rng = np.random.default_rng(2)
    side, spacing, pieces, length = 10.0, 1.0, 1500, 0.7
    start, angle = rng.uniform(0, side, (pieces, 2)), rng.uniform(0, math.pi, pieces)
    end = start + length * np.column_stack([np.cos(angle), np.sin(angle)])
    crossings = int(abs(np.floor(end / spacing) - np.floor(start / spacing)).sum())
    # Each unit square owns one grid line in either direction, so the grid of the whole field is 2 x area / spacing long.
    found = hyphal_length_m_per_ml([crossings], grid_line_mm=2 * side * side / spacing, filter_mm2=side * side, filtered_ml=1.0)
    assert found.value * 1000 == approx(pieces * length, rel=0.03)


def test_volume_and_carbon_of_a_hypha() -> None:
    # Arithmetic with van Veen and Paul's mean: 3 um x 100 um = 707 um3; x 0.33 g/cm3 = 233 pg dry; x 0.40 = 93 pg C.
    volume = cylinder_um3(100, 3)
    assert volume == approx(707, abs=0.5) and volume * 0.33 == approx(233, abs=0.5)
    found = carbon_from_hyphae(100e-6, 3)
    assert dict(found.by_factor)["mean dry mass (van-veen-paul-1979)"] * 1e6 == approx(93.3, abs=0.1)


def test_published_factors_differ_twofold_for_a_small_cell() -> None:
    # 0.05 um3: 15.5 (Fry), 28 (Bratbak), 20 (Lee and Fuhrman), 13.9 fg (Norland).
    found = carbon_from_volume(1e9, 0.05)
    values = {name.split()[0]: value for name, value in found.by_factor}
    assert (values["fry"], values["bratbak"], values["norland"]) == approx((15.5, 28.0, 13.88), abs=0.01)
    assert found.high / found.low == approx(2.02, abs=0.01) and found.low < found.value < found.high


@pytest.mark.parametrize(
    ("cell_um3", "fg_c", "fold"),
    [
        # Arithmetic from the published factors: the geometric mean of those found on cells of the size, and their spread.
        (0.05, (15.5 * 28.0 * 13.88 * 20.0 * 20.0) ** (1 / 5), 28.0 / 13.88),  # 20 fg a cell is of 0.036 to 0.073 um3
        (0.036, (310 * 560 * 400 * 0.036**3 * 120 * 0.036**0.72 * 20.0) ** (1 / 5), 560 * 0.036 / (120 * 0.036**0.72)),
        (0.074, (310 * 560 * 400 * 0.074**3 * 120 * 0.074**0.72) ** (1 / 4), 560 * 0.074 / (120 * 0.074**0.72)),
        (0.3, (310 * 560 * 400 * 0.3**3 * 120 * 0.3**0.72) ** (1 / 4), 560 * 0.3 / (120 * 0.3**0.72)),
        (1.0, (310 * 560 * 400 * 120) ** (1 / 4), 560 / 120),  # 302 fg, where a constant of 20 would pull it to 176
        (4.0, (310 * 560 * 400 * 4**3 * 120 * 4**0.72) ** (1 / 4), 560 * 4 / (120 * 4**0.72)),
    ],
)
def test_only_factors_found_on_cells_of_the_size_enter_the_mean(cell_um3: float, fg_c: float, fold: float) -> None:
    found = carbon_from_volume(1e8, cell_um3)
    assert found.value == approx(fg_c * 1e-1, rel=2e-3) and found.high / found.low == approx(fold, rel=2e-3)
    assert f"{fold:.1f}-fold" in found.says
    small = 0.036 <= cell_um3 <= 0.073
    assert bool(found.left_out) is not small and ("Left out at this size: per cell" in found.says) is not small


@pytest.mark.parametrize("cell_um3", [math.nan, math.inf, 0.0, -1.0])
def test_a_cell_without_a_volume_is_refused(cell_um3: float) -> None:
    with pytest.raises(UnusableReading):
        carbon_from_volume(1e8, cell_um3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: density_from_fields((1, -2), 1.0),
        lambda: density_from_fields((1, 2.5), 1.0),
    ],
)
def test_impossible_counts(call) -> None:
    with pytest.raises(UnusableReading) as caught:
        call()
    assert caught.value.remedy


def test_unknown_group() -> None:
    with pytest.raises(OutsideValidity):
        carbon_from_volume(1.0, 1.0, "ghosts")
