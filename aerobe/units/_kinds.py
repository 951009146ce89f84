"""The kinds of quantity that a brewer types, with the unit each has inside the house."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from aerobe.errors import NotAQuantity, NotFound
from aerobe.units._display import typed_units
from aerobe.units._writing import LONGEST, number, parse_number, shortened

# A group of thousands has three digits after its separator: "25 1/h" is 25 of 1/h, and "5 000 L" five thousand litres.
_QUANTITY = re.compile(
    r"([+\-\u2212]?(?:\d{1,3}(?:[ '\u00a0\u202f]\d{3})+(?!\d)(?:[.,]\d*)?|[\d.,]*\d[.,]?)(?:[eE][+-]?\d+)?)\s*(.*)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of quantity: its house unit and the units it may be typed in.

    `accepts` gives, for each unit, the factor to the house unit; `offsets` what is added to the typed value
    before the factor (only temperature needs it). Values outside `low` to `high` (house unit) are refused,
    since they are slips of the pen and not measurements.
    """

    name: str
    house: str
    accepts: dict[str, float]
    offsets: dict[str, float] = field(default_factory=dict)
    low: float = float("-inf")
    high: float = float("inf")

    def read(self, text: str) -> float:
        """The value in the house unit of text such as `8,2 mg/L`.

        Raises
        ------
        NotAQuantity
            If the number, the unit or the size is not usable. A bare number is in the unit that the person chose
            (`DisplayUnits`); where nobody chose one it is refused, unless the kind has no unit.
        """
        typed = _behind(text.strip()) if self.name == "money" else text.strip()
        match = _QUANTITY.fullmatch(typed) if len(typed) <= LONGEST else None
        if match is None:
            raise NotAQuantity(f"'{shortened(typed)}' is no {self.name}.", self._remedy())
        chosen = typed_units()
        unit = match[2]
        if self.name == "money":
            _require_own(unit, typed, chosen.currency if chosen is not None else "")
            unit = ""
        elif not unit and chosen is not None:
            unit = chosen.assumed(self.name)
        return self.convert(parse_number(match[1]), unit, typed=typed)

    def read_or_house(self, text: str) -> float:
        """As `read`; a bare number is in the chosen unit, or in the house unit where nobody chose one."""
        chosen = typed_units()
        is_bare = text.strip()[-1:].isdigit()
        return self.read(f"{text} {self.house}" if is_bare and not (chosen and chosen.assumed(self.name)) else text)

    def convert(self, value: float, unit: str, *, typed: str | None = None) -> float:
        """The value in the house unit, from a number and the name of its unit."""
        shown = typed if typed is not None else f"{value:g} {unit}"
        known = self._known(unit)
        if known is None:
            raise NotAQuantity(f"'{shortened(shown)}' is no {self.name} with a unit.", self._remedy())
        inside = (value + self.offsets.get(known, 0.0)) * self.accepts[known]
        if not self.low <= inside <= self.high:
            raise NotAQuantity(
                f"'{shortened(shown)}' is {number(inside)} {self.house}, which is no plausible {self.name}.",
                f"Check number and unit; {number(self.low)} to {number(self.high)} {self.house} is accepted.",
            )
        return inside

    def write(self, value: float, digits: int = 3) -> str:
        """The value with its house unit."""
        return f"{number(value, digits)} {self.house}".rstrip()

    def _known(self, unit: str) -> str | None:
        folded = _fold(unit)
        return next((name for name in self.accepts if _fold(name) == folded), None)

    def _remedy(self) -> str:
        return f"Write a number and one of: {', '.join(name or '(no unit)' for name in self.accepts)}."


_MONEY_SIGNS = {"$": "", "\u20ac": "EUR", "\u00a3": "GBP"}  # several countries have a dollar


def _behind(typed: str) -> str:
    """An amount with its currency in front (`$5`, `EUR 5`) with it behind."""
    found = re.fullmatch(r"([$\u20ac\u00a3]|[A-Za-z]{3}) ?([\d., ]+)", typed)
    return f"{found[2]} {found[1]}" if found else typed


def _require_own(unit: str, typed: str, own: str) -> None:
    """An amount without a currency, or in that of the notebook: no rate of exchange is known here."""
    code = _MONEY_SIGNS.get(unit, unit.upper())
    if code and not re.fullmatch("[A-Z]{3}", code):
        raise NotAQuantity(
            f"'{shortened(typed)}' is no amount of money.", "Write the number alone, or with EUR, USD or another code."
        )
    if code and own and code != own:
        raise NotAQuantity(f"'{shortened(typed)}' is not in {own}, in which this notebook counts.", f"Write the amount in {own}.")


