"""Display units: what is shown is the same quantity, and what is not ours to change stays."""

from __future__ import annotations

from dataclasses import replace

import pytest

from aerobe.errors import NotAQuantity, UnusableRecord
from aerobe.units import (
    AIR_FLOW,
    DOSE,
    LENGTH,
    MONEY,
    TEMPERATURE,
    VOLUME,
    DisplayUnits,
    guess_display_units,
    parse_number,
    shown_in,
    shown_markup,
    shown_quantity,
    shown_table,
    shown_text,
)

HOUSE = DisplayUnits()
US = HOUSE.with_choices(
    {"volume": "US gal", "temperature": "\u00b0F", "oxygen": "%", "weight": "oz", "length": "ft"}
    | {"currency": "USD", "date": "m/d/y", "clock": "12 h"}
)
GERMAN = HOUSE.with_choices({"date": "d.m.y", "decimal": ",", "currency": "EUR"})


# NIST Special Publication 811 (2008), appendix B.8 (from memory): 1 US gallon 3.785412 L, 1 ounce 28.34952 g, 1 foot 0.3048 m,
# t/degF = 1.8 t/degC + 32. Oxygen in water of 20 degC at sea level 9.09 mg/L: Benson and Krause 1984 (from memory).
@pytest.mark.parametrize(
    ("house", "shown"),
    [
        ("Drum, 20 L, 0.3 m deep", "Drum, 5.28 gal, 0.984 ft deep"),
        ("18.93 L", "5 gal"),
        ("at 20 degC", "at 68 \u00b0F"),
        ("20.5 \u00b0C", "68.9 \u00b0F"),
        ("warmer or colder, \u00b1 0.5 \u00b0C", "warmer or colder, \u00b1 0.9 \u00b0F"),
        ("0 degC", "32 \u00b0F"),
        ("-10 degC", "14 \u00b0F"),
        ("Oxygen 3.2 (2.6 to 4.0) mg/L", "Oxygen 35 (29 to 44) % of saturation"),
        ("oxygen between 2 and 5 mg/L", "oxygen between 22 and 55 % of saturation"),
        ("an uptake of 2.1 mg/L an hour (1.1 to 3.3)", "an uptake of 23 % of saturation an hour (12 to 36)"),
        ("2 to 4 mg/L of chlorine", "2 to 4 mg/L of chlorine"),
        ("The biomass is 12 mg/L, the oxygen 9.1 mg/L", "The biomass is 12 mg/L, the oxygen 100 % of saturation"),
        ("5-10 L", "1.32-2.64 gal"),
        ("30 L/min", "476 gal/h"),
        ("7.489 g/L", "1 oz/gal"),
        ("0.4 kg", "0.882 lb"),
        ("120 in your currency", "120 USD"),
        ("2026-11-27 14:02 +0100", "11/27/2026 2:02 pm +0100"),
        ("00:30 yesterday", "12:30 am yesterday"),
        ("Wed 18:00", "Wed 6 pm"),
        ("'20 L' is no temperature", "'20 L' is no temperature"),
        ("key 2026-11-27-drum, 20 L/ha, v1.20 L.", "key 2026-11-27-drum, 20 L/ha, v1.20 L."),
        ("12 ug C/mL after 8.5 h", "12 ug C/mL after 8.5 h"),
    ],
)
def test_a_sentence_in_other_units(house: str, shown: str) -> None:
    assert shown_text(US, house) == shown
    assert shown_text(US, shown) == shown, "a text may pass twice"
    assert shown_text(HOUSE, house) == house


@pytest.mark.parametrize(
    ("house", "shown"),
    [
        ("12.25 h on 2026-05-31", "12,25 h on 31.5.2026"),
        ("3.2 (2.6 to 4.0) mg/L", "3,2 (2,6 to 4,0) mg/L"),
        ("doi 10.1000/182.5, aerobe 0.1.0", "doi 10.1000/182.5, aerobe 0.1.0"),
    ],
)
def test_a_decimal_comma_is_for_numbers_alone(house: str, shown: str) -> None:
    assert shown_text(GERMAN, house) == shown


def test_what_people_typed_and_named_stays() -> None:
    kept = replace(US, as_typed=("Bucket 20 L", "added 2 L & a bit at 30 degC"))
    assert shown_text(kept, "Bucket 20 L holds 20 L") == "Bucket 20 L holds 5.28 gal"
    page = '<p title="5 L">added 2 L &amp; a bit at 30 degC</p><samp>7 L</samp><input value="5 L"><b>5 L</b>'
    assert shown_markup(kept, page) == page.replace("<b>5 L</b>", "<b>1.32 gal</b>")


