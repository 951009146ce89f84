"""Invented trials, scatters and budgets that the kept answers of the room are computed from."""

from __future__ import annotations

from dataclasses import replace

from aerobe.records import Arm, Costs, Trial
from aerobe.trials import (
    Budget,
    Circumstances,
    Controls,
    Scatter,
    central_composite,
)

KEYS = ("plain", "kelp", "fish", "bran")
SPREAD = Scatter(brew_log_sd=0.3, test_log_sd=0.15, day_log_sd=0.5)
LEARNT = replace(SPREAD, colour_log_sd=0.05, df=5.0)
DARK = Circumstances(colour=1.4, control_tests=2, lost=0.2, looks=3)
BUDGET = Budget(costs=Costs(test=7.0, brew=16.0), money=900.0, vessels=4, days=15.0, days_per_round=2.5, samplings=2)
CONTROLS = Controls(roles=("killed control",), round_roles=("blank",), tests_per_brew=1, tests_per_round=2, reasons=())


def asked(arms: int = 2, question: str = "two recipes", margin: float = 1.6) -> Trial:
    made = tuple(Arm(key=key, recipe=key, is_standard=key == "plain") for key in KEYS[:arms])
    return Trial(key="t", name="t", question=question, arms=made, margin_ratio=margin)


SEVERAL = asked(4, "several against a standard", 1.8)
SURFACE = Trial(
    key="s", name="s", question="factors", arms=central_composite({"heat": (18.0, 26.0), "food": (0.5, 2.5)}), margin_ratio=1.7
)
