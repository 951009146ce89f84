"""Numbers and units as people print them."""

from __future__ import annotations

import pytest

from aerobe.records import Reading, result_as_typed
from aerobe.units import BIOMASS, CONDUCTIVITY, TEMPERATURE, given, parse_number, same_unit, signs, signs_of_page


@pytest.mark.parametrize(
    ("plain", "printed"),
    [
        ("12 ug C/mL", "12 µg C/mL"),
        ("at 20 degC", "at 20 °C"),
        ("68 deg F", "68 °F"),
        ("30 +- 3 mg/L", "30 ± 3 mg/L"),
        ("1500 uS/cm", "1500 µS/cm"),
        ("2 m3/h into 3 m2", "2 m³/h into 3 m²"),
        ("a hug, degCs and M3", "a hug, degCs and M3"),
    ],
)
def test_signs_of_text(plain: str, printed: str) -> None:
    assert signs(plain) == printed == signs(printed)


def test_a_page_keeps_what_fields_send_what_is_copied_and_what_was_typed() -> None:
    page = (
        '<p title="ug C/mL" aria-label="ug C/mL">5 ug C/mL</p><option value="degC">degC</option>'
        "<code>12 ug C/mL</code><textarea>1 +- 2</textarea><script>'degC'</script>"
    )
    assert signs_of_page(page) == (
        '<p title="ug C/mL" aria-label="µg C/mL">5 µg C/mL</p><option value="degC">°C</option>'
        "<code>12 ug C/mL</code><textarea>1 +- 2</textarea><script>'degC'</script>"
    )


def test_printed_signs_are_read_again() -> None:
    for kind in (BIOMASS, CONDUCTIVITY, TEMPERATURE):
        for unit in kind.accepts:
            assert kind.convert(300.0 if unit == "K" else 20.0, signs(unit)) == kind.convert(300.0 if unit == "K" else 20.0, unit)


@pytest.mark.parametrize(
    ("value", "shown"),
    [(20.0, "20"), (1203.5, "1203.5"), (0.5, "0.5"), (18.92705892, "18.93"), (0.0, "0"), (250000.0, "250000"), (12.25, "12.25")],
)
def test_what_was_given_is_shown_as_it_was_given(value: float, shown: str) -> None:
    assert given(value) == shown


@pytest.mark.parametrize(
    ("typed", "shown", "marks"),
    [
        ("1203,50", "1203,50", {}),
        ("42.5 ug C/mL", "42.5", {}),
        ("42.5 µg C/mL", "42.5", {}),
        ("<5", "below 5", {"below_detection": True}),
        ("> 1e3", "above 1e3", {"above_range": True}),
        ("a cell of a table", "7.25", {}),
    ],
)
def test_a_result_is_shown_as_it_was_typed(typed: str, shown: str, marks: dict[str, bool]) -> None:
    bare = typed.lstrip("<> ").removesuffix("ug C/mL").removesuffix("µg C/mL")
    signal = parse_number(bare) if bare[:1].isdigit() else 7.25
    reading = Reading(
        key="r", brew="b", assay="a", role="sample", elapsed_h=1.0, signal=signal, unit="ug C/mL", typed_as=typed, **marks
    )
    assert result_as_typed(reading) == shown


def test_a_unit_is_the_same_whichever_keyboard_wrote_it() -> None:
    assert same_unit("ug C/mL", "\u00b5g C/mL") and same_unit("\u03bcg C/mL", "UG C/mL") and same_unit("degC", "\u00b0C")
    assert not same_unit("ug C/mL", "mg C/mL") and not same_unit("cells/mL", "cells/g")
