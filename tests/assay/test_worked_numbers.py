"""One worked number for formulas of the room, from a printed table, a reference library, or computed here on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from aerobe.assay import (
    CARBON_FACTORS,
    CarbonEstimate,
    StudyReading,
    carbon_from_hyphae,
    carbon_from_volume,
    cochran,
    cylinder_um3,
    density_from_fields,
    fieller,
    grubbs,
    grubbs_critical,
    hyphal_length_m_per_ml,
    limits_from_blanks,
    limits_from_model,
    log_ratio,
    noncentrality,
    poisson_limits,
    ratio_from_parts,
    replicate_groups,
    two_digits,
)

# --- limits ----------------------------------------------------------------------------------------------------------


def test_limits_from_blanks_hang_on_blanks_and_on_readings() -> None:
    # On paper: ten blanks of sd s and the mean of m readings give a net sd of s root(1/m + 1/10). Currie 1968 with Student's t on
    # 9 degrees: 1.833; the detection limit by the noncentral t (ISO 11843-2, delta about 2 t): by the library below.
    blanks = [4.0, 6.0] * 5
    sd = math.sqrt(10.0 / 9.0)
    for readings in (1, 4):
        found = limits_from_blanks(blanks, readings=readings)
        net = sd * math.sqrt(1.0 / readings + 0.1)
        assert found.critical == approx(1.83311 * net, rel=1e-5)
        assert stats.nct.cdf(found.critical / net, 9, found.detection / net) == approx(0.05, abs=1e-6)
        assert found.quantification == approx(10.0 * net)
    # ISO 11843-2 (from memory): delta is 3.29 where the scatter is known, and t2 = 1.833 on 9 degrees gives 3.575 (library, nct).
    assert noncentrality(1e7) == approx(2.0 * 1.644854, abs=1e-3)
    assert noncentrality(9) == approx(3.575, abs=0.005)


def test_limits_from_an_error_model_solve_currie_s_equations() -> None:
    # Independent: fixed points of L_C = z s(0) and L_D = L_C + z s(L_D), s^2 = (2^2 + (0.1 L)^2) / 3 + 2^2 / 8 + 1.5^2.
    found = limits_from_model(2.0, 0.1, readings=3, blanks=8.0, bias_sd=1.5)

    def sd(level: float) -> float:
        return math.sqrt((4.0 + (0.1 * level) ** 2) / 3.0 + 0.5 + 2.25)

    z = 1.6448536
    assert found.critical == approx(z * sd(0.0))
    detection = 10.0
    for _ in range(200):
        detection = z * sd(0.0) + z * sd(detection)
    assert found.detection == approx(detection, rel=1e-6)
    # Relative sd of a tenth with readings that scatter by 0.1/root 3 each: sd(0) / root(0.01 - 0.01/3).
    assert found.quantification == approx(sd(0.0) / math.sqrt(0.01 - 0.01 / 3.0))
    assert math.isinf(limits_from_model(2.0, 0.2, readings=1).quantification)


# --- counts ----------------------------------------------------------------------------------------------------------


def test_limits_of_a_count_are_garwood_s() -> None:
    # Garwood 1936 as in Pearson and Hartley, Biometrika Tables I, Table 40 (from memory): 95 % of 10 counted is 4.80 to 18.39;
    # of none 3.69.
    assert poisson_limits(10) == approx((4.795, 18.390), abs=1e-3) and poisson_limits(0)[1] == approx(3.689, abs=1e-3)


def test_fields_become_a_density_by_their_mean() -> None:
    # On paper: 12 objects in 4 fields, 1000 a mL for one a field; 95 % of 12 is 6.20 to 20.96 (the same table).
    found = density_from_fields([2, 3, 4, 3], 1000.0)
    assert (found.value, found.low, found.high) == approx((3000.0, 1550.0, 5240.5), rel=1e-3)
    assert found.dispersion == approx((2.0 / 3.0) / 3.0) and not found.overdispersed
    # Clumped: 0, 0, 0, 40: Student on the mean, 10 +/- 3.182 x 10.
    clumped = density_from_fields([0, 0, 0, 40], 1.0)
    assert clumped.overdispersed and (clumped.low, clumped.high) == approx((0.0, 10.0 + 3.18245 * 10.0), rel=1e-4)
    assert clumped.dispersion == approx(40.0)
    assert clumped.dispersion_p == approx(stats.chi2.sf(120.0, 3))


def test_a_chamber_square_of_a_tenth_of_a_microlitre() -> None:
    # On paper: 1 mm2 x 0.1 mm is 1e-4 mL: one cell a square is 10,000 a mL; diluted tenfold 100,000.
    assert density_from_fields([25, 25], 10.0 / 1e-4).value == approx(2.5e6)


def by_name(estimate: CarbonEstimate) -> dict[str, float]:
    return {name.split(" (")[0]: value for name, value in estimate.by_factor}


def test_sizes_and_carbon_of_cells_and_hyphae() -> None:
    # On paper: a metre of hypha 3 um thick is 7.07e6 um3.
    assert cylinder_um3(1e6, 3.0) == approx(7.0686e6, rel=1e-4)
    # Printed factors (from memory unless marked in the room): 310, 560 and 400 fg/um3, 120 V^0.72.
    one = carbon_from_volume(1e9, 1.0)
    assert by_name(one) == approx({"fry": 310.0, "bratbak": 560.0, "norland": 120.0, "mean dry mass": 400.0})
    assert (one.low, one.high) == approx((120.0, 560.0)) and one.value == approx((310.0 * 560.0 * 120.0 * 400.0) ** 0.25)
    assert one.log_sd == approx(np.std(np.log([310.0, 560.0, 120.0, 400.0]), ddof=1))
    eight = by_name(carbon_from_volume(1e9, 8.0))
    assert eight["norland"] == approx(120.0 * 8.0**0.72) and eight["fry"] == approx(2480.0)
    tiny = by_name(carbon_from_volume(1e9, 0.05))
    assert tiny["per cell"] == approx(20.0)
    # 10 m/mL of 3 um hyphae at 0.132 pg/um3: 10 x 7.07e6 um3 x 132 fg = 9.33 ug.
    hyphae = by_name(carbon_from_hyphae(10.0, 3.0))
    assert hyphae["mean dry mass"] == approx(9.3306, rel=1e-4)
    assert {factor.group for factor in CARBON_FACTORS} == {"bacteria", "fungi"}


def test_length_of_hyphae_by_crossings() -> None:
    # Newman 1966: R = pi N A / (2 H). On paper: 14 crossings of 1 mm of line on 200 mm2 are 4.398 m, from 2 mL diluted threefold
    # 6.597 m/mL.
    found = hyphal_length_m_per_ml([14, 14], grid_line_mm=1.0, filter_mm2=200.0, filtered_ml=2.0, dilution=3.0)
    assert found.value == approx(6.597, abs=1e-3)


# --- outliers, ratios, basis -----------------------------------------------------------------------------------------


def test_grubbs_and_cochran_have_their_tables() -> None:
    # ISO 5725-2:1994, Table 5 (one largest, two-sided; from memory): p = 10: 2.290 at 5 %, 2.482 at 1 %.
    assert grubbs_critical(10, 0.05) == approx(2.290, abs=1e-3) and grubbs_critical(10, 0.01) == approx(2.482, abs=1e-3)
    # On paper: nine noughts and one 10: mean 1, sd root 10: 9 / 3.162 = 2.846.
    found = grubbs({**{str(i): 0.0 for i in range(9)}, "far": 10.0})
    assert found.statistic == approx(2.846, abs=1e-3) and found.suspect == "far" and found.verdict == "outlier"
    # ISO 5725-2:1994, Table 4: C for p = 4 groups of n = 3: 0.768 at 5 %, 0.864 at 1 %. On paper: variances 1, 1, 1, 4.
    three = {"a": [0.0, 1.0, 2.0], "b": [0.0, 1.0, 2.0], "c": [0.0, 1.0, 2.0], "d": [0.0, 2.0, 4.0]}
    wide = cochran(three)
    assert wide.statistic == approx(4.0 / 7.0) and wide.suspect == "d" and wide.verdict == "inconspicuous"
    assert (wide.critical_5_percent, wide.critical_1_percent) == approx((0.768, 0.864), abs=2e-3)


def test_ratios_of_uncertain_parts() -> None:
    # On paper: Fieller for 10 (1) over 5 (0.5) with z = 1.96: roots of (25 - 0.9604) r^2 - 100 r + (100 - 3.8416).
    found = fieller(10.0, 5.0, 1.0, 0.5)
    a, b, c = 25.0 - 1.959964**2 * 0.25, 50.0, 100.0 - 1.959964**2
    root = math.sqrt(b * b - a * c)
    assert (found.low, found.value, found.high) == approx(((b - root) / a, 2.0, (b + root) / a))
    # On logs: relative errors of 10 % each join to 14.1 %.
    logs = log_ratio(10.0, 5.0, 1.0, 0.5)
    assert (logs.low, logs.high) == approx((2.0 * math.exp(-1.959964 * 0.141421), 2.0 * math.exp(1.959964 * 0.141421)), rel=1e-5)
    parts = ratio_from_parts(10.0, 5.0, 1.0, 1.0, "mass")
    assert parts.ratio == approx(2.0) and parts.log_sd == approx(math.hypot(0.1, 0.2))


@pytest.mark.parametrize(("value", "shown"), [(123.0, 120.0), (125.0, 120.0), (0.0456, 0.046), (-987.0, -990.0), (0.0, 0.0)])
def test_two_digits_as_counts_are_reported(value: float, shown: float) -> None:
    # ISO 7218 (from memory): two significant digits; 5 goes to the even digit.
    assert two_digits(value) == approx(shown)


def test_repeats_at_once_stand_together() -> None:
    def one(signal: float, **more: object) -> StudyReading:
        return StudyReading(role="sample", unit="x", what="tea", signal=signal, sample="s", **more)  # type: ignore[arg-type]

    groups = replicate_groups([one(1.0), one(2.0), one(3.0, dilution=2.0), one(9.0, above_range=True)])
    assert sorted(len(group) for group in groups.values()) == [1, 2]
