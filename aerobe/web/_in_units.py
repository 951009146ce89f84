"""What templates show and offer in the display units, and where each request learns which those are."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence

from fastapi.concurrency import run_in_threadpool
from markupsafe import Markup
from starlette.types import ASGIApp, Receive, Scope, Send

from aerobe import usecases
from aerobe.errors import AerobeError
from aerobe.records import Reading, result_as_typed
from aerobe.units import CHOICES, CURRENCIES, Scale, display_units, given, parse_number, shown_in, shown_quantity

# Names under which a form may offer the unit that is shown.
_OFFERED_AS: dict[str, tuple[str, ...]] = {
    "gal": ("US gal",),
    "\u00b0F": ("degF", "\u00b0F"),
    "% of saturation": ("% saturation", "%"),
    "gal/h": ("US gal/h",),
}
# What the form of the choice asks, and the words of each answer.
UNIT_CHOICES: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = (
    ("volume", "Water in", (("L", "litres"), ("US gal", "US gallons"), ("imp gal", "imperial gallons"))),
    ("temperature", "Warmth in", (("\u00b0C", "\u00b0C"), ("\u00b0F", "\u00b0F"))),
    ("oxygen", "Oxygen in", (("mg/L", "mg/L"), ("%", "% of saturation"))),
    ("weight", "Compost and food in", (("g", "grams"), ("oz", "ounces and pounds"))),
    ("length", "Depth and area in", (("m", "metres"), ("ft", "feet and inches"))),
    (
        "date",
        "Dates",
        (("y-m-d", "year-month-day"), ("d.m.y", "day.month.year"), ("d/m/y", "day/month/year"), ("m/d/y", "month/day/year")),
    ),
    ("clock", "Clock", (("24 h", "24 hours"), ("12 h", "12 hours, am and pm"))),
    ("decimal", "Decimals", ((".", "with a point"), (",", "with a comma"))),
)
_NEVER_ADDED = ("% of saturation",)  # not every form can read it


class InDisplayUnits:
    """Each request is read and answered in the display units of the notebook."""

    def __init__(self, app: ASGIApp, *, notebook: usecases.notebook.Notebook) -> None:
        self.app = app
        self.notebook = notebook

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        # Programs speak and are answered in house units.
        if scope["type"] != "http" or scope["path"].startswith(("/static/", "/api/", "/log/points", "/live")):
            await self.app(scope, receive, send)
            return
        try:
            units = await run_in_threadpool(usecases.notebook.display_units_of, self.notebook)
        except AerobeError:
            units = None  # the page itself says what is wrong with the notebook
        # The page's look begins here and not sooner: it must not be older than the place up to which the page says it knows.
        with shown_in(units), usecases.brews.one_look():
            await self.app(scope, receive, send)


def in_units(picture: usecases.reports.Picture) -> usecases.reports.Picture:
    """A chart in the units of the page."""
    return picture.in_units(display_units())


def quantity(value: float, unit: str, digits: int = 0) -> str:
    """A value of a house unit in the units of the page, as it was given or with so many digits."""
    return shown_quantity(display_units(), value, unit, digits)


def offered(units: Sequence[str], unit: str, value: str) -> tuple[list[str], str, str]:
    """What a field for a quantity offers: its units, the one that stands first, and the value that is suggested in it.

    Parameters
    ----------
    units
        Those that the form can read, house unit first.
    unit
        The one chosen in the house; the first if empty.
    value
        Suggested by the house, in that unit; what a person typed comes back by another way.
    """
    unit = unit or units[0]
    scale = display_units().scale(unit.replace("\u00b0", "deg"))
    if scale is None or not re.fullmatch(r"[0-9]*[.]?[0-9]*", value):
        return list(units), unit, value
    known = next((name for name in (*_OFFERED_AS.get(scale.unit, ()), scale.unit) if name in units), "")
    if not known and scale.unit in _NEVER_ADDED:
        return list(units), unit, value
    listed = list(units) if known else [scale.unit, *units]
    shown = given(scale.shown(parse_number(value, decimal="."))) if value else ""
    return listed, known or scale.unit, display_units().decimals(shown)


def scale_of(unit: str) -> Scale:
    """How a house unit is shown, for what the page itself works out."""
    return display_units().scale(unit) or Scale(unit=unit)


def chosen_units(sent: Mapping[str, tuple[str, ...]]) -> dict[str, str]:
    """What a form chose of the display units, by their names."""
    return {name: sent[f"units_{name}"][-1].strip() for name in (*CHOICES, "currency") if sent.get(f"units_{name}")}


def as_typed(text: str) -> Markup:
    """What a person typed, marked so that it is shown as it is."""
    return Markup("<samp>{}</samp>").format(text)


def _result(reading: Reading) -> Markup:
    return as_typed(result_as_typed(reading))


FILTERS: dict[str, Callable[..., object]] = {"in_units": in_units, "quantity": quantity, "as_typed": as_typed}
GLOBALS: dict[str, object] = {
    "UNIT_CHOICES": UNIT_CHOICES,
    "CURRENCIES": CURRENCIES,
    "offered": offered,
    "scale_of": scale_of,
    "result_as_typed": _result,
    "quantity_in_units": quantity,
}
