"""A small world of brews to try the whole job on. Invented numbers of the order that the trade reports; nothing is fitted.

It is not the model inside aerobe: growth after Contois (1959, doi:10.1099/00221287-21-1-40, from memory) on one pool of food,
a lag that ends for each cell at its own time, decay that follows the food, and a tea that darkens with what goes in.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

STEP_H = 0.01
END_H = 60.0
CARBON_OF_MOLASSES = 250.0  # mg C per g as bought; common practice, no source
BROWN_OF_COMPOST = 14.0  # what the colour test shows without a single cell [signal]
BROWN_OF_MOLASSES = 30.0  # and that for each g/L of molasses [signal]
SATURATION = 9.09  # mg/L at 20 degC and 1 atm; source: benson-krause-1984


@dataclass(frozen=True, slots=True, kw_only=True)
class Tea:
    """The true course of one brew."""

    times_h: NDArray[np.float64]
    biomass: NDArray[np.float64]  # [ug C/mL]
    oxygen: NDArray[np.float64]  # [mg/L]
    colour: float  # [signal]

    def alive(self, hour: float) -> float:
        """True biomass. [ug C/mL]"""
        return float(np.interp(hour, self.times_h, self.biomass))

    def air(self, hour: float) -> float:
        """True oxygen. [mg/L]"""
        return float(np.interp(hour, self.times_h, self.oxygen))


@dataclass(kw_only=True)
class World:
    """Brews and a colour test. `feeds` says how much of the molasses is food: 1 as bought, 0 for a brown water."""

    feeds: float
    seed: int
    test_cv: float = 0.08  # scatter of one test [-]
    test_gain: float = 1.2  # the kit's own scale: its numbers are too high by so much [-]
    brew_sd: float = 0.07  # between brews of one recipe, log scale [-]
    rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)

    def brew(self, molasses_g_per_l: float) -> Tea:
        """Turn the air on in one bucket."""
        each = np.exp(self.brew_sd * self.rng.standard_normal(4))
        x, food, oxygen = (
            26.0 * each[0],
            120.0 * each[1] + self.feeds * CARBON_OF_MOLASSES * molasses_g_per_l,
            SATURATION,
        )
        fastest, lag_h, kla = 0.33 * each[2], 3.0 * each[3], 20.0
        times = np.arange(0.0, END_H + STEP_H, STEP_H)
        course, air = np.empty_like(times), np.empty_like(times)
        for place, hour in enumerate(times):
            course[place], air[place] = x, oxygen
            awake = 1.0 - np.exp(-((hour / lag_h) ** 2))
            made = fastest * awake * food / (0.6 * x + food) * oxygen / (0.2 + oxygen) * x
            lost = (0.008 + 0.02 / (1.0 + food / 10.0)) * x
            x += STEP_H * (made - lost)
            food = max(food - STEP_H * made / 0.5, 0.0)
            breath = 2.67 * (made + 0.4 * lost)  # 32/12 g of oxygen a g of carbon burnt, half of the food burnt
            oxygen = max(oxygen + STEP_H * (kla * (SATURATION - oxygen) - breath), 0.05)
        return Tea(times_h=times, biomass=course, oxygen=air, colour=BROWN_OF_COMPOST + BROWN_OF_MOLASSES * molasses_g_per_l)

    def test(self, tea: Tea, hour: float, role: str) -> str:
        """One test as a person would write it down: with a decimal comma."""
        living = {"sample": tea.alive(hour), "killed control": 0.0, "blank": 0.0}[role]
        brown = 0.0 if role == "blank" else tea.colour
        signal = self.test_gain * living * np.exp(self.test_cv * self.rng.standard_normal()) + brown
        return f"{max(signal + self.rng.normal(0.0, 0.7), 0.0):.1f}".replace(".", ",")
