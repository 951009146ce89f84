"""Propagation of uncertainty, least squares and ratios against guides and certified values."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import (
    FungalRatio,
    Input,
    Material,
    Uncertain,
    calibrate,
    compare_ratios,
    convert_basis,
    fieller,
    least_squares,
    log_ratio,
    polynomial,
    propagate,
    propagate_both,
    propagate_many,
    ratio_from_fraction,
    simulate,
    standard_addition,
)
from aerobe.errors import NotAllowed, NotEnoughData, OutsideValidity, UnusableReading

GAUGE = [
    Input(name="standard", value=50_000_623, uncertainty=25, df=18),
    Input(name="difference", value=215, uncertainty=5.8, df=24),
    Input(name="comparator, random", value=0, uncertainty=3.9, df=5),
    Input(name="comparator, systematic", value=0, uncertainty=6.7, df=8),
    Input(name="expansion", value=11.5e-6, uncertainty=1.2e-6),
    Input(name="difference of expansion", value=0, uncertainty=0.58e-6, df=50),
    Input(name="mean temperature", value=-0.1, uncertainty=0.2),
    Input(name="cyclic temperature", value=0, uncertainty=0.35),
    Input(name="difference of temperature", value=0, uncertainty=0.029, df=2),
]


def gauge(ls, d, c1, c2, a, da, mean, cyclic, dt):
    return (ls * (1 + a * (mean + cyclic + dt)) + d + c1 + c2) / (1 + (a + da) * (mean + cyclic))


def test_gauge_block() -> None:
    # GUM H.1 (inputs as stored in the R package metRology): prints 50 000 838 nm, u 32 nm, 16 degrees of freedom, 93 nm at
    # 99 %, and 34 nm with second-order terms.
    found = propagate(gauge, GAUGE, level=0.99)
    assert found.value == approx(50_000_838, abs=0.5)
    assert round(found.uncertainty) == 32 and math.floor(found.df) == 16
    assert round(found.high - found.value) == 93
    assert round(found.second_order) == 34
    assert found.uncertainty == approx(31.671, abs=0.05)  # components rounded as the guide rounds them


VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMP = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def test_resistance_and_reactance() -> None:
    # GUM H.2: prints R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236), correlations -0.588, -0.485, 0.993.
    readings = np.vstack([VOLT, AMP, PHASE])
    values, covariance = propagate_many(
        [lambda v, i, f: v * np.cos(f) / i, lambda v, i, f: v * np.sin(f) / i, lambda v, i, f: v / i],
        readings.mean(1),
        np.cov(readings) / 5,
    )
    sd = np.sqrt(np.diag(covariance))
    link = covariance / np.outer(sd, sd)
    assert values == approx([127.732, 219.847, 254.260], abs=6e-4)
    assert sd == approx([0.071, 0.2956, 0.236], abs=5e-4)
    assert [link[0, 1], link[0, 2], link[1, 2]] == approx([-0.588, -0.485, 0.993], abs=6e-4)
    one = propagate(
        lambda v, i, f: v / i,
        [
            Input(name=n, value=float(m), uncertainty=float(s))
            for n, m, s in zip("vif", readings.mean(1), readings.std(1, ddof=1) / 5**0.5, strict=True)
        ],
        correlation=np.corrcoef(readings),
    )
    assert one.uncertainty == approx(sd[2], rel=1e-6)


def test_sum_of_four_rectangles() -> None:
    # JCGM 101, 9.2.3: exact 95 % interval +-3.88 (3.8794 by the sum's known density); the linear law says 3.92.
    inputs = [Input(name=str(i), value=0.0, uncertainty=1.0, shape="rectangular") for i in range(4)]
    found = propagate_both(lambda a, b, c, d: a + b + c + d, inputs, seed=1, draws=400_000)
    assert found.simulated.uncertainty == approx(2.0, abs=0.01)
    assert found.simulated.high == approx(3.87940674, abs=0.02) and found.linear.high == approx(3.91993, abs=1e-4)


def mass(reference, difference, air, weight, standard):
    return (reference + difference) * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 1e5


MASS = [
    Input(name="reference", value=1e5, uncertainty=0.05),
    Input(name="difference", value=1.234, uncertainty=0.02),
    Input(name="air", value=1.2, uncertainty=0.1 / 3**0.5, shape="rectangular"),
    Input(name="weight", value=8000, uncertainty=1000 / 3**0.5, shape="rectangular"),
    Input(name="standard", value=8000, uncertainty=50 / 3**0.5, shape="rectangular"),
]


def test_mass_where_the_linear_law_fails_and_says_so() -> None:
    # JCGM 101, 9.3: Monte Carlo 1.2340 mg, u 0.0754, shortest interval 1.0834 to 1.3825;
    # linear law u 0.0539; second order 0.0750.
    found = propagate_both(mass, MASS, seed=1, draws=400_000)
    assert found.simulated.value == approx(1.2340, abs=3e-4) and found.simulated.uncertainty == approx(0.0754, abs=3e-4)
    assert (found.simulated.shortest_low, found.simulated.shortest_high) == approx((1.0834, 1.3825), abs=4e-3)
    assert found.linear.uncertainty == approx(0.0539, abs=5e-5)
    assert found.linear.second_order == approx(0.0750, abs=4e-4)
    assert not found.agree and "Monte Carlo" in found.says


# JCGM 101, 9.4: y = x1^2 + x2^2, u 0.005 each, uncorrelated, x2 = 0: exact mean and u from the noncentral chi-square.
@pytest.mark.parametrize(("x1", "mean", "u"), [(0.0, 50e-6, 50e-6), (0.010, 150e-6, 111.803e-6), (0.050, 2550e-6, 502.494e-6)])
def test_comparison_loss(x1: float, mean: float, u: float) -> None:
    inputs = [Input(name="x1", value=x1, uncertainty=0.005), Input(name="x2", value=0.0, uncertainty=0.005)]
    found = simulate(lambda a, b: a * a + b * b, inputs, seed=2, draws=400_000)
    assert (found.value, found.uncertainty) == approx((mean, u), rel=0.01)
    law = propagate(lambda a, b: a * a + b * b, inputs)
    assert law.uncertainty == approx(2 * x1 * 0.005, abs=1e-12)
    if x1 == 0.0:
        assert found.shortest_high == approx(149.787e-6, rel=0.01)


def test_agreement_is_stated_where_it_should_be() -> None:
    inputs = [Input(name="a", value=10, uncertainty=1), Input(name="b", value=3, uncertainty=0.5)]
    assert propagate_both(lambda a, b: a - b, inputs, seed=3, draws=400_000).agree


# --- least squares ---------------------------------------------------------------------------------------------------


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
        [2152.32624678170, 2363.55173469681, 779.343524331583, 101.475507550350, 5.64566512170752, 0.112324854679312], rel=1e-9
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


def test_calibration_line_read_backwards() -> None:
    # Miller and Miller, fluorescein (data from memory): prints s_yx 0.4329, slope 1.93, intercept 1.52.
    line = calibrate(range(0, 13, 2), (2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7))
    assert (line.intercept, line.slope) == approx((1.5178571429, 1.9303571429), rel=1e-9)
    assert line.fit.residual_sd == approx(0.4329, abs=1e-4)
    assert line.read_back(2.9) == approx((0.7160037, 0.2645698), abs=1e-6)


def test_standard_addition() -> None:
    # Miller and Miller, silver (data from memory): prints 17.3, s 0.749.
    found = standard_addition(range(0, 31, 5), (0.32, 0.41, 0.52, 0.60, 0.70, 0.77, 0.89))
    assert found.content == approx(17.3, abs=0.05) and found.sd == approx(0.749, abs=0.0015)
    assert found.high - found.content == approx(1.92246, abs=1e-4)


# --- ratios ----------------------------------------------------------------------------------------------------------


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
    back = ratio_from_fraction(share, ratio.fraction_sd(), "mass")
    assert (back.ratio, back.log_sd) == approx((0.25, 0.3))


@pytest.mark.parametrize(("a", "b"), [("mass", "plate"), ("count", "mass"), ("unknown", "unknown"), ("marker", "count")])
def test_unlike_ratios_are_refused(a: str, b: str) -> None:
    with pytest.raises(NotAllowed) as caught:
        compare_ratios(FungalRatio(ratio=1, log_sd=0.1, kind=a), FungalRatio(ratio=1, log_sd=0.1, kind=b))
    assert "same test" in caught.value.remedy


def test_like_ratios_are_compared() -> None:
    found = compare_ratios(FungalRatio(ratio=1.0, log_sd=0.3, kind="mass"), FungalRatio(ratio=0.5, log_sd=0.4, kind="mass"))
    assert found.value == approx(2.0) and found.high / found.value == approx(math.exp(1.959964 * 0.5), rel=1e-6)


# --- basis -----------------------------------------------------------------------------------------------------------


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


def test_bad_input_of_the_line() -> None:
    with pytest.raises(NotEnoughData):
        calibrate((1, 1, 1), (1, 2, 3))
    with pytest.raises(OutsideValidity):
        standard_addition((0, 1, 2), (3, 2, 1))
    with pytest.raises(UnusableReading):
        propagate(lambda a, b: a + b, GAUGE[:2], correlation=np.array([[1.0, 2.0], [2.0, 1.0]]))
