"""What an axis says of itself."""

from __future__ import annotations

import pytest

from aerobe.charts._plot import Axis


@pytest.mark.parametrize(
    ("title", "said"),
    [
        ("Living biomass [µg C/mL]", "Living biomass [µg C/mL, log scale]"),
        ("Ratio", "Ratio (log scale)"),
        ("dose [g/L, log scale]", "dose [g/L, log scale]"),
        ("", ""),
    ],
)
def test_a_log_scale_is_said_where_there_is_one(title: str, said: str) -> None:
    assert Axis(title=title, kind="log").words == said
    assert Axis(title=title).words == title
