"""What a trial can be judged by, and which direction is better."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A quantity that arms are compared by."""

    key: str
    label: str
    unit: str
    better: str  # "higher", "lower" or "neither"
    scale: str = "ratio"  # "ratio", "difference", "share" (so many of so many) or "rate" (counts that may be nothing)
    is_of_microbes: bool = False  # read by an assay, so that colour may mislead

    @property
    def is_counted(self) -> bool:
        """Whether results are counts, of which nothing is a result, too."""
        return self.scale in ("share", "rate")

    @property
    def is_ratio(self) -> bool:
        """Whether arms are compared by a ratio."""
        return self.scale != "difference"


OUTCOMES = {
    item.key: item
    for item in (
        Outcome(key="biomass", label="living biomass", unit="ug C/mL", better="higher", is_of_microbes=True),
        Outcome(key="peak biomass", label="biomass at its peak", unit="ug C/mL", better="higher", is_of_microbes=True),
        Outcome(
            key="area under the curve", label="biomass over the brew", unit="ug C h/mL", better="higher", is_of_microbes=True
        ),
        Outcome(key="count", label="count", unit="/mL", better="higher", is_of_microbes=True),
        Outcome(key="peak time", label="time of the peak", unit="h", better="neither"),
        Outcome(key="ratio", label="fungal to bacterial ratio", unit="", better="neither", is_of_microbes=True),
        Outcome(key="cost per biomass", label="cost per mg of biomass carbon", unit="", better="lower", is_of_microbes=True),
        Outcome(key="oxygen", label="lowest dissolved oxygen", unit="mg/L", better="higher"),
        Outcome(key="yield", label="yield", unit="g", better="higher"),
        Outcome(key="score", label="score", unit="", better="higher", scale="difference"),
        Outcome(key="plants affected", label="share of plants affected", unit="", better="lower", scale="share"),
        Outcome(key="plants thriving", label="share of plants thriving", unit="", better="higher", scale="share"),
        Outcome(key="damage count", label="count of damage", unit="", better="lower", scale="rate"),
        Outcome(key="growth count", label="count of growth", unit="", better="higher", scale="rate"),
        Outcome(key="damage score", label="damage score", unit="", better="lower", scale="difference"),
    )
}


def outcome(key: str) -> Outcome:
    """The outcome with this key.

    Raises
    ------
    NotFound
        If there is none.
    """
    try:
        return OUTCOMES[key]
    except KeyError:
        raise NotFound(f"'{key}' is no outcome that can be judged.", f"Use one of: {', '.join(OUTCOMES)}.") from None
