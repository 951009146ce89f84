"""A ratio in words keeps its meaning however wide its interval."""

from __future__ import annotations

import pytest

from aerobe.units import ratio_words


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        ((2.12, 0.00055, 8170.0), "2.1 (0.00055 to 8200)"),  # two trials that disagree: not "0 (0 to 8200)"
        ((1.882, 1.697, 2.088), "1.88 (1.70 to 2.09)"),
        ((0.45, 0.02, 11.0), "0.45 (0.020 to 11)"),
    ],
)
def test_each_end_keeps_digits_of_its_own(ratio: tuple[float, float, float], words: str) -> None:
    assert ratio_words(*ratio) == words