@lru_cache(maxsize=1024)  # a logger's file asks for the same few units a million times
def _fold(unit: str) -> str:
    unit = unit.strip().replace("\u00b5", "u").replace("\u03bc", "u").replace("\u00b0", "deg").replace(" ", "")
    unit = unit.replace("\u00b2", "2").replace("\u00b3", "3")
    return unit.lower()


TEMPERATURE = Kind(
    name="temperature",
    house="degC",
    accepts={"degC": 1.0, "C": 1.0, "degF": 5 / 9, "F": 5 / 9, "K": 1.0},
    offsets={"degF": -32.0, "F": -32.0, "K": -273.15},
    low=-30.0,
    high=110.0,
)
# 1 umol of O2 is 31.998 ug (IUPAC 2021 atomic weight of oxygen 15.999); mL of gas at 0 degC and 1 atm: 1.429 mg.
OXYGEN = Kind(
    name="dissolved oxygen",
    house="mg/L",
    accepts={"mg/L": 1.0, "ppm": 1.0, "g/m3": 1.0, "umol/L": 0.031998, "uM": 0.031998, "mmol/L": 31.998, "mL/L": 1.429},
    low=-1.0,
    high=60.0,
)
# Dry air holds 20.946 % of oxygen by volume. Source: U.S. Standard Atmosphere 1976, table 3.
OXYGEN_PERCENT = Kind(
    name="oxygen saturation",
    house="% saturation",
    accepts={"% saturation": 1.0, "%": 1.0, "% sat": 1.0, "%sat": 1.0, "percent": 1.0, "% O2 in gas": 100.0 / 20.946},
    low=-10.0,
    high=500.0,
)
ELAPSED = Kind(
    name="time since aeration began",
    house="h",
    accepts={
        "h": 1.0,
        "hours": 1.0,
        "hour": 1.0,
        "hr": 1.0,
        "hrs": 1.0,
        "min": 1 / 60,
        "minutes": 1 / 60,
        "s": 1 / 3600,
        "sec": 1 / 3600,
        "seconds": 1 / 3600,
        "d": 24.0,
        "days": 24.0,
        "day": 24.0,
    },
    low=-1000.0,
    high=10000.0,
)
VOLUME = Kind(
    name="volume",
    house="L",
    accepts={
        "L": 1.0,
        "litre": 1.0,
        "litres": 1.0,
        "liter": 1.0,
        "liters": 1.0,
        "mL": 1e-3,
        "m3": 1e3,
        "US gal": 3.785411784,
        "gal": 3.785411784,
        "gallon": 3.785411784,
        "gallons": 3.785411784,
        "imp gal": 4.54609,
        "US qt": 0.946352946,
        "cup": 0.2365882365,
        "tbsp": 0.01478676478125,
        "tsp": 0.00492892159375,
    },
    low=0.0,
    high=1e6,
)
# mg C/L and ug C/mL are the same number; 1 g/m3 too.
BIOMASS = Kind(
    name="biomass per volume",
    house="ug C/mL",
    accepts={"ug C/mL": 1.0, "mg C/L": 1.0, "ug/mL": 1.0, "mg/L": 1.0, "g C/L": 1000.0, "ng C/mL": 1e-3, "ng/mL": 1e-3},
    low=-1e4,
    high=1e6,
)
BIOMASS_PER_GRAM = Kind(
    name="biomass per mass",
    house="ug C/g",
    accepts={"ug C/g": 1.0, "ug/g": 1.0, "mg C/kg": 1.0, "mg/kg": 1.0, "mg C/g": 1000.0, "mg/g": 1000.0, "g C/kg": 1000.0},
    low=-1e5,
    high=1e6,
)
COUNT = Kind(
    name="count per volume",
    house="/mL",
    accepts={
        "/mL": 1.0,
        "cells/mL": 1.0,
        "CFU/mL": 1.0,
        "MPN/mL": 1.0,
        "/100 mL": 0.01,
        "CFU/100 mL": 0.01,
        "MPN/100 mL": 0.01,
        "cells/L": 1e-3,
        "cells/uL": 1e3,
        "cells/m3": 1e-6,
    },
    low=0.0,
    high=1e15,
)
COUNT_PER_GRAM = Kind(
    name="count per mass",
    house="/g",
    accepts={
        "/g": 1.0,
        "cells/g": 1.0,
        "CFU/g": 1.0,
        "MPN/g": 1.0,
        "CFU/kg": 1e-3,
        "MPN/kg": 1e-3,
        "CFU/10 g": 0.1,
        "MPN/4 g": 0.25,
    },
    low=0.0,
    high=1e15,
)
DOSE = Kind(
    name="dose",
    house="g/L",
    accepts={
        "g/L": 1.0,
        "mg/L": 1e-3,
        "kg/m3": 1.0,
        "kg/L": 1000.0,
        "oz/US gal": 7.489151707,
        "oz/gal": 7.489151707,
        "oz/imp gal": 28.349523125 / 4.54609,
        "oz/L": 28.349523125,
        "g/gal": 1 / 3.785411784,
        "g/imp gal": 1 / 4.54609,
    },
    low=0.0,
    high=2000.0,
)
AIR_FLOW = Kind(
    name="air flow",
    house="L/min",
    accepts={
        "L/min": 1.0,
        "L/h": 1 / 60,
        "L/s": 60.0,
        "m3/h": 1000 / 60,
        "mL/min": 1e-3,
        "cfm": 28.316846592,
        "US gal/h": 3.785411784 / 60,
        "gal/h": 3.785411784 / 60,
        "imp gal/h": 4.54609 / 60,
    },
    low=0.0,
    high=1e6,
)
POWER = Kind(name="electrical power", house="W", accepts={"W": 1.0, "watt": 1.0, "kW": 1000.0}, low=0.0, high=1e5)
LENGTH = Kind(
    name="length",
    house="m",
    accepts={"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "inch": 0.0254, "ft": 0.3048},
    low=0.0,
    high=1e4,
)
AREA = Kind(
    name="area",
    house="m2",
    accepts={"m2": 1.0, "ha": 1e4, "acre": 4046.8564224, "ft2": 0.09290304, "sq ft": 0.09290304, "a": 100.0},
    low=0.0,
    high=1e10,
)
PRESSURE = Kind(
    name="pressure",
    house="kPa",
    accepts={"kPa": 1.0, "hPa": 0.1, "mbar": 0.1, "bar": 100.0, "atm": 101.325, "mmHg": 0.133322387415, "psi": 6.894757293},
    low=0.0,
    high=1e4,
)
CONDUCTIVITY = Kind(
    name="conductivity",
    house="uS/cm",
    accepts={"uS/cm": 1.0, "mS/cm": 1000.0, "dS/m": 1000.0, "S/m": 10000.0},
    low=0.0,
    high=3e5,
)
SALINITY = Kind(name="salinity", house="g/kg", accepts={"g/kg": 1.0, "ppt": 1.0, "PSU": 1.0, "\u2030": 1.0}, low=0.0, high=80.0)
PH = Kind(name="pH", house="pH", accepts={"pH": 1.0, "": 1.0}, low=0.0, high=14.0)
RATE = Kind(
    name="rate",
    house="1/h",
    accepts={"1/h": 1.0, "/h": 1.0, "1/d": 1 / 24, "/d": 1 / 24, "1/min": 60.0, "1/s": 3600.0},
    low=0.0,
    high=1e5,
)
FRACTION = Kind(name="fraction", house="", accepts={"": 1.0, "%": 0.01, "percent": 0.01}, low=0.0, high=1e6)
MONEY = Kind(name="money", house="", accepts={"": 1.0, "USD": 1.0, "EUR": 1.0, "GBP": 1.0}, low=0.0, high=1e9)

KINDS: dict[str, Kind] = {
    item.name: item
    for item in (
        TEMPERATURE,
        OXYGEN,
        OXYGEN_PERCENT,
        ELAPSED,
        VOLUME,
        BIOMASS,
        BIOMASS_PER_GRAM,
        COUNT,
        COUNT_PER_GRAM,
        DOSE,
        AIR_FLOW,
        POWER,
        LENGTH,
        AREA,
        PRESSURE,
        CONDUCTIVITY,
        PH,
        SALINITY,
        RATE,
        FRACTION,
        MONEY,
    )
}


def kind(name: str) -> Kind:
    """The kind of quantity with this name.

    Raises
    ------
    NotFound
        If there is none.
    """
    try:
        return KINDS[name]
    except KeyError:
        raise NotFound(f"There is no kind of quantity '{name}'.", f"Use one of: {', '.join(KINDS)}.") from None
