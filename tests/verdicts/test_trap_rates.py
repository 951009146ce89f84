"""A short round of the benchmark of traps: claims against the truth stay rare, or the trial is refused with its reason."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.how_honest_is_a_verdict import CASES, count

BY_NAME = {case.name: case for case in CASES}
REFUSED = (
    "60 darker, no control of its hour",
    "kit lot with arm",
    "vessel with arm",
    "operator drift, in order",
    "hours 36 and 20",
    "one brew feeds all",
    "all above range",
    "results typed twice",
    "one brew entered as six, too alike",
    "arm copied",
    "arm copied in another order",
    "arm copied day by day",
    "larger vessels with arm",
    "darker by dose, no control",
)


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_known_is_refused_every_time(name: str) -> None:
    counted = count(BY_NAME[name], 5)
    assert counted.refused == 5 and not any(counted.differences) and not any(counted.sames)


@pytest.mark.parametrize("name", ["8 against 3, noisy", "unequal tests", "lowest brew dropped", "five looks"])
def test_traps_that_are_judged_seldom_claim_against_the_truth(name: str) -> None:
    counted = count(BY_NAME[name], 60)
    # 6 % with room for counting 60 trials: beyond 8 the chance is below one in a hundred.
    assert sum(counted.differences) <= 8 and sum(counted.sames) <= 8


def test_the_count_notices_a_verdict_that_claims_too_much() -> None:
    counted = count(BY_NAME["fair, true 1.6"], 20)
    assert sum(counted.told) >= 3 and len(counted.inside) == 20


def test_one_dead_batch_takes_no_verdict_away_with_days_or_without() -> None:
    # without the dead batch a twofold difference is told 95 times in 100; left in, it hides every one in days
    for name in ("one bad batch, true 2", "one bad batch, in days, true 2"):
        counted = count(BY_NAME[name], 30)
        assert sum(counted.told) >= 18 and not any(counted.differences)


def test_a_block_that_holds_one_of_two_arms_leaves_the_paired_test_as_it_is() -> None:
    from scipy import stats

    from aerobe.verdicts import fit_effects, lay_out

    first, second = np.array([3.1, 3.9, 2.7, 3.3]), np.array([3.6, 4.6, 2.9, 4.1])
    y = np.array([*first, *second, 9.0])  # and a fifth block in which only the second arm stood
    layout = lay_out([0] * 4 + [1] * 5, ["a", "b", "c", "d", "a", "b", "c", "d", "e"])
    found = fit_effects(y, layout, np.array([[-1.0, 1.0]]))
    paired = stats.ttest_rel(second, first)
    assert found.estimate[0] / found.error[0] == pytest.approx(paired.statistic) and found.df[0] == 3.0
