"""What of a brew nobody weighed or measured: the guess that stands there, and how much wider it makes the belief.

Centres and widths are ours, from common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from aerobe.kinetics import decay_factor, growth_factor
from aerobe.records import Recipe


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A middle and one standard uncertainty: on the log scale, or in the unit itself for a temperature."""

    middle: float
    sd: float

    def span(self) -> tuple[float, float]:
        """The 90 % interval of a quantity that cannot be negative, in its unit."""
        wide = math.exp(1.645 * self.sd)
        return self.middle / wide, self.middle * wide


COMPOST_G_PER_L = Guess(middle=25.0, sd=0.6)  # wet compost in a litre of brew [g/L]
COMPOST_KG_PER_L = Guess(middle=0.55, sd=0.2)  # a litre of moist, loosely filled compost [kg/L]
FOOD_G_PER_L = Guess(middle=1.0, sd=0.8)  # a food as bought in a litre of brew [g/L]
TEMPERATURE_DEGC = Guess(middle=20.0, sd=4.0)  # of the water [degC]

_GROWTH_MINIMUM_DEGC = -7.0  # the middle of the model's term
_OF_COMPOST = ("bacteria_mg_c_per_g_compost", "compost_food_mg_c_per_g", "compost_slow_mg_c_per_g")


def widenings(recipe: Recipe, *, temperature_degc: float, temperature_guessed: bool) -> dict[str, float]:
    """Further uncertainty of model terms, on the log scale, from what was guessed. [-]

    Parameters
    ----------
    recipe
        With its guesses.
    temperature_degc
        Expected. [degC]
    temperature_guessed
        Whether nobody measured it.
    """
    found: dict[str, float] = {}
    if "compost" in recipe.guessed:
        found |= dict.fromkeys(_OF_COMPOST, COMPOST_G_PER_L.sd)
    elif "weight of compost" in recipe.guessed:
        found |= dict.fromkeys(_OF_COMPOST, COMPOST_KG_PER_L.sd)
    if recipe.guessed_foods:
        found["food_factor"] = FOOD_G_PER_L.sd
    if temperature_guessed:
        found |= _of_warmth(temperature_degc)
    return found


def _of_warmth(degc: float) -> dict[str, float]:
    """What a warmth that nobody measured does to the rates, from the law of each."""
    sd = TEMPERATURE_DEGC.sd

    def move(factor: Mapping[float, float]) -> float:
        return abs(math.log(factor[degc + sd / 2.0] / factor[degc - sd / 2.0]))

    ends = (degc - sd / 2.0, degc + sd / 2.0)
    growth = move({end: float(growth_factor(end, _GROWTH_MINIMUM_DEGC)) for end in ends})
    decay = move({end: float(decay_factor(end)) for end in ends})
    return {
        "bacteria_growth_per_h": growth,
        "fungi_growth_per_h": growth,
        "decay_per_h": decay,
        "starvation_per_h": decay,
    }