def test_a_table_follows_its_heads() -> None:
    heads, rows = shown_table(
        US,
        ["way", "lowest oxygen [mg/L]", "90 % from", "to", "as typed", "biomass [mg/L]"],
        [["20", "5", "2", "8", "20 L", "20"]],
    )
    assert heads == ["way", "lowest oxygen [% of saturation]", "90 % from", "to", "as typed", "biomass [mg/L]"]
    assert rows == [["20", "55", "22", "88", "20 L", "20"]]
    heads = '<th scope="col">way</th><th scope="col">water [L]</th>'
    page = f"<table><thead><tr>{heads}</tr></thead><tr><td>20</td><td>20</td></tr></table>"
    assert shown_markup(US, page) == page.replace("[L]", "[gal]").replace("<td>20</td><td>20</td>", "<td>20</td><td>5.28</td>")


@pytest.mark.parametrize("value", [0.5, 1.0, 5.0, 12.5, 55.0, 250.0])
def test_what_was_typed_in_gallons_comes_back_as_it_was_typed(value: float) -> None:
    for kind, unit, house in ((VOLUME, "gal", "L"), (AIR_FLOW, "gal/h", "L/min"), (DOSE, "oz/gal", "g/L"), (LENGTH, "ft", "m")):
        assert shown_quantity(US, kind.read(f"{value:g} {unit}"), house) == f"{value:g} {unit}"
    assert shown_quantity(US, TEMPERATURE.read("68 F"), "degC") == "68 \u00b0F"


def test_a_bare_number_is_in_the_chosen_unit_and_a_typed_unit_wins() -> None:
    with shown_in(US):
        assert VOLUME.read("5") == pytest.approx(18.92705892)
        assert VOLUME.read("5 L") == 5.0
        assert TEMPERATURE.read("68") == pytest.approx(20.0)
        assert MONEY.read("12.50 USD") == 12.5
        with pytest.raises(NotAQuantity):
            MONEY.read("12.50 EUR")  # no rate is known here: an amount of other money is none of ours
    with pytest.raises(NotAQuantity), shown_in(HOUSE):
        VOLUME.read("5")


@pytest.mark.parametrize(
    ("typed", "point", "comma"),
    [
        ("1.5", 1.5, 1.5),
        ("1,5", 1.5, 1.5),
        ("1,234", None, 1.234),
        ("1.234", 1.234, None),
        ("0,125", 0.125, 0.125),
        ("1,234.5", 1234.5, 1234.5),
        ("1.234,5", 1234.5, 1234.5),
        ("1,234,567", 1234567.0, 1234567.0),
        ("12,3456", 12.3456, 12.3456),
    ],
)
def test_a_number_that_can_be_read_in_two_ways_is_asked_about(typed: str, point: float | None, comma: float | None) -> None:
    for decimal, value in ((".", point), (",", comma)):
        if value is None:
            with pytest.raises(NotAQuantity, match="can be read as"):
                parse_number(typed, decimal=decimal)
        else:
            assert parse_number(typed, decimal=decimal) == value


@pytest.mark.parametrize(
    ("languages", "told"),
    [
        ("en-US,en;q=0.9", ("US gal", "\u00b0F", "USD", "m/d/y", "12 h", ".")),
        ("de-AT,de;q=0.9,en-US;q=0.5", ("L", "\u00b0C", "EUR", "d.m.y", "24 h", ",")),
        ("de", ("L", "\u00b0C", "EUR", "d.m.y", "24 h", ",")),
        ("en-GB", ("L", "\u00b0C", "GBP", "d/m/y", "24 h", ".")),
        ("es_US.UTF-8", ("US gal", "\u00b0F", "USD", "m/d/y", "12 h", ".")),
    ],
)
def test_a_region_has_its_units(languages: str, told: tuple[str, ...]) -> None:
    # Unicode CLDR 48, as in `regions.toml`.
    found = guess_display_units(languages)
    assert found is not None
    assert (found.volume, found.temperature, found.currency, found.date, found.clock, found.decimal) == told


@pytest.mark.parametrize("languages", ["", "en", "*", "xx-QQ", "C.UTF-8"])
def test_nothing_is_guessed_of_a_region_that_is_not_known(languages: str) -> None:
    assert guess_display_units(languages) is None


def test_a_choice_that_is_none_is_refused() -> None:
    for chosen in ({"volume": "barrels"}, {"currency": "EURO"}, {"decimal": ";"}):
        with pytest.raises(UnusableRecord):
            HOUSE.with_choices(chosen)
