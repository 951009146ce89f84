"""Kept answers on plans: what is tried, what it costs, what is recommended and what would help."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from aerobe.records import Trial
from aerobe.trials import (
    CLEAR,
    Budget,
    Circumstances,
    Power,
    Scatter,
    _budget,
    _levers,
    _plan,
    lever_rows,
    plan_trial,
    plots_of,
    power_of,
    rank_levers,
)
from aerobe.trials._design import Design
from tests.kept_answers.parts import end_of, numbers_of
from tests.trials.kept_inputs import BUDGET, CONTROLS, DARK, LEARNT, SEVERAL, SPREAD, SURFACE, asked


def _short(design: Design | None) -> object:
    return numbers_of(design, leaving=("plots", "controls")) if design is not None else None


def plans() -> dict[str, Callable[[], object]]:
    def plan(trial: Trial, scatter: Scatter, budget: Budget, **more: object) -> object:
        found = plan_trial(trial, scatter, budget, simulations=60, **more)  # type: ignore[arg-type]
        return [
            _short(found.recommended),
            [_short(one) for one in found.alternatives],
            found.can_answer,
            [
                (lever.name, lever.told, lever.gain, lever.detectable_ratio, lever.cost, lever.gain_per_100, lever.helps)
                for lever in found.levers
            ],
            found.tests_worth_making,
        ]

    def design(counts: tuple[int, ...], tests: int, trial: Trial = SEVERAL) -> Design:
        power = power_of(asked(), plots_of(2, 3, 4), SPREAD, 1, simulations=60)
        return _plan._design(trial, BUDGET, CONTROLS, counts, tests, lambda plots, *, tests_per_brew: power)

    wide = replace(SPREAD, brew_log_sd=0.8)
    return {
        "a plan that answers": lambda: plan(
            asked(margin=3.0), replace(SPREAD, brew_log_sd=0.2), replace(BUDGET, money=500.0, samplings=1)
        ),
        "a plan that does not": lambda: plan(asked(margin=1.3), wide, replace(BUDGET, money=400.0)),
        "a plan of a surface": lambda: [
            plan(replace(SURFACE, margin_ratio=3.0), SPREAD, replace(BUDGET, money=1500.0, vessels=6)),
            plan(SURFACE, SPREAD, replace(BUDGET, money=100.0)),
        ],
        "designs of arms and tests": lambda: [_short(design((4, 4, 4, 4), 2)), _short(design((7, 4, 4, 4), 3))],
        "what is tried within a budget": lambda: [
            [_plan._tests_to_try(best) for best in (0.2, 1.6, 5.6, 9.0, float("inf"))],
            _plan._counts_to_try(SEVERAL, BUDGET, CONTROLS, 1),
            _plan._counts_to_try(asked(), BUDGET, CONTROLS, 2),
            [
                _plan._more_of_the_standard(trial, brews)
                for trial in (SEVERAL, asked(3, "several against a standard"), asked())
                for brews in (2, 5)
            ],
        ],
        "brews that would answer": lambda: [
            _plan._needed(trial, scatter, BUDGET, CLEAR, short)
            for trial, scatter, short in (
                (asked(margin=2.2), SPREAD, 0.0),
                (asked(margin=2.2), SPREAD, 0.1),
                (asked(margin=1.05), wide, 0.0),
            )
        ],
        "the designs that no other beats": lambda: [
            [one.cost for one in _plan._alternatives(made, made[0])]
            for made in (
                [replace(design((3, 3, 3, 3), 1), cost=cost, power=replace(_POWER, assurance=told)) for cost, told in _COSTS],
            )
        ],
        "costs, rounds and brews a round": lambda: [
            _budget.cost_of(BUDGET, CONTROLS, 9, 2, 3),
            [_budget.brews_a_round(trial, BUDGET, 9) for trial in (asked(), asked(3), SEVERAL, SURFACE)],
            [_budget.rounds_for(trial, BUDGET, 9) for trial in (asked(), asked(3), SURFACE)],
            [budget.rounds for budget in (BUDGET, replace(BUDGET, days=14.9), replace(BUDGET, days_per_round=15.0))],
        ],
        "budgets that are none": lambda: [
            end_of(lambda key=key, value=value: replace(BUDGET, **{key: value}).rounds)  # type: ignore[misc, arg-type]
            for key, value in (
                ("days_per_round", 0.009),
                ("days_per_round", 0.011),
                ("days_per_round", 15.1),
                ("vessels", 0),
                ("vessels", 1001),
                ("vessels", 1000),
                ("days", 3660.0),
                ("days", 3660.1),
                ("money", -1.0),
                ("money", 0.0),
                ("money", 1e9),
                ("money", 1.1e9),
            )
        ],
        "circumstances that are none": lambda: [
            end_of(lambda key=key, value=value: getattr(Circumstances(**{key: value}), key))  # type: ignore[misc, arg-type]
            for key, value in (
                ("colour", 50.0),
                ("colour", 50.1),
                ("colour", -0.1),
                ("lost", 0.8),
                ("lost", 0.81),
                ("looks", 0),
                ("looks", 50),
                ("looks", 51),
                ("control_tests", 0),
                ("control_tests", -1),
            )
        ],
        "what would help": lambda: _helped(design((3, 3, 3, 3), 1), 0.02),
        "what would help a dark plan of several": lambda: _helped(replace(design((5, 3, 3, 3), 2), cost=300.0), 0.0, DARK),
        "levers in their rows": lambda: lever_rows(_LEVERS),
        "rank of levers": lambda: [_levers._rank(lever) for lever in _LEVERS],
    }


_POWER = Power(
    told=0.5, assurance=0.5, same_told=0.1, false_claims=0.05, detectable_ratio=2.0, simulations=60, standard_error=0.06
)
_COSTS = ((100.0, 0.3), (90.0, 0.25), (120.0, 0.26), (130.0, 0.255), (140.0, 0.262), (150.0, 0.5), (150.0, 0.6), (160.0, 0.609))
_LEVERS = tuple(
    _levers.Lever(
        name=name, words=f"do {name}", told=told, gain=gain, detectable_ratio=ratio, cost=cost, gain_per_100=per, helps=helps
    )
    for name, told, gain, ratio, cost, per, helps in (
        ("a", 0.61, 0.11, 1.8, 0.0, None, True),
        ("b", 0.73, 0.23, 99.0, 250.0, 0.092, True),
        ("c", 0.55, 0.05, 101.0, None, None, True),
        ("d", 0.51, 0.01, 2.0, 30.0, 0.03, False),
    )
)


def _helped(design: Design, short: float, given: Circumstances = CLEAR) -> object:
    scatter = replace(LEARNT, brew_log_sd=0.7, df=float("inf"))
    counts = _levers.SIMULATIONS
    _levers.SIMULATIONS = 60  # type: ignore[misc]
    try:
        return numbers_of(rank_levers(SEVERAL, scatter, replace(given, lost=0.0, control_tests=1), design, BUDGET, short=short))
    finally:
        _levers.SIMULATIONS = counts  # type: ignore[misc]
