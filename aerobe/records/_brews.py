"""A brew from start to use."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from aerobe.records._checks import require_aware, require_between, require_key, require_one_of
from aerobe.records._guesses import guesses, require_guesses

AIMS = ("most biomass", "fungal to bacterial target", "enough biomass with oxygen", "most per cost")


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What things cost, in one currency, and what a brew is worth."""

    test: float = 10.0  # one test [money]
    brew: float = 20.0  # one brew: compost, foods, power, time [money]
    worth_of_full_brew: float = 100.0  # what the tea at its attainable best is worth to the person [money]
    hour_of_waiting: float = 0.0  # [money/h]

    def __post_init__(self) -> None:
        for name in ("test", "brew", "worth_of_full_brew", "hour_of_waiting"):
            require_between(getattr(self, name), 0.0, 1e9, name.replace("_", " "), "")


@dataclass(frozen=True, slots=True, kw_only=True)
class AimChoice:
    """What the person wants of the brew."""

    aim: str = "most biomass"  # one of AIMS
    ratio_target: float | None = None  # fungal to bacterial biomass [-]
    biomass_at_least: float | None = None  # [ug C/mL]
    oxygen_floor_mg_per_l: float = 2.0  # the gate; no gain buys it [mg/L]

    def __post_init__(self) -> None:
        require_one_of(self.aim, AIMS, "aim")
        require_between(self.oxygen_floor_mg_per_l, 0.0, 20.0, "An oxygen floor", "mg/L")
        if self.ratio_target is not None:
            require_between(self.ratio_target, 1e-9, 1e9, "A fungal to bacterial target", "")


BREW_GUESSES = ("temperature",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Brew:
    """One vessel filled once."""

    key: str
    name: str
    recipe: str  # key
    vessel: str  # key
    started_at: datetime  # when aeration began, with offset
    temperature_degc: float = 20.0  # expected water temperature [degC]
    trial: str = ""
    arm: str = ""
    block: str = ""  # day, place: what brews of one block share
    blind_code: str = ""
    aim: AimChoice = field(default_factory=AimChoice)
    costs: Costs = field(default_factory=Costs)
    tests_in_budget: int = 4
    seed: int = 1
    notes: str = ""
    guessed: tuple[str, ...] = guesses()  # of BREW_GUESSES

    def __post_init__(self) -> None:
        require_key(self.key, "brew")
        require_guesses(self.guessed, BREW_GUESSES)
        require_aware(self.started_at, "The start of the brew")
        require_between(self.temperature_degc, 1.0, 45.0, "A brewing temperature", "degC")

    def hours_at(self, moment: datetime) -> float:
        """Hours since the air was turned on, at a moment; before it negative. [h]"""
        return (moment - self.started_at).total_seconds() / 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Harvest:
    """The end of a brew: when the air stopped, and how it smelled."""

    brew: str
    elapsed_h: float  # [h]
    smell: str = "not noted"  # earthy, sour, sulphurous ... free text
    volume_l: float | None = None
    notes: str = ""

    def __post_init__(self) -> None:
        require_between(self.elapsed_h, 0.0, 10000.0, "A harvest time", "h")


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Where a tea went."""

    key: str
    brew: str
    used_at: datetime
    place: str
    crop: str = ""
    edible: bool | None = None
    touches_edible_part: bool | None = None
    area_m2: float | None = None  # [m2]
    tea_l: float = 0.0  # undiluted tea [L]
    water_l: float = 0.0  # added water [L]
    method: str = "drench"  # drench, foliar spray ... free text
    notes: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "use")
        require_aware(self.used_at, "The time of use")
        require_between(self.tea_l, 0.0, 1e7, "An amount of tea", "L")
        require_between(self.water_l, 0.0, 1e7, "An amount of water", "L")
