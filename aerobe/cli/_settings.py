"""The command that shows and changes the display units of a notebook."""

from __future__ import annotations

from aerobe.cli._common import OWN, Where, now, say, then
from aerobe.units import guess_display_units


def settings(
    *,
    volume: str = "",
    temperature: str = "",
    oxygen: str = "",
    weight: str = "",
    length: str = "",
    currency: str = "",
    date: str = "",
    clock: str = "",
    decimal: str = "",
    region: str = "",
    where: Where = OWN,
) -> None:
    """Show or change the units, the money, the dates and the decimal sign of pages, charts, reports and answers.

    Data files and JSON stay in L, degC, mg/L and g. A number typed without a unit is in the chosen one.

    Parameters
    ----------
    volume
        "L", "US gal" or "imp gal"; air flow and doses go with it.
    temperature
        "C" or "F".
    oxygen
        "mg/L" or "%".
    weight
        "g" or "oz".
    length
        "m" or "ft".
    currency
        Three letters, such as EUR or USD. Prices are not converted.
    date
        "y-m-d", "d.m.y", "d/m/y" or "m/d/y".
    clock
        "24 h" or "12 h".
    decimal
        "." or ",".
    region
        Begin with what people of a region use: --region US, --region de-AT.
    """
    from aerobe.errors import NotFound
    from aerobe.usecases.notebook import display_units_of, set_display_units

    asked = {"volume": volume, "temperature": _degrees(temperature), "oxygen": oxygen, "weight": weight, "length": length}
    asked |= {"currency": currency, "date": date, "clock": _hours(clock), "decimal": decimal}
    chosen = {name: text for name, text in asked.items() if text}
    with where.open() as book:
        if region:
            guess = guess_display_units(region if len(region) > 2 else f"und-{region}")
            if guess is None:
                raise NotFound(f"'{region}' is no region that is on file.", "Name each unit instead: aerobe settings --help.")
            chosen = guess.choices() | chosen
        units = set_display_units(book, chosen, now=now()) if chosen else display_units_of(book)
    lines = [f"{name}: {choice or '(none named)'}" for name, choice in units.choices().items()]
    hint = [] if chosen else then('settings --volume "US gal" --temperature F', "settings --region GB")
    say(units.choices(), as_json=where.json, text=[*lines, *hint])


def _degrees(text: str) -> str:
    return {"C": "\u00b0C", "F": "\u00b0F", "degC": "\u00b0C", "degF": "\u00b0F"}.get(text, text)


def _hours(text: str) -> str:
    return {"24": "24 h", "12": "12 h", "24h": "24 h", "12h": "12 h"}.get(text, text)
