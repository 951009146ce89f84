"""A season that goes along with the arms, in part: taken out where it is seen, as statsmodels does."""

from __future__ import annotations

import math

import numpy as np
import pytest

from aerobe.records import Arm, Trial
from aerobe.verdicts import BrewResult, fit_effects, judge, lay_out
from aerobe.verdicts._drift import take_out_drift

ARMS = (Arm(key="r0", recipe="r0", is_standard=True), Arm(key="r1", recipe="r1"))
TRIAL = Trial(key="t", name="t", question="two recipes", arms=ARMS)
EARLY, LATE = (0, 1, 2, 3, 5, 7), (2, 4, 6, 8, 9, 10)  # weeks in which each arm was brewed
ROWS = np.array([[-1.0, 1.0]])


def season(rng: np.random.Generator, a_week: float, first: tuple[int, ...] = EARLY, second: tuple[int, ...] = LATE):  # type: ignore[no-untyped-def]
    return [
        BrewResult(
            brew=f"{name}-{week}",
            arm=name,
            value=math.exp(3.7 + a_week * week + 0.25 * rng.normal()),
            began_h=168.0 * week,
        )
        for name, weeks in (("r0", first), ("r1", second))
        for week in weeks
    ]


def test_a_drift_along_with_an_arm_is_taken_out_as_by_statsmodels() -> None:
    sm = pytest.importorskip("statsmodels.api")
    rows = season(np.random.default_rng(1), 0.1)
    only = judge(TRIAL, rows).comparisons[0]
    weeks, logs = np.array([*EARLY, *LATE]), np.log([row.value for row in rows])
    second = np.repeat([0.0, 1.0], 6)
    fit = sm.OLS(logs, np.column_stack([np.ones(12), second, weeks])).fit()
    assert only.effect == pytest.approx(fit.params[1]) and only.effect != pytest.approx(logs[6:].mean() - logs[:6].mean())
    layout, said = take_out_drift(lay_out([0] * 6 + [1] * 6), ROWS, rows, logs)
    assert said is not None and said.name == "drift" and layout.df == 9
    assert fit_effects(logs, layout, ROWS).scatter == pytest.approx(fit.mse_resid)


def test_a_drift_that_is_not_seen_or_is_spread_evenly_is_left_in_the_scatter() -> None:
    rows = season(np.random.default_rng(2), 0.0, EARLY, (0, 2, 3, 4, 6, 7))
    logs = np.log([row.value for row in rows])
    for values in (logs, logs + 0.3 * np.array([row.began_h for row in rows if row.began_h is not None]) / 168.0):
        _, said = take_out_drift(lay_out([0] * 6 + [1] * 6), ROWS, rows, values)
        assert said is None
    unknown = [*rows[:-1], BrewResult(brew="x", arm="r1", value=40.0)]
    assert take_out_drift(lay_out([0] * 6 + [1] * 6), ROWS, unknown, logs)[1] is None


def test_a_season_along_with_an_arm_makes_few_false_claims() -> None:
    rng = np.random.default_rng(3)
    claims = sum(judge(TRIAL, season(rng, 0.1), extent="comparisons").comparisons[0].call != "can't tell yet" for _ in range(100))
    assert claims <= 11  # left in the scatter: 19 % of many; 5 % with room for counting 100 trials
