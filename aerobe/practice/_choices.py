"""What is chosen for a practice brew, what is done to it, and what may be expected of its colour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aerobe.errors import OutsideValidity
from aerobe.worlds import draw_known

TROUBLES = ("none", "pump", "cold", "maybe")
LIMITS = {
    "compost_g_per_l": (5.0, 120.0, "g/L"),
    "molasses_g_per_l": (0.0, 6.0, "g/L"),
    "kelp_g_per_l": (0.0, 4.0, "g/L"),
    "fish_g_per_l": (0.0, 6.0, "g/L"),
    "volume_l": (5.0, 1000.0, "L"),
    "air_l_per_min": (1.0, 2000.0, "L/min"),
    "temperature_degc": (10.0, 30.0, "degC"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeChoices:
    """Recipe, vessel and air of a practice brew, and what may go wrong.

    Parameters
    ----------
    compost_g_per_l, molasses_g_per_l, kelp_g_per_l, fish_g_per_l
        As put in. [g/L]
    volume_l, air_l_per_min, temperature_degc
        The vessel and the expected water temperature. [L, L/min, degC]
    probe
        Whether an oxygen probe and a thermometer log.
    trouble
        "none", "pump" (it stops once), "cold" (one cold night), or "maybe": drawn, and not told.
    """

    compost_g_per_l: float = 40.0
    molasses_g_per_l: float = 1.5
    kelp_g_per_l: float = 0.5
    fish_g_per_l: float = 0.0
    volume_l: float = 20.0
    air_l_per_min: float = 12.0
    temperature_degc: float = 20.0
    probe: bool = False
    trouble: str = "none"

    def __post_init__(self) -> None:
        for name, (low, high, unit) in LIMITS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                words = name.partition("_")[0]
                raise OutsideValidity(
                    f"Practice brews have {words} between {low:g} and {high:g} {unit}, not {value:g}.",
                    "Choose a value in that range; brews beyond it are not what these worlds were made for.",
                )
        if self.trouble not in TROUBLES:
            raise OutsideValidity(f"'{self.trouble}' is no trouble that can be practised.", f"Use one of: {', '.join(TROUBLES)}.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One thing done to a practice brew.

    Parameters
    ----------
    kind
        "test", "control" (a killed control: what colour alone shows), "pump" (a look at it) or "harvest".
    at_h
        When, since aeration began. [h]
    value
        What a test or control shows [ug C/mL]; for a look at the pump 1 if it had stopped, else 0.
    """

    kind: str
    at_h: float
    value: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """A practice brew as it stands.

    Parameters
    ----------
    seed
        Fixes the world, all that is hidden, and every error.
    now_h
        The present, since aeration began. [h]
    drawn
        Whether recipe and vessel were drawn and not chosen.
    """

    key: str
    seed: int
    choices: PracticeChoices
    moves: tuple[Move, ...] = ()
    now_h: float = 0.0
    drawn: bool = False

    @property
    def harvested_h(self) -> float | None:
        """When it was harvested; None while it brews. [h]"""
        return next((move.at_h for move in self.moves if move.kind == "harvest"), None)

    @property
    def tests(self) -> int:
        """Tests and controls bought."""
        return sum(move.kind in ("test", "control") for move in self.moves)

    def shown(self, kind: str) -> list[Move]:
        """The moves of one kind, in order."""
        return [move for move in self.moves if move.kind == kind]


def drawn_choices(seed: int, *, probe: bool = False, trouble: str = "none") -> PracticeChoices:
    """A recipe, vessel and weather as people have them, by a seed."""
    one = draw_known(1, np.random.default_rng([seed, 51]))

    def value(name: str) -> float:
        low, high, _ = LIMITS[name]
        return float(f"{np.clip(getattr(one, name)[0], low, high):.2g}")

    return PracticeChoices(**{name: value(name) for name in LIMITS}, probe=probe, trouble=trouble)


def expected_colour(choices: PracticeChoices) -> tuple[float, float]:
    """What colour alone is expected to show in a test before any control, and its standard uncertainty; invented. [ug C/mL]"""
    middle = 9.0 * choices.molasses_g_per_l + 0.1 * choices.compost_g_per_l
    spread = 0.5
    mean = middle * np.exp(0.5 * spread**2)
    return float(mean), float(mean * np.sqrt(np.exp(spread**2) - 1.0))
