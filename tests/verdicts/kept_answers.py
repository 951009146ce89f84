"""Answers of the room that are kept: effects, calls and their bars, at points where all terms matter, every branch entered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.records import Arm, Trial
from aerobe.verdicts import (
    RandomTerm,
    _lending,
    all_pairs,
    fit_effects,
    fit_mixed,
    is_estimable,
    is_surface,
    lay_out,
    lay_out_in_vessels,
    pair_contrast,
    planned_contrasts,
    standard_of,
    widen,
)
from tests.kept_answers.parts import end_of, numbers_of, settings_of
from tests.verdicts.kept_drawn_surfaces import drawn_surfaces
from tests.verdicts.kept_edges import edges
from tests.verdicts.kept_inputs import (
    FOUR,
    IN_ROUNDS,
    OF_ROUNDS,
    OF_UNEVEN,
    ROUNDS,
    THREE,
    UNEVEN,
    asked,
    square,
)
from tests.verdicts.kept_laws import at_limits, bars, counts, doses
from tests.verdicts.kept_sweeps import sweeps
from tests.verdicts.kept_trials import trials
from tests.verdicts.kept_verdicts import verdicts

PAIRS = np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0], [0.5, -1.0, 0.5]])
BIAS = np.array([0.02, 0.0, 0.05])
SIDE = np.array([0, -1, 0, 0, 0, 0, 1, 0, 0, -1, 0, 0])


def answers() -> dict[str, Callable[[], object]]:
    return {
        **settings_of("verdicts"),
        **_questions(),
        **_effects(),
        **at_limits(),
        **bars(),
        **counts(),
        **doses(),
        **trials(),
        **verdicts(),
        **sweeps(),
        **drawn_surfaces(),
        **edges(),
    }


def _questions() -> dict[str, Callable[[], object]]:
    def factors(*codes: tuple[float, ...]) -> Trial:
        arms = tuple(
            Arm(key=f"f{i}", recipe="r", levels=dict(zip(("air", "kelp", "warm"), code, strict=False)))
            for i, code in enumerate(codes)
        )
        return Trial(key="t", name="t", question="factors", arms=arms)

    cube = [(a, 2.0 + b, 5.0 * c) for a in (0.0, 1.0) for b in (0.0, 1.0) for c in (1.0, 2.0)]
    dosed = tuple(Arm(key=f"d{i}", dose=dose) for i, dose in enumerate((2.0, 0.5, 1.0)))
    return {
        "weights of the arms that each question asks for": lambda: [
            [one.weights for one in planned_contrasts(trial)]
            for trial in (
                asked(THREE[:2], "two recipes"),
                asked(),
                asked(question="brewing time"),
                asked(THREE[:2], "vessels"),
                asked(FOUR, "vessels"),
                Trial(key="t", name="t", question="dose series", arms=dosed),
                factors(*cube),
                factors(*[code for code in cube if (code[0] + code[1] + code[2] / 5.0) % 2 == 1]),
                factors((0.0, 1.0), (1.0, 1.0), (3.0, 2.0), (1.0, 4.0)),
            )
        ],
        "names of factor effects, standards and what has three levels": lambda: [
            [numbers_of(one) for one in planned_contrasts(factors(*cube))],
            [standard_of(arms).key for arms in (dosed, asked().arms, (Arm(key="x"), Arm(key="y", is_standard=True)), dosed[:1])],
            [is_surface(trial.arms) for trial in (factors(*cube), factors((0.0, 1.0), (1.0, 1.0), (3.0, 2.0)), asked())],
        ],
        "questions that cannot be asked": lambda: [
            end_of(lambda: planned_contrasts(asked(THREE[:1]))),
            end_of(lambda: planned_contrasts(factors((0.0, 1.0), (0.0, 2.0), (0.0, 3.0)))),
            end_of(lambda: planned_contrasts(factors((0.0, 1.0), (0.0, 1.0)))),
            end_of(lambda: planned_contrasts(factors((0.0, 1.0), (0.0, 2.0)))),
            [one.weights for one in planned_contrasts(replace(asked(THREE[:2], "vessels"), arms=asked(THREE[:2]).arms[::-1]))],
            end_of(lambda: planned_contrasts(factors((0.0, 1.0), (1.0, 1.0), (1.0, 0.0)))),
            end_of(lambda: pair_contrast(asked().arms, "tar", "plain")),
        ],
    }


def _effects() -> dict[str, Callable[[], object]]:
    plain, rounds = lay_out(OF_UNEVEN), lay_out(OF_ROUNDS, ROUNDS)
    even = np.array([0.4, 0.7, 0.5, 0.9, 1.3, 1.1, 1.6, 1.2])

    def latin() -> object:
        arms, days, vessels, values = square()
        pairs = all_pairs(4)[:3]
        lost = np.arange(16) != 5
        whole = lay_out(arms, days, vessels)
        return [
            fit_effects(values, whole, pairs),
            fit_effects(values[lost], whole.subset(lost), pairs),
            lay_out_in_vessels(arms, days, vessels, pairs).matrix.shape,
            [
                lay_out_in_vessels(arms, days, moved, pairs).matrix.shape
                for moved in (
                    [*vessels[:8], *vessels[9:12], vessels[8], *vessels[12:]],
                    [f"w{arm // 3}{i // 8}" for i, arm in enumerate(arms)],
                )
            ],
            lay_out_in_vessels(arms[:12], days[:12], vessels[:12], pairs).matrix.shape,
        ]

    return {
        "effects of uneven arms": lambda: fit_effects(UNEVEN, plain, PAIRS),
        "two trials at once, with a bias": lambda: fit_effects(np.array([UNEVEN, UNEVEN[::-1] ** 2]), plain, PAIRS, BIAS),
        "one arm that stands out of three": lambda: fit_effects(UNEVEN * np.repeat([1.0, 6.0, 1.0], [5, 3, 4]), plain, PAIRS),
        "effects in rounds": lambda: fit_effects(IN_ROUNDS, rounds, PAIRS, BIAS),
        "three arms once in each of three rounds, and two of four": lambda: [
            fit_effects(IN_ROUNDS[:9], lay_out(OF_ROUNDS[:9], ROUNDS[:9]), PAIRS),
            fit_effects(IN_ROUNDS[:7], lay_out([0, 1, 0, 1, 0, 1, 0], ["a", "a", "b", "b", "c", "c", "d"]), PAIRS[:1, :2]),
            fit_effects(
                IN_ROUNDS[:8], lay_out([0, 1, 0, 1, 0, 1, 0, 0], ["a", "a", "b", "b", "c", "c", "d", "d"]), PAIRS[:1, :2]
            ),
        ],
        "four arms in three rounds of four, in which they may lend": lambda: fit_effects(
            np.concatenate([IN_ROUNDS[:12], [0.2, 0.8, 0.9, 1.4]])[:12],
            lay_out([0, 1, 2, 3] * 3, [f"d{i // 4}" for i in range(12)]),
            np.array([[-1.0, 1.0, 0.0, 0.0], [-0.5, -0.5, 0.5, 0.5]]),
        ),
        "a Latin square of four, whole and with one brew lost": latin,
        "two like arms of four, two unlike ones, two of three": lambda: [
            fit_effects(even, lay_out([0] * 4 + [1] * 4), PAIRS[:1, :2]),
            fit_effects(even * np.repeat([1.0, 3.0], 4), lay_out([0] * 4 + [1] * 4), PAIRS[:1, :2]),
            fit_effects(even[1:7], lay_out([0] * 3 + [1] * 3), PAIRS[:1, :2]),
        ],
        "two arms of uneven size: two beside three, four, five; four beside five, six": lambda: [
            (found.error, found.df)
            for small, large in ((2, 3), (2, 4), (2, 5), (3, 4), (4, 5), (4, 6), (5, 7), (5, 8), (6, 9), (1, 4))
            for found in [fit_effects(np.tile(even, 2)[: small + large], lay_out([0] * small + [1] * large), PAIRS[:1, :2])]
        ],
        "small trials of three arms, alone and in days": lambda: [
            (found.estimate, found.error, found.df, found.family_df, found.known)
            for arms, days in (
                ([0, 0, 1, 1, 2, 2], []),
                ([0, 0, 0, 1, 1, 1, 2, 2, 2], []),
                ([0, 0, 0, 1, 1, 2, 2], []),
                ([0, 1, 2, 0, 1, 2, 0], ["a", "a", "a", "b", "b", "b", "b"]),
                ([0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1], ["a", "a", "a", "b", "b", "b", "c", "c", "c", "c", "c"]),
            )
            for found in [fit_effects(UNEVEN[: len(arms)], lay_out(arms, *([days] if days else [])), PAIRS)]
        ],
        "who may lend": lambda: [
            (one.between_two, one.between_several)
            for counts in ((4, 4), (3, 3), (4, 5), (3, 3, 6), (3, 3, 7), (2, 3, 3), (4, 4, 5, 6), (3, 4, 5, 6))
            for blocked in (False, True)
            for one in [_lending.Lending(np.array(counts, dtype=float), blocked, sum(counts) - len(counts))]
        ],
        "what four arms lend, in rounds and not": lambda: [
            _lending.Lending(np.array(counts), blocked, 12).lend(
                np.array([0.05, 0.021, 0.11]), np.array([4.5, 3.2, 5.5]), np.array(of_arms), np.array([0.045, 0.03, 0.06])
            )
            for counts in ([4.0, 5.0, 4.0, 6.0], [3.0, 4.0, 3.0, 5.0])
            for blocked in (False, True)
            for of_arms in ([0.05, 0.02, 0.09, 0.04], [0.05, 0.02, 0.9, 0.04])
        ],
        "chances and limits off the t law, and a known variance added": lambda: [
            fit_effects(UNEVEN, plain, PAIRS).probability_above(0.25),
            fit_effects(UNEVEN, plain, PAIRS).quantile(0.93),
            widen(np.array([0.3, 0.1]), np.array([4.0, 7.0]), np.array([0.05, 0.02])),
        ],
        "single brews in rounds, whose scatter is not known": lambda: [
            (found.known, found.df, found.error)
            for found in (
                fit_effects(IN_ROUNDS[:5], lay_out([0, 0, 1, 1, 2], ["a", "b", "a", "b", "b"]), PAIRS),
                fit_effects(IN_ROUNDS[:6], lay_out([0, 0, 0, 1, 1, 2], ["a", "a", "b", "a", "b", "b"]), PAIRS),
            )
        ],
        "what blocks leave to be told": lambda: [
            (one.rank, one.df, one.is_blocked, is_estimable(one, PAIRS))
            for one in (plain, rounds, lay_out([0, 0, 1, 1, 2], ["a", "a", "b", "b", "b"]), lay_out(OF_UNEVEN, ["a"] * 12))
        ],
        "mixed models: brews nested, rounds crossed, a slope, full likelihood": lambda: [
            _rough_fit(*_mixed()),
            _rough_fit(*_mixed(), restricted=False),
            _rough_fit(*_mixed(slope=True)),
        ],
    }


def _mixed(*, slope: bool = False) -> tuple[np.ndarray, np.ndarray, list[RandomTerm]]:
    rng = np.random.default_rng(12)
    brew, round_ = np.repeat(np.arange(12), 3), np.repeat(np.arange(12) % 4, 3)
    arm = np.repeat(np.arange(12) // 4 % 2, 3)
    x = np.tile([-1.0, 0.3, 1.4], 12)
    y = 0.5 + 0.8 * arm + rng.normal(0, 0.4, 12)[brew] + rng.normal(0, 0.6, 4)[round_] + rng.normal(0, 0.2, 36)
    y = y + x * rng.normal(0.3, 0.3, 12)[brew]
    fixed = np.column_stack([arm == 0, arm == 1, x]).astype(float)
    groups = tuple(f"b{i:02d}" for i in brew)
    first = RandomTerm(name="brew", groups=groups, covariates=np.column_stack([np.ones(36), x]) if slope else None)
    return y, fixed, [first] if slope else [first, RandomTerm(name="round", groups=tuple(f"r{i}" for i in round_))]


def _rough_fit(y: np.ndarray, fixed: np.ndarray, terms: list[RandomTerm], *, restricted: bool = True) -> object:
    found = fit_mixed(y, fixed, terms, restricted=restricted)
    contrast = np.array([-1.0, 1.0, 0.4])
    # To four digits: a search ends a little elsewhere on another machine.
    parts = (found.coefficients, np.diag(found.covariance), *found.variances.values(), found.residual_variance, found.criterion)
    return [[float(f"{value:.4g}") for value in np.ravel(part)] for part in (*parts, found.df(contrast))]
