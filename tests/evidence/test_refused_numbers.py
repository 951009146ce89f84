"""Numbers that no trial can show are refused with a reason, and numbers out of all reach end in words, not in a fault."""

from __future__ import annotations

import math

import pytest

from aerobe.errors import UnusableRecord
from aerobe.evidence import TrialContrast, weigh


def trial(key: str = "t", **fields: object) -> TrialContrast:
    given: dict[str, object] = {"recipe": "kelp", "against": "plain", "effect": 0.2, "variance": 0.01, "site": key, "brews": 4}
    return TrialContrast(key=key, **{**given, "brews_against": 4, **fields})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "fields",
    [
        {"low": 0.1},
        {"low": 0.3, "high": 0.1},
        {"low": 0.2, "high": 0.2},
        {"low": 0.25, "high": 0.4},
        {"low": -math.inf, "high": math.inf},
        {"low": math.nan, "high": 1.0},
        {"df": math.nan},
        {"df": -3.0},
        {"brews": -1},
        {"moderators": {"temperature_degc": math.nan}},
        {"results": (0.1, math.inf)},
    ],
)
def test_what_no_trial_can_show_is_refused(fields: dict[str, object]) -> None:
    with pytest.raises(UnusableRecord, match="Trial t "):
        trial(**fields)


def test_errors_beyond_all_reach_end_in_words() -> None:
    trials = [trial(f"t{i}", variance=2e5, planned=True, blinded=True, killed_control=True) for i in range(3)]
    assert weigh(trials, "kelp", "plain").answer == "cannot tell"
    assert weigh([trial(variance=2e5)], "kelp", "plain").says
