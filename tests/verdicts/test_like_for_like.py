"""The textbook check beside a verdict takes out what the verdict takes out, or says why it differs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from statsmodels.api import OLS

from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, LostBrew, judge

TRIAL = Trial(
    key="t",
    name="t",
    question="two recipes",
    arms=(Arm(key="r0", recipe="r0", is_standard=True), Arm(key="r1", recipe="r1")),
    margin_ratio=1.25,
)
OFF = (0.11, -0.2, 0.07, 0.16, -0.15, 0.02, -0.05, 0.18, -0.12, 0.09, -0.17, 0.03)  # invented brews
WEEKS = (0, 1, 2, 3, 5, 7, 2, 4, 6, 8, 9, 10)  # the second arm was brewed later on the whole


def season() -> list[BrewResult]:
    return [
        BrewResult(brew=f"b{i}", arm="r0" if i < 6 else "r1", value=40.0 * math.exp(off + 0.1 * week), began_h=168.0 * week)
        for i, (off, week) in enumerate(zip(OFF, WEEKS, strict=True))
    ]


def test_a_drift_that_the_verdict_takes_out_is_taken_out_by_the_check() -> None:
    # outside truth: ordinary least squares of statsmodels with arm and date
    rows = season()
    found = judge(TRIAL, rows)
    assert "drift" in [rival.name for rival in found.rivals]
    (check,) = found.checks
    y = np.log([row.value for row in rows])
    fit = OLS(y, np.column_stack([np.ones(12), [row.arm == "r1" for row in rows], WEEKS]).astype(float)).fit()
    assert check.estimate == pytest.approx(fit.params[1]) == pytest.approx(found.comparisons[0].effect)
    assert check.p == pytest.approx(fit.pvalues[1], rel=1e-5)
    assert "Welch" not in check.method and "taken out" in check.method


def test_a_dead_brew_is_out_of_the_check_as_well() -> None:
    rows = [replace(row, began_h=None) for row in season()]
    rows[3] = replace(rows[3], value=1.0)
    found = judge(TRIAL, rows)
    assert found.left_out == "b3"
    logs = np.log([row.value for row in rows])
    welch = next(check for check in found.checks if check.method.startswith("Welch"))
    assert welch.p == pytest.approx(stats.ttest_ind(logs[6:], np.delete(logs[:6], 3), equal_var=False).pvalue)


def test_a_check_says_which_brews_it_passes_over() -> None:
    rows = [replace(row, began_h=None) for row in season()]
    plain = judge(TRIAL, rows)
    assert plain.checks and not any("passed over" in check.method for check in plain.checks)
    lost = judge(TRIAL, rows, lost=[LostBrew(arm="r1")])
    assert all("1 brew without a result passed over" in check.method for check in lost.checks) and lost.checks
