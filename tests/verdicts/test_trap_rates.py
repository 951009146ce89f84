"""A short round of the benchmark of traps: claims against the truth stay rare, or the trial is refused with its reason."""

from __future__ import annotations

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
