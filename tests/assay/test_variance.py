"""Components of scatter against certified values and a mixed-model library."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from aerobe.assay import cochran, cochran_critical, components, grubbs, grubbs_critical, mandel
from aerobe.errors import NotEnoughData


def nist(name: str) -> tuple[list[list[float]], list[float]]:
    import scipy.stats

    text = (Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova" / f"{name}.dat").read_text().splitlines()
    groups: dict[str, list[float]] = {}
    for line in text[60:]:
        if line.strip():
            group, value = line.split()
            groups.setdefault(group, []).append(float(value))
    certified = [
        float(item)
        for line in text[:60]
        if line.startswith(("Between", "Within"))
        for item in re.findall(r"[-+]?\d\.\d+E[-+]\d+", line)
    ]
    return list(groups.values()), certified


# ASTM E691 glucose in serum, material A, eight laboratories; answers by R's anova and E691's own print.
GLUCOSE = {
    "1": (41.03, 41.45, 41.37),
    "2": (41.17, 42.00, 41.15),
    "3": (41.01, 40.68, 42.66),
    "4": (39.37, 42.37, 42.63),
    "5": (41.88, 41.19, 41.32),
    "6": (43.28, 40.50, 42.28),
    "7": (41.08, 41.27, 39.02),
    "8": (43.36, 42.65, 41.72),
}


@pytest.mark.parametrize("name", ["SiRstv", "AtmWtAg"])
def test_components_of_equal_groups_are_those_of_the_certified_analysis_of_variance(name: str) -> None:
    # NIST StRD, certified mean squares; where groups are of one size and differ, restricted likelihood gives the same components.
    groups, (_, between, _, _, within) = nist(name)
    labels = [str(place) for place, group in enumerate(groups) for _ in group]
    found = components([value for group in groups for value in group], {"group": labels}, intervals=False)
    assert found.sd("test") == approx(math.sqrt(within), rel=1e-5)
    assert found.sd("group") == approx(math.sqrt((between - within) / len(groups[0])), rel=1e-5)


def test_mandel_statistics_of_glucose() -> None:
    found = mandel(GLUCOSE)
    assert found.h == approx((-0.3877, -0.1292, -0.1127, -0.1017, -0.0907, 0.8277, -1.7516, 1.7461), abs=5e-5)  # R
    assert found.k == approx((0.2097, 0.4562, 0.9977, 1.704, 0.3448, 1.3244, 1.1736, 0.7735), abs=5e-5)  # R
    # ISO 5725-2 tables 6 and 7, p = 8, n = 3, from memory: h 2.06 (1 %), 1.75 (5 %); k 1.96 (1 %), 1.67 (5 %).
    assert found.h_critical == approx((1.75, 2.06), abs=0.006) and found.k_critical == approx((1.67, 1.96), abs=0.006)
    assert [text.split(":")[1].split()[0] for text in found.flagged()] == ["4", "7"]


# Printed critical values (ISO 5725-2 tables 4 and 5, from memory): Cochran p 8 n 3: 0.516 and 0.615; Grubbs p 8: 2.126 and 2.274.
def test_critical_values_of_the_outlier_tests() -> None:
    assert cochran_critical(8, 3, 0.05) == approx(0.516, abs=6e-4) and cochran_critical(8, 3, 0.01) == approx(0.615, abs=6e-4)
    assert grubbs_critical(8, 0.05) == approx(2.126, abs=1e-3) and grubbs_critical(8, 0.01) == approx(2.274, abs=1e-3)


def test_outliers_are_named_and_kept() -> None:
    found = grubbs({"a": 10.0, "b": 10.2, "c": 9.9, "d": 10.1, "e": 14.0})
    assert (found.suspect, found.verdict) == ("e", "outlier") and "stays in the data" in found.says
    wide = cochran({"x": (1.0, 1.1, 0.9), "y": (2.0, 2.1, 1.9), "z": (3.0, 9.0, 6.0), "w": (4.0, 4.1, 4.2)})
    assert (wide.suspect, wide.verdict) == ("z", "outlier")


DYESTUFF = {
    "A": (1545, 1440, 1440, 1520, 1580),
    "B": (1540, 1555, 1490, 1560, 1495),
    "C": (1595, 1550, 1605, 1510, 1560),
    "D": (1445, 1440, 1595, 1465, 1545),
    "E": (1595, 1630, 1515, 1635, 1625),
    "F": (1520, 1455, 1450, 1480, 1445),
}
PASTES = """
62.8 62.6 60.1 62.3 62.7 63.1 60.0 61.4 57.5 56.9 61.1 58.9 58.7 57.5 63.9 63.1 65.4 63.7 57.1 56.4
56.9 58.6 64.7 64.5 55.1 55.1 54.7 54.2 58.8 57.5 63.4 64.9 59.3 58.1 60.5 60.0 62.5 62.6 61.0 58.7
56.9 57.7 59.2 59.4 65.2 66.0 64.8 64.1 54.8 54.8 64.0 64.0 57.7 56.8 58.3 59.3 59.2 59.2 58.9 56.6
"""


def test_batches_of_dyestuff() -> None:
    # Davies and Goldsmith's dyestuff; lme4 1.1-31 in R: variances 1764.05, 2451.25, criterion 319.654276842.
    found = components(
        [v for group in DYESTUFF.values() for v in group], {"batch": [name for name in DYESTUFF for _ in range(5)]}
    )
    assert [share.sd**2 for share in found.shares] == approx([1764.05, 2451.25], rel=1e-6)
    assert found.deviance == approx(319.654276842, abs=1e-8)
    assert (found.fixed[0], found.fixed_sd[0]) == approx((1527.5, 19.3834121788), rel=1e-6)


def test_casks_in_batches_of_paste() -> None:
    # Davies and Goldsmith's paste, nested; lme4 in R: 8.433666, 1.657311, 0.678000; criterion 246.990745853; mean se 0.676870215.
    y = [float(v) for v in PASTES.split()]
    found = components(y, {"batch": [i // 6 for i in range(60)], "cask": [i // 2 for i in range(60)]})
    assert [found.sd(name) ** 2 for name in ("batch", "cask", "test")] == approx([1.657311, 8.433666, 0.678000], rel=5e-6)
    assert found.deviance == approx(246.990745853, abs=1e-8)
    assert (found.fixed[0], found.fixed_sd[0]) == approx((60.0533333333, 0.676870215), rel=1e-6)


def test_unbalanced_crossed_effects_agree_with_statsmodels() -> None:
    import pandas as pd
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(5)
    day, person = np.repeat(range(6), 8), np.tile(np.repeat(range(4), 2), 6)
    keep = rng.random(48) > 0.2
    y = 50 + rng.normal(0, 3, 6)[day] + rng.normal(0, 2, 4)[person] + rng.normal(0, 1, 48)
    frame = pd.DataFrame({"y": y, "day": day, "person": person, "one": 1})[keep]
    theirs = smf.mixedlm("y ~ 1", frame, groups="one", vc_formula={"day": "0 + C(day)", "person": "0 + C(person)"}).fit(reml=True)
    ours = components(list(frame.y), {"day": list(frame.day), "person": list(frame.person)}, intervals=False)
    assert ours.sd("day") ** 2 == approx(theirs.vcomp[0], rel=2e-3) and ours.sd("person") ** 2 == approx(
        theirs.vcomp[1], rel=2e-3
    )
    assert ours.sd("test") ** 2 == approx(theirs.scale, rel=2e-4)


def test_a_component_that_is_not_there_is_zero_with_an_upper_limit() -> None:
    rng = np.random.default_rng(3)
    found = components(list(rng.normal(0, 1, 40)), {"day": [i // 8 for i in range(40)]})
    assert found.shares[0].low == 0.0 and 0 < found.shares[0].high < 2


@pytest.mark.slow
def test_profile_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(24):
        y = np.repeat(rng.normal(0, 1.0, 8), 3) + rng.normal(0, 0.5, 24)
        share = components(list(y), {"day": [i // 3 for i in range(24)]}).shares[0]
        hits += share.low <= 1.0 <= share.high
    assert hits >= 17  # 22 expected of 24 at 90 %


@pytest.mark.parametrize(
    "factors", [{"day": [1] * 6}, {"day": range(6)}, {"day": [1, 2]}, {"day": [1, 1, 1, 2, 2, 2], "lot": [1, 1, 1, 2, 2, 2]}]
)
def test_designs_that_cannot_tell_are_refused(factors: dict) -> None:
    with pytest.raises(NotEnoughData) as caught:
        components([1.0, 2.0, 3.0, 4.0, 5.0, 7.0], {name: list(labels) for name, labels in factors.items()})
    assert caught.value.remedy
