"""Display units: the units, the money, the dates and the decimal sign that a person reads and types in. Inside stay house units.

`DisplayUnits` holds the choice; `_display_text` shows sentences, pages, tables and single values in it. House units come in,
the chosen ones go out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, fields, replace

from aerobe.errors import UnusableRecord

CHOICES: dict[str, tuple[str, ...]] = {
    "volume": ("L", "US gal", "imp gal"),
    "temperature": ("°C", "°F"),
    "oxygen": ("mg/L", "%"),
    "weight": ("g", "oz"),
    "length": ("m", "ft"),
    "date": ("y-m-d", "d.m.y", "d/m/y", "m/d/y"),
    "clock": ("24 h", "12 h"),
    "decimal": (".", ","),
}
# ISO 4217:2015, list one, codes in wide use (from memory); any three capital letters are taken.
CURRENCIES = (
    *("AUD", "BRL", "CAD", "CHF", "CNY", "CZK", "DKK", "EUR", "GBP", "INR"),
    *("JPY", "KES", "MXN", "NOK", "NZD", "PLN", "SEK", "USD", "ZAR"),
)
# Water of 20 degC under air of 101.325 kPa. Source: Benson and Krause 1984, as in the table of the USGS (from memory).
FULL_AT_20_DEGC = 9.09  # [mg/L]
IN_MONEY = "in your currency"  # behind an amount in a sentence; the code of the currency stands there where one was chosen
_LITRES = {"L": 1.0, "US gal": 3.785411784, "imp gal": 4.54609}
_OUNCE = 28.349523125  # [g]
_FOOT = 0.3048  # [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From a house unit to the one shown: shown value = house value x factor + offset, with the name of its unit."""

    unit: str
    factor: float = 1.0
    offset: float = 0.0

    def shown(self, value: float) -> float:
        """A value of the house unit in the unit shown. [unit shown]"""
        return value * self.factor + self.offset


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayUnits:
    """What a person reads and types in. The defaults are the house units.

    Parameters
    ----------
    volume, temperature, oxygen, weight, length
        One of `CHOICES` each. Air flow and doses follow `volume` and `weight`.
    currency
        ISO 4217 code; empty where none was named.
    date, clock, decimal
        Order of a date, hours to 12 or 24, decimal sign: one of `CHOICES` each.
    full_mg_per_l
        Oxygen that is 100 % of saturation. [mg/L]
    as_typed
        What people typed and named: it is shown as it is.
    is_chosen
        Whether somebody chose them: only then a number without a unit is in one of them.
    """

    volume: str = "L"
    temperature: str = "°C"
    oxygen: str = "mg/L"
    weight: str = "g"
    length: str = "m"
    currency: str = ""
    date: str = "y-m-d"
    clock: str = "24 h"
    decimal: str = "."
    full_mg_per_l: float = FULL_AT_20_DEGC
    as_typed: tuple[str, ...] = ()
    is_chosen: bool = False

    def __post_init__(self) -> None:
        for name, known in CHOICES.items():
            if getattr(self, name) not in known:
                raise UnusableRecord(f"'{getattr(self, name)}' is no choice for {name}.", f"Use one of: {', '.join(known)}.")
        if self.currency and not (len(self.currency) == 3 and self.currency.isascii() and self.currency.isupper()):
            raise UnusableRecord(
                f"'{self.currency}' is no currency.", "Give its three letters (ISO 4217), for example EUR, USD or GBP."
            )

    @property
    def is_house(self) -> bool:
        """Whether nothing is shown otherwise than inside; a currency alone does not count."""
        return all(getattr(self, item.name) == item.default for item in fields(self) if item.name in CHOICES)

    def with_choices(self, chosen: Mapping[str, str]) -> DisplayUnits:
        """These units with what was chosen otherwise, by the names of the fields; what has another name is passed over."""
        return replace(
            self,
            volume=chosen.get("volume", self.volume),
            temperature=chosen.get("temperature", self.temperature),
            oxygen=chosen.get("oxygen", self.oxygen),
            weight=chosen.get("weight", self.weight),
            length=chosen.get("length", self.length),
            currency=chosen.get("currency", self.currency).strip().upper(),
            date=chosen.get("date", self.date),
            clock=chosen.get("clock", self.clock),
            decimal=chosen.get("decimal", self.decimal),
            is_chosen=self.is_chosen or bool(chosen),
        )

    def choices(self) -> dict[str, str]:
        """What was chosen, by the names of the fields."""
        return {name: str(getattr(self, name)) for name in (*CHOICES, "currency")}

    def scale(self, unit: str) -> Scale | None:
        """How a house unit is shown; None if as it is. `unit` may be written in letters (degC) or signs (°C)."""
        return self.scales().get(unit)

    def scales(self) -> dict[str, Scale]:
        """Every house unit that is shown otherwise, by its names."""
        found: dict[str, Scale] = {}
        if self.temperature == "°F":
            found |= dict.fromkeys(("degC", "°C", "deg C"), Scale(unit="°F", factor=1.8, offset=32.0))
        if self.oxygen == "%":
            percent = 100.0 / self.full_mg_per_l
            found["mg/L"] = Scale(unit="% of saturation", factor=percent)
            found |= dict.fromkeys(("mg/L/h", "mg/L an hour"), Scale(unit="% of saturation an hour", factor=percent))
        litres, gallon = _LITRES[self.volume], self.gallon
        if gallon:
            found |= dict.fromkeys(("L", "litre", "litres"), Scale(unit=gallon, factor=1.0 / litres))
            found["L/min"] = Scale(unit=f"{gallon}/h", factor=60.0 / litres)
            found["L/h"] = Scale(unit=f"{gallon}/h", factor=1.0 / litres)
        if gallon or self.weight == "oz":
            solid, per = ("oz", 1.0 / _OUNCE) if self.weight == "oz" else ("g", 1.0)
            found["g/L"] = Scale(unit=f"{solid}/{gallon or 'L'}", factor=per * litres)
        if self.weight == "oz":
            found["g"] = Scale(unit="oz", factor=1.0 / _OUNCE)
            found["kg"] = Scale(unit="lb", factor=1000.0 / (16.0 * _OUNCE))
        if self.length == "ft":
            found["m"] = Scale(unit="ft", factor=1.0 / _FOOT)
            found["cm"] = Scale(unit="in", factor=0.12 / _FOOT)
            found |= dict.fromkeys(("m2", "m²"), Scale(unit="sq ft", factor=_FOOT**-2))
        if self.currency:
            found |= dict.fromkeys(("money", IN_MONEY), Scale(unit=self.currency))
        return found

    @property
    def gallon(self) -> str:
        """The chosen gallon as written behind a number; empty for litres."""
        return {"L": "", "US gal": "gal", "imp gal": "imp gal"}[self.volume]

    def decimals(self, text: str) -> str:
        """A written number with the chosen decimal sign."""
        return text.replace(".", ",") if self.decimal == "," else text

    def assumed(self, kind: str) -> str:
        """The unit that a number without one is in, by the name of its kind of quantity; empty where none is assumed."""
        if not self.is_chosen:
            return ""
        return {
            "volume": self.volume,
            "temperature": self.temperature,
            "dissolved oxygen": "mg/L" if self.oxygen == "mg/L" else "",
            "air flow": "L/min" if self.volume == "L" else f"{self.volume}/h",
            "dose": (self.scale("g/L") or Scale(unit="g/L")).unit,
            "money": self.currency,
        }.get(kind, "")

    def says(self) -> str:
        """The choice in one line."""
        volume = {"L": "litres", "US gal": "US gallons", "imp gal": "imperial gallons"}[self.volume]
        oxygen = "mg/L of oxygen" if self.oxygen == "mg/L" else "oxygen in % of saturation"
        weight = "grams" if self.weight == "g" else "ounces"
        length = "metres" if self.length == "m" else "feet"
        day = {"y-m-d": "2026-05-31", "d.m.y": "31.5.2026", "d/m/y": "31/5/2026", "m/d/y": "5/31/2026"}[self.date]
        hour = "14:30" if self.clock == "24 h" else "2:30 pm"
        money = self.currency or "no currency named"
        return ", ".join((volume, self.temperature, oxygen, weight, length, money, day, hour, f"1{self.decimal}5"))

    def legend(self) -> str:
        """What stands at the foot of a page that shows other units than files keep; empty where they are the same."""
        if self.is_house:
            return ""
        full = ""
        if self.oxygen == "%":
            full = f" 100 % of saturation is taken as {self.decimals(f'{self.full_mg_per_l:.3g}')} mg/L here."
        return f"Shown in {self.says()}.{full} Data files and JSON keep L, °C, mg/L, g, m and the decimal point."


_NOW: ContextVar[DisplayUnits | None] = ContextVar("display units", default=None)


def display_units() -> DisplayUnits:
    """The display units of whoever asks now; house units where nobody chose."""
    return _NOW.get() or DisplayUnits()


def typed_units() -> DisplayUnits | None:
    """What is assumed of numbers typed without a unit; None where a text comes from no person who chose."""
    return _NOW.get()


def use_display_units(units: DisplayUnits | None) -> None:
    """From here on, whatever this thread or task shows and reads is in these units."""
    _NOW.set(units)


@contextmanager
def shown_in(units: DisplayUnits | None) -> Iterator[None]:
    """Within: whatever is shown and read is in these units."""
    token = _NOW.set(units)
    try:
        yield
    finally:
        _NOW.reset(token)


@contextmanager
def numbers_of_table(separator: str) -> Iterator[None]:
    """Within: numbers of a table are read. Where commas part its columns a program wrote it, with decimal points.

    Parameters
    ----------
    separator
        What stands between the columns: a comma, a semicolon, a tab or another mark.
    """
    with shown_in(typed_units() if separator != "," else replace(display_units(), decimal=".")):
        yield
