"""What a person can spend on a question, and what brews and tests cost."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from aerobe.errors import UnusableRecord
from aerobe.records import Costs, Trial
from aerobe.trials._controls import Controls

LEAST_DAYS, MOST_DAYS = 0.01, 3660
MOST_VESSELS = 1000
MOST_MONEY = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """What the person can spend on one question."""

    costs: Costs = field(default_factory=Costs)
    money: float  # in all [money]
    tests: int = 100000  # tests at hand
    vessels: int = 2  # brews that can stand side by side
    days: float = 28.0  # until the answer is wanted [d]
    days_per_round: float = 3.0  # from filling to cleaned vessels [d]
    samplings: int = 1  # hours at which each brew is sampled; each takes its tests and controls

    def __post_init__(self) -> None:
        if not LEAST_DAYS <= self.days_per_round <= self.days or self.vessels < 1:
            raise UnusableRecord("No round of brews fits this budget.", "Give at least one vessel and the days of one round.")
        if self.vessels > MOST_VESSELS or self.days > MOST_DAYS:
            raise UnusableRecord(
                f"{self.vessels} vessels for {self.days:g} days are no trial of one person.",
                f"Give up to {MOST_VESSELS} vessels and {MOST_DAYS} days.",
            )
        if not 0.0 <= self.money <= MOST_MONEY:  # also false for nan
            raise UnusableRecord(f"A budget of {self.money:g} is no amount.", "Give the money for tests and brews.")

    @property
    def rounds(self) -> int:
        """Rounds of brews that fit the days. [-]"""
        return int(self.days // self.days_per_round)


def cost_of(budget: Budget, controls: Controls, n_brews: int, tests: int, rounds: int) -> tuple[int, float]:
    """Tests and money that so many brews take, with their controls. [-, money]"""
    n_tests = n_brews * (tests + controls.tests_per_brew) * budget.samplings + rounds * controls.tests_per_round
    return n_tests, n_brews * budget.costs.brew + n_tests * budget.costs.test


def rounds_for(trial: Trial, budget: Budget, n_brews: int) -> int:
    """Rounds that so many brews take. [-]"""
    return math.ceil(n_brews / brews_a_round(trial, budget, n_brews))


def brews_a_round(trial: Trial, budget: Budget, n_brews: int) -> int:
    """Brews a round: whole sets of arms where the vessels allow, so that every round compares all arms. [-]

    What does not fit in one round is spread over all that the days allow, and vessels stay empty: several brews of an arm in
    one round may share its luck, and are then no more than one.
    """
    arms = len(trial.arms)
    if budget.vessels < arms:
        return budget.vessels
    most = budget.vessels // arms * arms
    if n_brews <= most:
        return most
    sets = math.ceil(n_brews / arms)
    return min(most, arms * math.ceil(sets / budget.rounds))
