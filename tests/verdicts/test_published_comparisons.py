"""Classical comparisons: randomised blocks, Latin square, Tukey, Dunnett, Welch, power tables, Welch-Satterthwaite, Fieller."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import studentized_range

from aerobe.verdicts import (
    Effects,
    Layout,
    all_pairs,
    answer_dose_series,
    best_tests_per_brew,
    brews_needed,
    fit_effects,
    lay_out,
    power_of_difference,
    turning_point,
    widen,
)
from tests.conftest import truth
from tests.verdicts.test_mixed import columns, numbers


def indices(labels: list[str]) -> tuple[list[int], list[str]]:
    keys = sorted(set(labels))
    return [keys.index(label) for label in labels], keys


def one_scatter(found: Effects, layout: Layout, rows: np.ndarray) -> np.ndarray:
    """Standard errors where all arms scatter alike, as the textbook tables assume."""
    padded = np.zeros((len(rows), layout.matrix.shape[1]))
    padded[:, : rows.shape[1]] = rows
    return np.sqrt(found.scatter * np.diag(padded @ np.linalg.pinv(layout.matrix.T @ layout.matrix) @ padded.T))


def test_tukey_on_warpbreaks() -> None:
    # R 4.2.2 TukeyHSD(aov(breaks ~ wool + tension), "tension"): wool enters as a second grouping.
    data = columns("warpbreaks")
    arm, keys = indices(data["tension"])  # H, L, M
    layout = lay_out(arm, data["wool"])
    found = fit_effects(numbers(data["breaks"]), layout, all_pairs(3))
    t = found.mean() / one_scatter(found, layout, all_pairs(3))
    assert keys == ["H", "L", "M"]
    assert found.mean() == pytest.approx([14.722222222, 4.722222222, -10.0], abs=1e-8)
    p = studentized_range.sf(np.abs(t) * math.sqrt(2.0), 3, found.scatter_df)
    assert p == pytest.approx([0.0011217877, 0.4474210214, 0.0336262189], abs=2e-7)
    half = studentized_range.ppf(0.95, 3, found.scatter_df) / math.sqrt(2.0) * one_scatter(found, layout, all_pairs(3))[0]
    assert 14.722222222 - half == pytest.approx(5.3688014954, abs=1e-5)


def test_dunnett_on_plantgrowth() -> None:
    # R 4.2.2 multcomp 1.4-22 glht(aov(weight ~ group), mcp(group = "Dunnett")).
    data = columns("PlantGrowth")
    arm, keys = indices(data["group"])
    assert keys == ["ctrl", "trt1", "trt2"]
    rows = np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])
    found = fit_effects(numbers(data["weight"]), lay_out(arm), rows)
    error = one_scatter(found, lay_out(arm), rows)
    critical = 2.33354  # R's, of the same family: Dunnett's table
    assert found.mean() == pytest.approx([-0.371, 0.494], abs=1e-9)
    assert found.mean() / error == pytest.approx([-1.33079, 1.77200], abs=1e-5)
    assert found.mean() - critical * error == pytest.approx([-1.02155, -0.15655], abs=3e-4)


def test_randomised_blocks_of_npk() -> None:
    # R 4.2.2 aov(yield ~ block + N*P*K): F of N 12.25873, K 6.16569, residual mean square 15.44055556 on 12 df.
    data = columns("npk")
    treatment = [n + p + k for n, p, k in zip(data["N"], data["P"], data["K"], strict=True)]
    arm, keys = indices(treatment)
    layout = lay_out(arm, data["block"])
    rows = np.array([[(1.0 if key[i] == "1" else -1.0) / 4 for key in keys] for i in (0, 2)])
    found = fit_effects(numbers(data["yield"]), layout, rows)
    assert layout.df == 12
    assert float(found.scatter) == pytest.approx(15.44055556, abs=1e-7)
    assert (found.mean() / one_scatter(found, layout, rows)) ** 2 == pytest.approx([12.25873, 6.16569], abs=1e-5)


def test_latin_square_of_orchardsprays() -> None:
    # R 4.2.2 anova(aov(decrease ~ row + column + treatment)): residual mean square 380.83110119 on 42 df, F 21.06670 on 7.
    data = columns("OrchardSprays")
    arm, keys = indices(data["treatment"])
    layout = lay_out(arm, data["rowpos"], data["colpos"])
    rows = all_pairs(len(keys))[: len(keys) - 1]
    found = fit_effects(numbers(data["decrease"]), layout, rows)
    assert layout.df == 42
    assert float(found.scatter) == pytest.approx(380.83110119, abs=1e-6)
    error = one_scatter(found, layout, rows)
    covariance = found.correlation * np.outer(error, error)
    f = found.mean() @ np.linalg.solve(covariance, found.mean()) / 7
    assert f == pytest.approx(21.06670, abs=1e-5)


def test_a_balanced_verdict_is_the_t_interval_of_the_textbook() -> None:
    # R 4.2.2, paired Student sleep data as blocks: t.test(paired = TRUE) gives t -4.0621 on 9 df (Student 1908).
    data = columns("sleep")
    arm, _ = indices(data["group"])
    found = fit_effects(numbers(data["extra"]), lay_out(arm, data["ID"]), np.array([[1.0, -1.0]]))
    assert found.scatter_df == 9
    assert found.df[0] == 9
    assert float(found.mean()[0] / found.error[0]) == pytest.approx(-4.0621, abs=1e-4)


@pytest.mark.parametrize("row", [r for r in truth("power_of_two_means.csv") if r.n != ""], ids=lambda row: row.id)
def test_power_agrees_with_r(row) -> None:
    assert power_of_difference(row.effect_in_sd, row.n) == pytest.approx(row.power, abs=1e-9)


@pytest.mark.parametrize("row", [r for r in truth("power_of_two_means.csv") if r.n == ""], ids=lambda row: row.id)
def test_brews_needed_agree_with_cohen(row) -> None:
    assert brews_needed(1.0, row.effect_in_sd, power=row.power) == row.brews_needed


def test_optimal_subsampling() -> None:
    # Cochran 1977: costs 20 and 5, variances 4 and 9 give exactly sqrt(20/5 * 9/4) = 3.
    assert best_tests_per_brew(20.0, 5.0, 2.0, 3.0) == pytest.approx(3.0, abs=1e-12)


def test_effective_degrees_of_freedom_as_in_gum_h1() -> None:
    # GUM H.1: components 25 (18), 9.7 (25.6), 2.9 (50), 16.6 (2) nm give 16 degrees of freedom (16.76 unrounded).
    u, nu = np.array([25.0, 9.7, 2.9, 16.6]), np.array([18.0, 25.6, 50.0, 2.0])
    assert (u**2).sum() ** 2 / (u**4 / nu).sum() == pytest.approx(16.76, abs=0.01)
    # Our widening is that formula for one component with finite and one with infinite degrees of freedom.
    scale, df = widen(np.array([25.0]), np.array([18.0]), np.array([9.7**2]))
    assert scale[0] == pytest.approx(math.hypot(25.0, 9.7))
    assert df[0] == pytest.approx((25.0**2 + 9.7**2) ** 2 / (25.0**4 / 18.0))


def test_fieller_set_of_a_turning_point() -> None:
    # a = 10 (se 2), b = 5 (se 0.8), z 95 %: ratio a/b in 1.13854136..3.29772726 (arithmetic of Fieller 1954, worked by hand).
    # The turning point of slope + 2 bend x is -slope/(2 bend): slope -10 and bend 2.5 put it at a/b.
    covariance = np.diag([2.0**2, 0.4**2])
    ends = turning_point(-10.0, 2.5, covariance, 1.959963985)
    assert ends == pytest.approx((1.13854136, 3.29772726), abs=1e-7)
    assert turning_point(-10.0, 0.5, covariance, 1.959963985) is None  # bend not told from zero: unbounded


def test_a_known_optimum_is_found_in_a_dose_series() -> None:
    doses = [d for d in (0.0, 1.0, 2.0, 4.0, 8.0) for _ in range(3)]
    rng = np.random.default_rng(3)
    y = [-2.0 * (math.sqrt(d) - 1.5) ** 2 + rng.normal(0, 0.1) for d in doses]
    answer = answer_dose_series(doses, y)
    assert answer.kind == "peak"
    assert answer.best == pytest.approx(2.25, rel=0.1)
    assert answer.best_low < 2.25 < answer.best_high
    assert answer.misfit_p is not None and answer.misfit_p > 0.001
