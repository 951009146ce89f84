"""Answers of the room that are kept: designs, draws with a kept seed and what they promise, every branch entered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.records import Arm, AssayError, Trial
from aerobe.trials import (
    CLEAR,
    Circumstances,
    Scatter,
    Simulating,
    Tested,
    _checked,
    _circumstances,
    _composite,
    _layouts,
    _power,
    _times,
    central_composite,
    checked_power,
    factorial,
    informed,
    informed_interval,
    optimal_times,
    plots_of,
    power_of,
    randomised,
    scatter_from,
    scatter_of_testing,
    told_through_model,
    weighted_plots,
)
from aerobe.trials import _through_model as _model
from aerobe.verdicts import BrewResult
from tests.kept_answers.parts import end_of, settings_of
from tests.trials.kept_inputs import DARK, KEYS, LEARNT, SEVERAL, SPREAD, SURFACE, asked
from tests.trials.kept_next import next_steps
from tests.trials.kept_plans import plans
from tests.trials.kept_sheets import sheets


def answers() -> dict[str, Callable[[], object]]:
    return {**settings_of("trials"), **_layout(), **_powers(), **plans(), **_others(), **sheets(), **next_steps()}


def _arms(arms: tuple[Arm, ...]) -> object:
    return [(arm.key, arm.is_standard, arm.levels) for arm in arms]


def _places(plots: object) -> object:
    return [(plot.arm, plot.round, plot.place) for plot in plots]  # type: ignore[attr-defined]


def _layout() -> dict[str, Callable[[], object]]:
    factors = {name: (float(i), 2.0 * i + 1.0) for i, name in enumerate("abcdefg")}

    def fraction(count: int, runs: int | None) -> object:
        found = factorial(dict(list(factors.items())[:count]), runs=runs)
        return [found.runs, found.resolution, found.aliases, [[arm.key, *arm.levels.values()] for arm in found.arms[:5]]]

    return {
        "factorials whole and in fractions": lambda: [
            fraction(*of)
            for of in ((2, None), (3, 8), (3, 4), (4, 8), (5, 16), (5, 8), (6, 16), (6, 8), (7, 16), (7, 8), (7, 32))
        ],
        "standards of a fraction, and factors that make none": lambda: [
            _arms(factorial(dict(list(factors.items())[:3]), runs=4).arms),
            [end_of(lambda n=n: fraction(n, None)) for n in (1, 7)],  # type: ignore[misc]
            end_of(lambda: fraction(3, 5)),
            end_of(lambda: factorial({"a": (1.0, 1.0), "b": (0.0, 1.0)})),
        ],
        "central composites": lambda: (
            [_arms(central_composite(dict(list(factors.items())[:count]))) for count in (2, 3)]
            + [[end_of(lambda n=n: len(central_composite(dict(list(factors.items())[:n])))) for n in (1, 2, 4, 5)]]
        ),  # type: ignore[misc]
        "brews of a composite": lambda: [_composite.counts_of(SURFACE, repeats) for repeats in (1, 3)],
        "brews in rounds": lambda: [_places(plots_of(*of)) for of in ((3, 3, 3), (3, 2, 7), (4, 3, 3), (5, 3, 2), (2, 2, 4))],
        "brews of uneven arms in rounds": lambda: [_places(weighted_plots(*of)) for of in (((5, 3, 3), 4), ((2, 4), 3))],
        "strides": lambda: [_layouts._coprime(start, arms) for start in (1, 2, 3, 5) for arms in (1, 2, 4, 5, 6, 9)],
        "a draw of whole, incomplete and uneven rounds": lambda: [
            _places(randomised(plots, arms, np.random.default_rng(seed)))
            for seed, (plots, arms) in enumerate(
                ((plots_of(3, 4, 3), 3), (plots_of(3, 4, 6), 3), (plots_of(4, 3, 3), 4), (weighted_plots((5, 3, 3), 4), 3))
            )
        ],
    }


def _powers() -> dict[str, Callable[[], object]]:
    plots = plots_of(2, 4, 4)
    power = power_of(asked(), plots, SPREAD, 2, simulations=200)

    def one(trial: Trial, plots: object, scatter: Scatter, tests: int, **more: object) -> object:
        return power_of(trial, plots, scatter, tests, simulations=120, **more)  # type: ignore[arg-type]

    def trials(given: Circumstances, scatter: Scatter) -> object:
        rng = np.random.default_rng(5)
        return [_checked._one_trial(asked(), plots, scatter, 2, given, rng) for _ in range(12)]

    return {
        "quick counts of power": lambda: [
            one(asked(), plots, SPREAD, 2),
            one(SEVERAL, weighted_plots((7, 4, 4, 4), 4), LEARNT, 1, seed=3),
            one(asked(2, "vessels"), plots, SPREAD, 1),
            one(asked(), plots_of(2, 1, 2), SPREAD, 1),
        ],
        "quick counts in dark tea with brews lost": lambda: [
            one(asked(), plots_of(2, 6, 4), LEARNT, 2, given=DARK, patterns=4),
            one(asked(), plots, SPREAD, 1, given=Circumstances(lost=0.75), patterns=3),
        ],
        "power of a surface, and where some brews are lost": lambda: [
            _composite.surface_power(SURFACE, weighted_plots(_composite.counts_of(SURFACE, repeats), 6), LEARNT, 2, **more)
            for repeats, more in (
                (1, {"simulations": 120}),
                (2, {"simulations": 160, "given": Circumstances(lost=0.1), "seed": 2}),
                (1, {"simulations": 100, "given": Circumstances(lost=0.6)}),
            )  # type: ignore[dict-item]
        ],
        "single trials by the verdict and by the quick count": lambda: [
            trials(CLEAR, LEARNT),
            trials(Circumstances(colour=3.0, lost=0.25), replace(LEARNT, brew_log_sd=0.15)),
        ],
        "counts corrected by whole verdicts": lambda: [
            checked_power(asked(), plots, SPREAD, 2, power, trials=30),
            checked_power(asked(), plots, SPREAD, 2, power, given=Circumstances(lost=0.2), trials=6, seed=4),
            checked_power(SEVERAL, plots_of(4, 2, 4), SPREAD, 1, power),
        ],
        "a count corrected as another design's was": lambda: (
            [
                _checked.like(replace(power, told=told, assurance=told), power, replace(power, assurance=checked))
                for told, checked in ((0.4, 0.7), (0.9, 0.1), (0.02, 0.0), (0.95, 0.999))
            ]
            + [_checked.like(power, replace(power, assurance=1.0), replace(power, assurance=0.9))]
        ),
        "ways of losing brews averaged": lambda: [
            _power._averaged(
                [replace(power, told=told, detectable_ratio=1.5 + told, same_told=told / 3) for told in (0.2, 0.5, 0.9)]
            ),
            _power._averaged([power]).told,
            _power._nothing(50),
        ],
        "what one unit adds to each arm, and what looks leave": lambda: [
            [_power.shift_of(trial) for trial in (asked(), SEVERAL, SURFACE)],
            [_power.allowance_at_end(brews, given) for brews, given in ((12, CLEAR), (12, DARK), (2, Circumstances(looks=5)))],
            [_power._exp(value) for value in (699.5, 700.0)],
        ],
        "layouts as the verdict sees them": lambda: [
            (found.matrix.shape, found.df, found.groupings)
            for found in (
                _power.layout_of(trial, made)
                for trial, made in (
                    (asked(2, "vessels"), plots),
                    (SEVERAL, randomised(plots_of(4, 4, 4), 4, np.random.default_rng(2))),
                    (asked(), plots),
                )
            )
        ],
        "results through a dark sample and its control": lambda: [
            _circumstances.tested(np.array([[0.1, -0.7, 1.2, -3.0]]), SPREAD, 2, given, np.random.default_rng(1))
            for given in (
                CLEAR,
                Circumstances(colour=0.8),
                Circumstances(colour=9.0, control_tests=3),
                Circumstances(colour=0.8, control_tests=0),
            )
        ],
        "scatters drawn and brews lost": lambda: [
            _circumstances.brew_sds(LEARNT, 4, np.random.default_rng(1)),
            _circumstances.brew_sds(SPREAD, 3, np.random.default_rng(1)),
            _circumstances.patterns_of_loss(plots, DARK, np.random.default_rng(1), 3),
            len(_circumstances.patterns_of_loss(plots, DARK, np.random.default_rng(1))),
            _circumstances.patterns_of_loss(plots, CLEAR, np.random.default_rng(1)),
        ],
    }


def _brew(rng: np.random.Generator, arm: str, times_h: object, world: int) -> np.ndarray:
    """A made-up brew: its level differs by arm and by world, with a little noise."""
    level = {"plain": 40.0, "kelp": 55.0 + 30.0 * (world % 3), "fish": 25.0, "bran": 2.0}[arm]
    return np.array([level * np.exp(rng.normal(0.0, 0.1))])


def _others() -> dict[str, Callable[[], object]]:
    error = AssayError(constant_sd=3.0, proportional_cv=0.1, detection_limit=5.0)
    done: list[tuple[int, int]] = []
    past = [
        BrewResult(brew=f"b{i}", arm=KEYS[i % 3], value=value, block=f"d{i // 3}", tests=1 + i % 3, test_log_sd=0.05 + 0.01 * i)
        for i, value in enumerate((2.0, 3.1, 2.6, 3.7, 4.4, 4.9, 1.6, 2.9, 1.9, 2.7, 3.3))
    ]

    def slopes(times: np.ndarray) -> np.ndarray:
        rate, top = np.array([0.12, 0.2])[:, None], np.array([3.0, 2.5])[:, None]
        return np.stack([top * times * np.exp(-rate * times), 1.0 - np.exp(-rate * times)], axis=2)

    def hours(**more: object) -> object:
        found = optimal_times(slopes, start_h=2.0, end_h=40.0, grid=25, **more)  # type: ignore[arg-type]
        return [
            [float(f"{hour:.3g}") for hour in found.times_h],
            *(float(f"{value:.5g}") for value in (found.criterion, found.efficiency_of_even, found.most_sensitive)),
        ]

    return {
        "told through a model, in two chunks": lambda: [
            told_through_model(
                asked(4, "several against a standard"),
                plots_of(4, 3, 4),
                SPREAD,
                _brew,
                Tested(error=error, at_h=20.0, tests_per_brew=2),
                Simulating(simulations=130, seed=3, progress=lambda *two: done.append(two)),
            ),
            done[-2:],
        ],
        "a brew measured near and far from the limit": lambda: [
            _model._measured(truth, Tested(error=made, at_h=1.0, tests_per_brew=tests), np.random.default_rng(seed))
            for seed, (truth, made, tests) in enumerate(
                (
                    (40.0, error, 1),
                    (40.0, error, 4),
                    (1.0, error, 1),
                    (0.2, replace(error, detection_limit=None), 1),
                    (0.0, AssayError(constant_sd=2.0, proportional_cv=0.1), 1),
                )
            )
        ],
        "calls counted": lambda: [
            _model._count(asked(), plots_of(2, 3, 2), outcomes, truths)
            for outcomes, truths in (
                (
                    np.array([[0.1, 0.9, 0.2, 1.1, 0.0, 1.3], [0.9, 0.1, 1.2, 0.2, 1.1, 0.0], [0.1, 0.1, 0.2, 0.21, 0.3, 0.29]]),
                    np.array([[0.1, 0.8], [0.1, 0.7], [0.1, 0.1]]),
                ),
            )
        ],
        "hours to sample": lambda: [
            hours(samples=3),
            hours(samples=2, aim=np.array([0.3, 1.0])),
            hours(samples=1, prior_information=np.array([[4.0, 0.3], [0.3, 2.0]])),
            hours(samples=4, earliest_gap_h=6.0),
        ],
        "parts of the search for hours": lambda: [
            _times._criterion(slopes(np.array([3.0, 9.0, 30.0])), np.diag([0.1, 0.2]), None),
            _times._criterion(slopes(np.array([3.0, 9.0])), np.zeros((2, 2)), np.array([[0.3, 1.0]])),
            _times._criterion(slopes(np.array([9.0])), np.zeros((2, 2)), None),
            [_times._even(25, 4), _times._crowded(25, 4, 0.5), _times._crowded(25, 3, 2.0)],
            _times._most_sensitive(slopes(np.linspace(2.0, 40.0, 9)), slopes(np.array([5.0, 22.0])), np.diag([0.1, 0.2])),
        ],
        "scatters learnt, joined and of testing": lambda: [
            scatter_from(past),
            scatter_from([replace(one, block="d", test_log_sd=0.9) for one in past]),
            informed(LEARNT),
            informed(SPREAD),
            [
                scatter_of_testing(error, level=12.0, colour=colour, with_control=control)
                for colour in (0.0, 7.0)
                for control in (True, False)
            ],
            [SPREAD.of_brew_mean(tests) for tests in (1, 3)],
            informed_interval(0.5, -0.1, 1.1, df=3.0, brew_sd=0.4),
        ],
        "scatters that are none": lambda: [
            end_of(lambda: scatter_from(past[:4])),
            end_of(lambda: scatter_from([])),
            end_of(lambda: scatter_of_testing(error, level=0.0)),
            [end_of(lambda sd=sd: replace(SPREAD, day_log_sd=sd).day_log_sd) for sd in (20.0, 20.1, -0.1)],  # type: ignore[misc]
            [end_of(lambda df=df: replace(SPREAD, df=df).df) for df in (0.9, 1.0, float("nan"))],  # type: ignore[misc]
            end_of(lambda: Scatter(brew_log_sd=0.0, test_log_sd=0.0)),
        ],
    }
