"""One design of a trial, and what it can answer, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from aerobe.records import Trial
from aerobe.trials._circumstances import Circumstances
from aerobe.trials._controls import Controls
from aerobe.trials._layouts import Plot
from aerobe.trials._power import Power
from aerobe.trials._scatter import Scatter
from aerobe.units import amount, number, percent

GOOD_POWER = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """One way to run the trial, and what it can answer."""

    brews_per_arm: int  # of each arm that is not the standard
    brews_of: tuple[int, ...]  # of each arm, in the order of the trial
    tests_per_brew: int
    plots: tuple[Plot, ...]  # brews in their rounds, before randomisation
    rounds: int
    controls: Controls
    tests: int  # in all, controls included
    cost: float  # in all [money]
    power: Power

    @property
    def answers(self) -> bool:
        """Whether a difference worth having would be told four times in five, over all that the scatter may be. [-]"""
        return self.power.assurance >= GOOD_POWER


def answer_in_words(trial: Trial, scatter: Scatter, design: Design, given: Circumstances) -> str:
    """What a design that answers takes, and how often it would tell."""
    tests = "1 test" if design.tests_per_brew == 1 else f"{design.tests_per_brew} tests"
    what = "recipes" if trial.question in ("two recipes", "several against a standard") else "arms"
    rounds_words = "1 round" if design.rounds == 1 else f"{design.rounds} rounds"
    most = max(design.brews_of)
    more = f" ({most} of the standard, which every comparison uses)" if most > design.brews_per_arm else ""
    told = percent(design.power.assurance)
    if math.isfinite(scatter.df):
        told += f" of the time, over all that the scatter may be ({percent(design.power.told)} if it is what it seems)"
    else:
        told += " of the time"
    counted = [
        words
        for words, holds in (
            ("the colour of the tea", given.colour > 0.0),
            (f"{percent(given.lost)} of brews lost", given.lost > 0.0),
            (f"{given.looks} looks", given.looks > 1),
        )
        if holds
    ]
    inside = f" Counted in: {' and '.join(counted)}." if counted else ""
    return (
        f"{design.brews_per_arm} brews of each of {len(trial.arms)} {what}{more}, {tests} of each brew, in {rounds_words}, "
        f"cost {amount(design.cost)}: a difference of {number(trial.margin_ratio)} times would be told {told}, and {what} that "
        f"do not differ would wrongly be told apart {percent(design.power.false_claims)} of the time.{inside} "
        "That is with one reader and one lot of the kit; with two of either, a tenth to a quarter fewer are told."
    )
