"""What a verdict is made of."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.verdicts._check import Check
from aerobe.verdicts._dose import DoseAnswer
from aerobe.verdicts._outcomes import Outcome
from aerobe.verdicts._places import Place
from aerobe.verdicts._results import BrewResult
from aerobe.verdicts._rivals import Rival
from aerobe.verdicts._surface import SurfaceAnswer

CANNOT_TELL = "can't tell yet"
SAME = "same within the margin"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One comparison and what may be said of it. Effects are logs of ratios, or differences, as the verdict's outcome says."""

    label: str
    first: str
    second: str
    planned: bool
    effect: float | None  # None where it cannot be told from the blocks [-]
    error: float | None  # standard error [-]
    df: float | None  # degrees of freedom of that error [-]
    low: float | None  # 90 % interval of this comparison alone [-]
    high: float | None
    family_low: float | None  # 90 % interval that holds for all comparisons together [-]
    family_high: float | None
    probability_above: float | None  # effect above zero [-]
    probability_better: float | None  # better by more than the margin [-]
    probability_worse: float | None  # worse by more than the margin [-]
    probability_same: float | None  # within the margin [-]
    call: str  # better, worse, higher, lower, same within the margin, can't tell yet
    signal_call: str  # the call if colour could be ruled out
    worthwhile: bool  # the whole 90 % interval lies beyond the margin
    because: str
    held_by: str = ""  # what else could make the difference, so that nothing is claimed; empty if nothing
    is_interaction: bool = False  # the effect is a ratio of ratios (or a difference of differences)


@dataclass(frozen=True, slots=True, kw_only=True)
class HourRatio:
    """A comparison at one hour of the brew."""

    hour_h: float  # [h]
    label: str
    effect: float  # log ratio or difference [-]
    low: float  # 90 % interval of it alone [-]
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Settle:
    """What would settle an open question, at the scatter seen in this trial."""

    brews_per_arm: int | None  # in total, to tell a difference of the margin with 80 % power
    brews_per_arm_for_sameness: int | None  # in total, to show sameness within the margin with 80 % power
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Everything a trial has shown about one outcome."""

    trial: str
    question: str
    outcome: Outcome
    claims: str  # what the effects are effects on: the outcome, or only the signal
    margin: float  # ratio, or difference [-]
    comparisons: tuple[Comparison, ...]
    ranking: tuple[Place, ...]
    dose: DoseAnswer | None
    brew_sd: float | None  # scatter of brew means within arm and block [-]
    brew_sd_low: float | None  # 90 % interval
    brew_sd_high: float | None
    test_sd: float  # what testing adds to a brew mean, on average [-]
    df: int
    brews: int
    rivals: tuple[Rival, ...]
    settle: Settle | None
    checks: tuple[Check, ...]
    results: tuple[BrewResult, ...]  # the raw points
    headline: str
    looks: int = 1  # at this question, this one included
    asked: str = ""  # why the bar is stricter than for a question asked once, in words; empty if it is not
    by_hour: tuple[HourRatio, ...] = ()  # the comparisons at every hour that all arms share
    left_out: str = ""  # brew that died, left out of the comparisons
    surface: SurfaceAnswer | None = None  # of factors at three levels
    with_all: tuple[Comparison, ...] = ()  # the comparisons with the dead brew in, where one is left out

    @property
    def assumes(self) -> str:
        """What no numbers can show and is taken as given."""
        return (
            "Each result is taken to be of a brew (or pot, or bed) of its own: one brew in two vessels, or one result changed "
            "and entered again, cannot always be told from that. Every brew that was begun is taken to be entered, also where it "
            "gave no result: results left out for being low or high cannot be seen."
        )
