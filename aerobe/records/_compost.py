"""Compost, foods and the recipe."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.errors import UnusableRecord
from aerobe.records._checks import require_between, require_key, require_one_of
from aerobe.records._guesses import guesses, require_guesses

PROCESSES = ("windrow", "in-vessel", "static aerated", "worm", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatLog:
    """The temperature history of a compost heap: one value a time, in days since the heap was made."""

    days: tuple[float, ...]
    temperatures_degc: tuple[float, ...]
    turned_on_days: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if len(self.days) != len(self.temperatures_degc):
            raise UnusableRecord("The heat log has unequal numbers of days and values.", "Give one temperature for each day.")
        if any(later <= earlier for earlier, later in zip(self.days, self.days[1:], strict=False)):
            raise UnusableRecord("The days of the heat log do not increase.", "Sort the log and remove doubled entries.")
        for day in (*self.days, *self.turned_on_days):
            require_between(day, 0.0, 3660.0, "A day of the heat log", "days since the heap was made")
        for temperature in self.temperatures_degc:
            require_between(temperature, -30.0, 110.0, "A heap temperature", "degC")


@dataclass(frozen=True, slots=True, kw_only=True)
class Compost:
    """A batch of compost and what is known of its past."""

    key: str
    name: str
    origin: str = ""  # feedstocks, maker, free text
    process: str = "unknown"  # one of PROCESSES
    animal_origin: bool | None = None  # manure or other animal material in it; None: not known
    age_days: float | None = None  # [d]
    moisture: float | None = None  # water over wet mass [-]
    bulk_density_kg_per_l: float | None = None  # [kg/L]
    carbon_to_nitrogen: float | None = None  # initial C:N of the feedstock by mass [-]
    heat: HeatLog | None = None

    def __post_init__(self) -> None:
        require_key(self.key, "compost")
        require_one_of(self.process, PROCESSES, "compost process")
        if self.moisture is not None:
            require_between(self.moisture, 0.0, 0.95, "Moisture", "(fraction of wet mass)")
        if self.carbon_to_nitrogen is not None:
            require_between(self.carbon_to_nitrogen, 1.0, 1000.0, "A C:N", "")
        if self.age_days is not None:
            require_between(self.age_days, 0.0, 36600.0, "An age of compost", "days")
        if self.bulk_density_kg_per_l is not None:
            require_between(self.bulk_density_kg_per_l, 0.05, 2.0, "Bulk density", "kg/L")


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodDose:
    """One food of a recipe: a key of the food library, the amount and when it goes in."""

    food: str
    g_per_l: float  # as bought, per litre of brew [g/L]
    at_h: float = 0.0  # since aeration began [h]

    def __post_init__(self) -> None:
        require_key(self.food, "food")
        require_between(self.g_per_l, 0.0, 500.0, f"A dose of {self.food}", "g/L")
        require_between(self.at_h, 0.0, 1000.0, "A feeding time", "h")


# What may stand in a recipe as a guess: an amount nobody gave, or the weight of compost that was measured by volume. For a food
# its key follows: "food molasses".
RECIPE_GUESSES = ("compost", "weight of compost", "food")


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What goes into a litre of brew."""

    key: str
    name: str
    compost: str  # key of the compost
    compost_g_per_l: float  # wet mass per litre [g/L]
    foods: tuple[FoodDose, ...] = ()
    water: str = "unknown"  # rain, well, tap with chlorine ... free text
    notes: str = ""
    guessed: tuple[str, ...] = guesses()  # of RECIPE_GUESSES; they widen what is believed of the start

    def __post_init__(self) -> None:
        require_key(self.key, "recipe")
        require_guesses(tuple("food" if item.startswith("food ") else item for item in self.guessed), RECIPE_GUESSES)
        require_between(self.compost_g_per_l, 0.0, 1000.0, "Compost", "g/L")

    @property
    def guessed_foods(self) -> tuple[str, ...]:
        """Keys of the foods whose amount is a guess."""
        return tuple(item.removeprefix("food ") for item in self.guessed if item.startswith("food "))

    @property
    def is_known(self) -> bool:
        """Whether anything that could grow or feed is written down; a table of results names a recipe and tells nothing of it."""
        return self.compost_g_per_l > 0.0 or bool(self.foods)
