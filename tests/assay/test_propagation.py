"""Propagation of uncertainty against the worked examples of the guides."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import (
    Input,
    propagate,
    propagate_both,
    simulate,
)
from aerobe.errors import UnusableReading

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
    # GUM H.2: prints R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236).
    readings = np.vstack([VOLT, AMP, PHASE])
    inputs = [
        Input(name=n, value=float(m), uncertainty=float(s))
        for n, m, s in zip("vif", readings.mean(1), readings.std(1, ddof=1) / 5**0.5, strict=True)
    ]
    for model, value, sd in (
        (lambda v, i, f: v * np.cos(f) / i, 127.732, 0.071),
        (lambda v, i, f: v * np.sin(f) / i, 219.847, 0.2956),
        (lambda v, i, f: v / i, 254.260, 0.236),
    ):
        found = propagate(model, inputs, correlation=np.corrcoef(readings))
        assert found.value == approx(value, abs=6e-4) and found.uncertainty == approx(sd, abs=5e-4)


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


def test_a_correlation_above_one_is_refused() -> None:
    with pytest.raises(UnusableReading):
        propagate(lambda a, b: a + b, GAUGE[:2], correlation=np.array([[1.0, 2.0], [2.0, 1.0]]))
