"""What several commands let a person type: a vessel with its air, a food with its amount, an answer at the terminal."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from aerobe.errors import NotAQuantity

if TYPE_CHECKING:
    from aerobe.usecases.brews import BrewStart, FoodTyped


@Parameter(name="*")
@dataclass(frozen=True, slots=True, kw_only=True)
class VesselOptions:
    """A vessel and its air, as typed; what is left out, except the volume, is guessed and marked as a guess."""

    volume: Annotated[str, Parameter(help='Water in it, as filled: "20 L".')] = ""
    depth: Annotated[str, Parameter(help='From the surface to the air outlet: "30 cm".')] = ""
    air: Annotated[str, Parameter(help='Air flow such as "8 L/min", or the pump\'s power such as "5 W".')] = ""
    air_is: Annotated[str, Parameter(help="Where the flow is from: label, measured or unknown.")] = "label"
    diffuser: Annotated[
        str, Parameter(help='How the air comes out: "fine bubble", "coarse bubble", "open pipe", venturi or none.')
    ] = ""
    altitude: Annotated[str, Parameter(help='Height above the sea: "300 m".')] = ""

    def onto(self, form: BrewStart) -> BrewStart:
        """The form with this vessel in it."""
        return replace(
            form,
            volume=self.volume,
            depth=self.depth,
            flow=self.air,
            flow_is=self.air_is,
            diffuser=self.diffuser,
            altitude=self.altitude,
        )


VESSEL = VesselOptions()


@Parameter(name="*")
@dataclass(frozen=True, slots=True, kw_only=True)
class NoteOptions:
    """What can be said of anything that is noted of a brew."""

    when: Annotated[
        str,
        Parameter(
            help='Hours since the air was turned on, a time with unit ("90 min"), a clock time ("14:10"), or a date and time; '
            "now if left out."
        ),
    ] = ""
    notes: Annotated[str, Parameter(help="Anything else.")] = ""
    token: Annotated[str, Parameter(help="An entry token: the same token twice keeps it once.")] = ""


NOTED = NoteOptions()


def ask(question: str) -> str:
    """An answer typed at the terminal; nothing where nobody sits there."""
    if not sys.stdin.isatty():
        return ""
    try:
        return input(f"{question} ").strip()
    except EOFError:
        return ""


def amount_typed(text: str, unit: str) -> tuple[str, str]:
    """Number and unit of an amount such as `500 g`; with the unit given where it has none."""
    found = re.fullmatch(r"\s*(.*?\d[.,]?)\s*([A-Za-z][A-Za-z ]*)?\s*", text)
    return (found[1], (found[2] or unit).strip()) if found else (text.strip(), unit)


def food_typed(text: str) -> FoodTyped:
    """A food with its amount: `molasses 20 g`, `kelp-meal 1 tbsp`, or the food alone."""
    from aerobe.usecases.brews import FoodTyped

    found = re.fullmatch(r"\s*([A-Za-z][A-Za-z-]*)[\s:=]*(.*)", text)
    if found is None:
        raise NotAQuantity(f"'{text[:60]}' is no food with its amount.", "Write the food first: molasses 20 g.")
    amount, unit = amount_typed(found[2], "g") if found[2] else ("", "g")
    return FoodTyped(food=found[1], amount=amount, unit=unit)
