"""Least squares, calibration lines and standard addition against certified values."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import (
    calibrate,
    least_squares,
    polynomial,
    standard_addition,
)
from aerobe.errors import NotEnoughData, OutsideValidity


def test_norris() -> None:
    import scipy.stats

    # NIST StRD Norris, the file in scipy's tests; certified coefficients and standard deviations.
    lines = (Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat").read_text().splitlines()
    data = np.array([[float(v) for v in line.split()] for line in lines[60:] if line.strip()])
    fit = polynomial(data[:, 1], data[:, 0], 1)
    assert fit.coefficients == approx((-0.262323073774029, 1.00211681802045), rel=1e-11)
    assert (fit.sd(0), fit.sd(1), fit.residual_sd) == approx(
        (0.232818234301152, 0.429796848199937e-03, 0.884796396144373), rel=1e-11
    )


def test_longley() -> None:
    from statsmodels.datasets import longley

    # NIST StRD Longley: certified values from memory, data in statsmodels.
    data = longley.load_pandas().data
    design = np.column_stack([np.ones(16), *(data[c] for c in ("GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"))])
    fit = least_squares(design, data["TOTEMP"])
    certified = (
        -3482258.63459582,
        15.0618722713733,
        -0.358191792925910e-01,
        -2.02022980381683,
        -1.03322686717359,
        -0.511041056535807e-01,
        1829.15146461355,
    )
    sds = (
        890420.383607373,
        84.9149257747669,
        0.334910077722432e-01,
        0.488399681651699,
        0.214274163161675,
        0.226073200069370,
        455.478499142212,
    )
    assert fit.coefficients == approx(certified, rel=1e-9)
    assert [fit.sd(i) for i in range(7)] == approx(sds, rel=1e-9)
    assert fit.residual_sd == approx(304.854073561965, rel=1e-10)


# NIST StRD Wampler: y is the polynomial itself, exactly (1 and 2); certified coefficients by definition.
@pytest.mark.parametrize("scale", [1.0, 0.1])
def test_wampler_exact(scale: float) -> None:
    x = np.arange(21.0)
    fit = polynomial(x, sum((scale * x) ** k for k in range(6)), 5)
    assert fit.coefficients == approx([scale**k for k in range(6)], rel=1e-8)


def test_wampler_with_scatter() -> None:
    # NIST StRD Wampler3, data and certified standard deviations from memory.
    y = [
        760,
        -2042,
        2111,
        -1684,
        3888,
        1858,
        11379,
        17560,
        39287,
        64382,
        113159,
        175108,
        273291,
        400186,
        581243,
        811568,
        1121004,
        1506550,
        2002767,
        2611612,
        3369180,
    ]
    fit = polynomial(range(21), y, 5)
    assert fit.coefficients == approx([1.0] * 6, rel=1e-7)
    assert [fit.sd(i) for i in range(6)] == approx(
        [2152.32624678170, 2363.55173469681, 779.343524331583, 101.475507550350, 5.64566512170752, 0.112324854679312],
        rel=1e-9,
    )
    assert fit.residual_sd == approx(2360.14502379268, rel=1e-10)


def test_pontius() -> None:
    # NIST StRD Pontius (load cell, a parabola of degree 2): data and certified values from memory.
    up = [
        0.11019,
        0.21956,
        0.32949,
        0.43899,
        0.54803,
        0.65694,
        0.76562,
        0.87487,
        0.98292,
        1.09146,
        1.20001,
        1.30822,
        1.41599,
        1.52399,
        1.63194,
        1.73947,
        1.84646,
        1.95392,
        2.06128,
        2.16844,
    ]
    again = [
        0.11052,
        0.22018,
        0.32939,
        0.43886,
        0.54798,
        0.65739,
        0.76596,
        0.87474,
        0.98300,
        1.09150,
        1.20004,
        1.30818,
        1.41613,
        1.52408,
        1.63159,
        1.73965,
        1.84696,
        1.95445,
        2.06177,
        2.16829,
    ]
    load = np.tile(np.arange(150_000, 3_000_001, 150_000), 2)
    fit = polynomial(load, up + again, 2)
    assert fit.coefficients == approx((0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14), rel=1e-9)
    assert [fit.sd(i) for i in range(3)] == approx(
        (0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16), rel=1e-9
    )
    assert fit.residual_sd == approx(0.205177424076185e-03, rel=1e-10)


# NIST StRD NoInt1 and NoInt2, from memory: lines through zero.
@pytest.mark.parametrize(
    ("x", "y", "slope", "sd", "residual"),
    [
        (range(60, 71), range(130, 141), 2.07438016528926, 0.0165289256198347, 3.56753034006338),
        ((4, 5, 6), (3, 4, 4), 0.727272727272727, 0.0420827318078432, 0.369274472937998),
    ],
)
def test_lines_through_zero(x, y, slope: float, sd: float, residual: float) -> None:
    fit = polynomial(x, y, 1, through_zero=True)
    assert (fit.coefficients[0], fit.sd(0), fit.residual_sd) == approx((slope, sd, residual), rel=1e-12)


def test_weights_agree_with_statsmodels() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(1)
    x, w = rng.random(20), rng.random(20) + 0.1
    y = 1 + 2 * x + rng.normal(0, 0.1, 20)
    theirs, ours = sm.WLS(y, sm.add_constant(x), weights=w).fit(), polynomial(x, y, 1, weights=w)
    assert ours.coefficients == approx(theirs.params, rel=1e-12) and ours.sd(1) == approx(theirs.bse[1], rel=1e-12)
    assert ours.interval((1, 0.5), 0.9) == approx(tuple(theirs.get_prediction([1, 0.5]).conf_int(alpha=0.1)[0]), rel=1e-10)


def test_a_calibration_line() -> None:
    # Miller and Miller, fluorescein (data from memory): prints s_yx 0.4329, slope 1.93, intercept 1.52.
    line = calibrate(range(0, 13, 2), (2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7))
    assert (line.intercept, line.slope) == approx((1.5178571429, 1.9303571429), rel=1e-9)
    assert line.fit.residual_sd == approx(0.4329, abs=1e-4)


def test_standard_addition() -> None:
    # Miller and Miller, silver (data from memory): prints 17.3, s 0.749.
    found = standard_addition(range(0, 31, 5), (0.32, 0.41, 0.52, 0.60, 0.70, 0.77, 0.89))
    assert found.content == approx(17.3, abs=0.05) and found.sd == approx(0.749, abs=0.0015)
    assert found.high - found.content == approx(1.92246, abs=1e-4)


def test_a_line_that_cannot_be_drawn_or_falls_is_refused() -> None:
    with pytest.raises(NotEnoughData):
        calibrate((1, 1, 1), (1, 2, 3))
    with pytest.raises(OutsideValidity):
        standard_addition((0, 1, 2), (3, 2, 1))


def test_a_flat_line_measures_nothing_even_where_rounding_leaves_a_slope() -> None:
    with pytest.raises(NotEnoughData, match="does not change"):
        calibrate([0.0, 1.0, 2.0, 3.0], [2.0, 2.0, 2.0, 2.0])
