"""A planned comparison and its run sheet."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.records._checks import require_between, require_key, require_one_of

QUESTIONS = ("two recipes", "several against a standard", "dose series", "factors", "brewing time", "vessels", "field response")


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """One treatment of a trial."""

    key: str
    recipe: str = ""  # key of its recipe; empty for a control without a brew
    is_standard: bool = False
    dose: float | None = None
    levels: dict[str, float] = field(default_factory=dict)  # factor -> level

    def __post_init__(self) -> None:
        require_key(self.key, "arm")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSample:
    """A sample that the plan asks for."""

    elapsed_h: float  # [h]
    tests: int = 1
    controls: tuple[str, ...] = ()  # roles to run beside it


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedBrew:
    """One line of a run sheet."""

    brew: str
    arm: str
    block: str
    vessel: str
    starts_at: datetime | None
    blind_code: str
    samples: tuple[PlannedSample, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSheet:
    """Which brew stands where and when, drawn with a kept seed."""

    trial: str
    seed: int | None  # None where codes are closed: with it anybody draws the sheet again and knows the arms
    brews: tuple[PlannedBrew, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A question, fixed before the first brew."""

    key: str
    name: str
    question: str  # one of QUESTIONS
    outcome: str = "biomass"  # biomass, ratio, peak time, oxygen, yield ...
    arms: tuple[Arm, ...] = ()
    margin_ratio: float = 1.25  # a difference worth having, as a ratio [-]
    planned_at: datetime | None = None
    design: str = ""  # completely randomised, randomised blocks ...
    notes: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "trial")
        require_one_of(self.question, QUESTIONS, "question")
        require_between(self.margin_ratio, 1.0, 1000.0, "A margin", "(ratio)")
        keys = [arm.key for arm in self.arms]
        if len(set(keys)) != len(keys):
            raise UnusableRecord("Two arms of the trial share a key.", "Give every arm its own key.")
