"""The foods of a brew: what a gram of each carries, as a range and with its source."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files

from aerobe.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """Low, middle and high value of something that differs from bag to bag: about a 90 % range."""

    low: float
    mid: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.mid <= self.high:
            raise ValueError(f"a range must not decrease: {self.low}, {self.mid}, {self.high}")


# No food can lie outside: fat has the most carbon and asks for the most oxygen, urea has the most nitrogen; the thickest syrup
# weighs 1.45 kg/L, mineral powders up to twice water, the loosest meal a tenth of it (orders of handbooks, from memory).
POSSIBLE: dict[str, tuple[float, float]] = {
    "carbon": (0.0, 0.8),
    "readily": (0.0, 1.0),
    "slow": (0.0, 1.0),
    "nitrogen": (0.0, 0.47),
    "oxygen_demand": (0.0, 3.0),
    "density_kg_per_l": (0.1, 2.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Food:
    """One food as bought. Of its carbon a part is used readily, a part slowly (within days), the rest not in a brew's time."""

    key: str
    name: str
    also: tuple[str, ...]  # other names it goes by
    form: str  # "liquid" or "powder"
    carbon: Range  # [g C/g]
    readily: Range  # share of the carbon that cells take up within hours [-]
    slow: Range  # share of the carbon that has to be split first [-]
    nitrogen: Range  # [g N/g]
    oxygen_demand: Range  # theoretical, to carbon dioxide and ammonia [g O2/g]
    density_kg_per_l: Range  # of the liquid, or of the powder as poured [kg/L]
    sources: tuple[str, ...]
    notes: str

    def __post_init__(self) -> None:
        for name, (low, high) in POSSIBLE.items():
            given: Range = getattr(self, name)
            if not low <= given.low <= given.high <= high:
                raise ValueError(f"{name} of {self.key} is {given.low:g} to {given.high:g}, outside {low:g} to {high:g}")
        if self.readily.mid + self.slow.mid > 1.0:
            raise ValueError(f"{self.key} gives more carbon than it holds")

    @property
    def carbon_to_nitrogen(self) -> float:
        """C:N by mass at the middle values; infinite where there is no nitrogen."""
        return self.carbon.mid / self.nitrogen.mid if self.nitrogen.mid > 0.0 else float("inf")


class FoodLibrary(Mapping[str, Food]):
    """The foods by key; `find` also knows their other names."""

    def __init__(self, foods: Mapping[str, Food]) -> None:
        self._foods = dict(foods)
        self._names = {_fold(name): food for food in foods.values() for name in (food.key, food.name, *food.also)}

    def __getitem__(self, key: str) -> Food:
        return self._foods[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._foods)

    def __len__(self) -> int:
        return len(self._foods)

    def find(self, name: str) -> Food:
        """The food of this key or name.

        Raises
        ------
        NotFound
            If the library does not know it; the nearest names are offered.
        """
        food = self._names.get(_fold(name))
        if food is not None:
            return food
        near = get_close_matches(_fold(name), self._names, n=3, cutoff=0.5)
        offer = ", ".join(dict.fromkeys(self._names[item].key for item in near)) or ", ".join(self._foods)
        raise NotFound(f"The food library does not know '{name}'.", f"Did you mean: {offer}?")


def _fold(name: str) -> str:
    return "".join(character for character in name.lower() if character.isalnum())


def _read() -> FoodLibrary:
    text = files(__package__).joinpath("foods.toml").read_text(encoding="utf-8")
    return FoodLibrary({key: _food(key, fields) for key, fields in tomllib.loads(text).items()})


def _food(key: str, fields: dict) -> Food:
    ranges = {
        name: Range(low=float(values[0]), mid=float(values[1]), high=float(values[2]))
        for name, values in fields.items()
        if isinstance(values, list) and name not in ("also", "sources")
    }
    return Food(
        key=key,
        name=fields["name"],
        also=tuple(fields["also"]),
        form=fields["form"],
        sources=tuple(fields["sources"]),
        notes=fields["notes"],
        **ranges,
    )


FOODS = _read()
