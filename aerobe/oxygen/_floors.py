"""Floors of dissolved oxygen that people work with, and where each comes from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """A level not to be undercut, and why."""

    mg_per_l: float  # [mg/L]
    meaning: str
    source: str


# Growth runs at O / (0.2 + O) of its best: 71 % at 0.5 mg/L, 91 % at 2, 97 % at 6.
FLOORS = (
    Floor(
        mg_per_l=6.0,
        source="practitioner-lists-2003",
        meaning="what brewers call aerobic; a margin for poor mixing and not an edge of biology",
    ),
    Floor(
        mg_per_l=2.0,
        source="metcalf-eddy",
        meaning="design level of aerated treatment tanks: single cells are well supplied, flocs mostly so",
    ),
    Floor(
        mg_per_l=0.5,
        source="henze-2000",
        meaning="near the level at which growth itself slows; no room for dead corners or a pump that stops",
    ),
)
