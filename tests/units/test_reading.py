"""Text to quantities: decimal commas and groups of thousands are read, what only looks like a number is refused."""

from __future__ import annotations

import time

import pytest

from aerobe.errors import NotAQuantity
from aerobe.units import COUNT, OXYGEN, PH, RATE, VOLUME, Kind, parse_number


# A group of thousands has three digits after its separator: SI Brochure, 9th edition 2019, section 5.4.4 (from memory).
@pytest.mark.parametrize(
    ("kind", "typed", "value"),
    [
        (RATE, "25 1/h", 25.0),
        (RATE, "25 /h", 25.0),
        (VOLUME, "5 000 L", 5000.0),
        (VOLUME, "5\u202f000,5 L", 5000.5),
        (VOLUME, "1'000 L", 1000.0),
        (VOLUME, "1.234,5 L", 1234.5),
        (COUNT, "1 000 000 /mL", 1e6),
        (COUNT, "3 /100 mL", 0.03),
        (COUNT, "2e6 /mL", 2e6),
        (OXYGEN, "-0,2mg/L", -0.2),
        (PH, "7.", 7.0),
    ],
)
def test_a_number_ends_where_its_unit_begins(kind: Kind, typed: str, value: float) -> None:
    assert kind.read(typed) == pytest.approx(value)


@pytest.mark.parametrize("typed", ["0.000.001", "0 001", "0,001,000.5", "00.000.001", "-0'001"])
def test_no_group_of_thousands_begins_with_a_nought(typed: str) -> None:
    with pytest.raises(NotAQuantity):
        parse_number(typed)


@pytest.mark.parametrize("typed", ["12 34 L", "1 2345 L", "1 23 L", "5 L\nx", "5 L 6", "", "L", "1,2,3 L", "1e400 L"])
def test_what_is_no_quantity_is_refused(typed: str) -> None:
    with pytest.raises(NotAQuantity) as found:
        VOLUME.read(typed)
    assert found.value.remedy


@pytest.mark.parametrize(
    "typed", ["1" * 500_000, "1 " * 250_000, "5" + " " * 500_000 + "x", "." * 500_000, "1" * 500_000 + "\nx"]
)
def test_a_text_without_end_is_refused_at_once_and_not_quoted_whole(typed: str) -> None:
    began = time.thread_time()
    for read in (VOLUME.read, parse_number):
        with pytest.raises(NotAQuantity) as found:
            read(typed)
        assert len(str(found.value)) < 600
    assert time.thread_time() - began < 1.0
