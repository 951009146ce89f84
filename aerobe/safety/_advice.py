"""The answer to "may this tea go there?": made of its gates alone, so that it cannot say more than they do."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.safety._cautions import Caution, cautions
from aerobe.safety._facts import BrewFacts, Gate, closed
from aerobe.safety._thresholds import DECIDE
from aerobe.safety._use_facts import UseFacts
from aerobe.safety._use_gates import use_gates

HOLD_BACK, NOTHING_AGAINST = "hold back", "nothing known stands against it"


@dataclass(frozen=True, slots=True, kw_only=True)
class UseAdvice:
    """Gates of one use, the cautions that belong to it, and the call that follows."""

    gates: tuple[Gate, ...]
    cautions: tuple[Caution, ...]

    @property
    def held_back_by(self) -> tuple[Gate, ...]:
        """The gates that are not open."""
        return closed(self.gates)

    @property
    def may_go_ahead(self) -> bool:
        """Whether all gates are open, and there are any."""
        return bool(self.gates) and not self.held_back_by

    @property
    def call(self) -> str:
        """`hold back` or `nothing known stands against it`."""
        return NOTHING_AGAINST if self.may_go_ahead else HOLD_BACK

    @property
    def sentence(self) -> str:
        """The call in words, with who decides."""
        if self.may_go_ahead:
            return "Nothing known stands against this use. That is no statement that it is safe or allowed." + DECIDE
        return f"Hold back: {', '.join(gate.name for gate in self.held_back_by)}.{DECIDE}"

    @property
    def sources(self) -> tuple[str, ...]:
        """Keys of the sources behind gates and cautions."""
        keys = [key for gate in self.gates for key in gate.sources] + [item.source for item in self.cautions]
        return tuple(dict.fromkeys(keys))


def advise_use(brew: BrewFacts, use: UseFacts) -> UseAdvice:
    """What stands against this use of this brew.

    Parameters
    ----------
    brew
        What is known of the brew. [mg/L, h, degC]
    use
        What is known of the place. [d, m/s]

    Returns
    -------
    UseAdvice
        Gates, cautions and the call.

    Source
    ------
    nosb-2006, cfr-21-112
    """
    occasions = ["pouring" if use.sprayed is False else "spraying"]
    # Only a place where nothing is eaten goes without the words on food.
    if use.edible is not False:
        occasions.append("edible")
    return UseAdvice(gates=use_gates(brew, use), cautions=cautions(*occasions))
