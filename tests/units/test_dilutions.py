"""Dilutions as people and files write them: one reader for all."""

from __future__ import annotations

import pytest

from aerobe.errors import NotAQuantity
from aerobe.units import dilution_factor

# Final volume over sample volume (common practice, no source): `1:10` is one part made up to ten.
WRITTEN = {"10": 10.0, "1:10": 10.0, "1/20": 20.0, "1 in 10": 10.0, " 1 : 2,5 ": 2.5, "10^-3": 1000.0, "1e-4": 1e4, "1": 1.0}


@pytest.mark.parametrize("text", WRITTEN)
def test_a_dilution_is_final_volume_over_sample_volume(text: str) -> None:
    assert dilution_factor(text) == WRITTEN[text]


@pytest.mark.parametrize("text", ["0.1", "1:0.5", "ten", ""])
def test_what_would_concentrate_or_cannot_be_read_is_refused_with_a_remedy(text: str) -> None:
    with pytest.raises(NotAQuantity) as fault:
        dilution_factor(text)
    assert fault.value.remedy
