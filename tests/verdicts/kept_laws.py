"""Kept answers of the laws behind a verdict: limits of a test, bars, counts and dose series."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from aerobe.verdicts import (
    Allowance,
    _beyond_limits,
    _censored,
    _dose,
    _rates,
    _settle,
    _simultaneous,
    allowance_now,
    answer_dose_series,
    best_tests_per_brew,
    boundary_levels,
    brews_needed,
    brews_needed_for_sameness,
    call_contrasts,
    critical_values,
    filled_in,
    fit_censored,
    fit_effects,
    fit_rates,
    hull,
    joint_t,
    lay_out,
    power_of_difference,
    power_of_sameness,
    share_of_later,
    share_of_side_question,
    spent_by,
    turning_point,
)
from tests.kept_answers.parts import end_of, numbers_of
from tests.verdicts.kept_inputs import (
    DOSES,
    IN_ROUNDS,
    OF_ROUNDS,
    OF_UNEVEN,
    PEAK,
    RISING,
    ROUNDS,
    SHIFTS,
    UNEVEN,
)

PAIRS = np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0], [0.5, -1.0, 0.5]])
BIAS = np.array([0.02, 0.0, 0.05])
SIDE = np.array([0, -1, 0, 0, 0, 0, 1, 0, 0, -1, 0, 0])


def _in_days() -> _beyond_limits.Together:
    of = np.repeat(np.arange(12), [2, 2, 1, 3, 2, 1, 2, 2, 1, 2, 3, 1])
    values = UNEVEN[of] + 0.1 * np.sin(np.arange(22.0))
    return _beyond_limits.Together(values=values, side=np.where(np.arange(22) % 7 == 2, -1, 0), of=of)


def at_limits() -> dict[str, Callable[[], object]]:
    plain, rounds = lay_out(OF_UNEVEN), lay_out(OF_ROUNDS, ROUNDS)
    draws = np.random.default_rng(4).gumbel(0.5, 0.3, (400, 3)) * np.array([1.0, -1.0, 0.4])

    def summary(side: np.ndarray, bias: np.ndarray | None) -> object:
        lost = np.abs(side) @ plain.membership
        touched = np.array([bool(lost[row != 0.0].any()) for row in PAIRS])
        found = _censored.summarise(draws, UNEVEN, side, plain, PAIRS, bias, touched)
        return [
            found.estimate,
            found.error,
            found.df,
            found.known,
            found.scatter_df,
            found.arm_variance,
            *(item for side in (found.below, found.above) for item in (side.error, side.df, side.family_df)),
        ]

    return {
        "arms with brews at a limit": lambda: fit_censored(UNEVEN, SIDE, plain, PAIRS),
        "the same in rounds with a bias": lambda: fit_censored(IN_ROUNDS, np.append(SIDE, 0), rounds, PAIRS, BIAS, seed=3),
        "days whose brews lie at a limit in part": lambda: fit_censored(
            UNEVEN, _in_days().seen_in_part, plain, PAIRS, together=_in_days()
        ),
        "an arm that nothing is seen of": lambda: fit_censored(UNEVEN, np.where(np.arange(12) > 8, -1, 0), plain, PAIRS[:2]),
        "what brews within range can carry": lambda: [
            _censored.enough_seen(plain, PAIRS, SIDE),
            _censored.enough_seen(plain, PAIRS, np.where(np.arange(12) > 8, -1, 0)),
            _censored.enough_seen(plain, PAIRS, np.ones(12, dtype=int)),
            _censored.enough_seen(rounds, PAIRS, np.array([0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1])),
        ],
        "the t law that covers draws": lambda: [
            summary(SIDE, None),
            summary(SIDE, BIAS),
            summary(np.where(np.arange(12) == 6, 1, 0), BIAS),
        ],
        "degrees of freedom of tails, within bounds": lambda: _censored._df_of_tails(
            np.array([1.05, 1.25, 1.32, 1.6, 2.1, 1.3]),
            np.array([1.0, 1.0, 2.0, 2.0, 3.0, 9.0]),
            np.array([50.0, 50.0, 9.0, 9, 2, 4]),
        ),
        "normal values beyond their limits": lambda: _beyond_limits._beyond(
            np.array([0.5, -0.2, 1.3, 30.0]),
            np.array([1, -1, 0, 1]),
            np.array([0.3, 0.4, 1.0, 0.1]),
            np.array([0.2, 0.7, 0.4, 0.5]),
            np.array([0.3, 0.6, 0.8, 0.2]),
        ),
        "lost brews at either end": lambda: (
            [filled_in(OF_UNEVEN, ["a"] * 12, UNEVEN, [(0, "b"), (2, "c")], PAIRS[1], towards=towards) for towards in (1.0, -1.0)]
            + [filled_in([0] * 23, ["a"] * 23, np.linspace(0.0, 2.2, 23), [(0, "b")], np.array([-1.0]), towards=1.0)[2][-1]]
        ),
        "what holds in several answers": lambda: hull(
            [
                call_contrasts(fit_effects(UNEVEN + shift, plain, PAIRS), 0.3)
                for shift in (np.zeros(12), 0.2 * np.sin(np.arange(12)))
            ]
        ),
    }


def bars() -> dict[str, Callable[[], object]]:
    found = fit_effects(UNEVEN * 2.0, lay_out(OF_UNEVEN), PAIRS)
    family = np.array([[1.0, 0.5, 0.1], [0.5, 1.0, -0.4], [0.1, -0.4, 1.0]])
    return {
        "intervals and calls by every bar": lambda: [
            call_contrasts(found, 0.4),
            call_contrasts(found, 2.5, allowance=Allowance(difference=0.02, sameness=0.2), family_correlation=family),
            call_contrasts(found, 0.0).same,
        ],
        "critical values of a family": lambda: (
            [critical_values(level, family, np.array([1.3, 4.5, 11.0, 300.0])) for level in (0.9, 0.95, 0.985, 0.995)]
            + [critical_values(0.9, family[:1, :1], np.array([4.5])), critical_values(1.0, family, np.array([4.5]))]
        ),
        "draws of a joint t law": lambda: (
            [[np.quantile(joint_t(family, df), share, axis=0) for share in (0.1, 0.77)] for df in (3.5, 1e6)]
            + [joint_t(family, 4.0)[:2], len(joint_t(family, 4.0)), _simultaneous._root(family)]
        ),
        "chances spent at looks": lambda: [
            [spent_by(share, 0.025) for share in (0.0, 0.2, 0.55, 1.0, 1.3)],
            boundary_levels([0.3, 0.55, 0.8, 0.8, 1.0], 0.025),
            boundary_levels([0.5, 1.0, 1.2], 0.05),
            [
                allowance_now(looks, planned)
                for looks, planned in (([4, 9, 12], 12), ([12], 12), ([6], 12), ([5, 8], None), ([], 3))
            ],
            [share_of_side_question(number, planned_is_told=told) for number in (1, 3) for told in (True, False)],
            [share_of_later(look) for look in (1, 2, 5)],
            Allowance().shared(0.3),
        ],
        "power, and brews that it takes": lambda: [
            [
                power_of_difference(1.3, n, claim_level=level, arms=arms)
                for n, level, arms in ((5, 0.95, 2), (3.5, 0.9, 4), (1, 0.95, 2))
            ],
            [power_of_sameness(1.6, n, level=level, arms=arms) for n, level, arms in ((9, 0.9, 2), (7, 0.8, 3), (1, 0.9, 2))],
            [
                brews_needed(0.3, gap, power=power, arms=arms)
                for gap, power, arms in ((0.25, 0.8, 2), (0.5, 0.9, 4), (0.001, 0.8, 2), (0, 0.8, 2))
            ],
            [
                brews_needed_for_sameness(0.3, gap, power=power, arms=arms)
                for gap, power, arms in ((0.25, 0.8, 2), (0.5, 0.9, 4), (0, 0.8, 2))
            ],
            [_settle._smallest(lambda n, least=least: n >= least) for least in (1, 2, 3, 37, 2049, 4096, 4097)],
            [best_tests_per_brew(*of) for of in ((20, 5, 0.2, 0.3), (20, 5, 0.9, 0.3), (20, 0, 0.2, 0.3), (20, 5, 0.0, 0.0))],
        ],
    }


def counts() -> dict[str, Callable[[], object]]:
    seen = np.array([7.0, 4, 9, 6, 12, 15, 9, 14, 10, 8, 13, 7])
    of = np.array([20.0, 22, 25, 21] * 3)
    arms, days = [i // 4 for i in range(12)], [f"d{i % 4}" for i in range(12)]
    few = np.array([0.0, 0, 1, 0, 12, 15, 9, 14, 20, 21, 25, 21])
    return {
        "rates and shares of arms, in blocks and not": lambda: [
            fit_rates(seen, of, lay_out(arms, *groups), PAIRS, is_share=is_share)
            for groups in ((), (days,))
            for is_share in (True, False)
        ],
        "counts that are nought or all": lambda: [
            fit_rates(few, of, lay_out(arms, *groups), PAIRS[:2], is_share=is_share).estimate
            for groups in ((), (days,))
            for is_share in (True, False)
        ],
        "one unit of an arm, and a block with each unit its own": lambda: [
            fit_rates(seen[3:], of[3:], lay_out(arms[3:]), PAIRS, is_share=False),
            fit_rates(seen[:4] * 9.0, of[:4], lay_out([0, 1, 0, 1], ["a", "a", "b", "b"]), PAIRS[:1, :2], is_share=False),
        ],
        "sums of days, and those with few events": lambda: [
            _rates.fit_rates_of_days(values, 9.0 * of, lay_out(arms, *groups), PAIRS, is_share=is_share)
            for values in (seen * 5.0, few * 3.0)
            for groups in ((), (days,))
            for is_share in (True, False)
        ],
        "logs of rates made linear, and their weights": lambda: [
            _rates.linear_parts(values, of, lay_out(arms, days), is_share=is_share)
            for values in (seen, few)
            for is_share in (True, False)
        ],
        "whether there are events enough": lambda: [
            _rates.enough_events(lay_out(arms), PAIRS, values, of, is_share=is_share)
            for values in (seen, few, np.where(np.arange(12) < 4, [1.0, 2, 1, 1] * 3, seen))
            for is_share in (True, False)
        ],
    }


def doses() -> dict[str, Callable[[], object]]:
    given = [dose for dose in DOSES for _ in SHIFTS]
    shapes = {
        "peak": PEAK,
        "rising": RISING,
        "falling": tuple(reversed(RISING)),
        "flat": (0.5, 0.52, 0.49, 0.51, 0.5),
        "levels off": (0.1, 0.9, 1.2, 1.3, 1.28),
        "jumps": (0.1, 1.2, 0.2, 1.3, 0.4),
        "peak at the edge": (0.1, 0.3, 0.6, 1.0, 0.9),
    }

    def outcomes(means: tuple[float, ...], size: float = 1.0) -> list[float]:
        return [mean + size * shift * (1 + 0.3 * i) for i, mean in enumerate(means) for shift in SHIFTS]

    days = [f"d{i % 3}" for i in range(15)]
    return {
        **{
            f"dose series: {name}": lambda means=means: [  # type: ignore[misc]
                numbers_of(answer_dose_series(given, outcomes(means)), leaving=("doses",)),
                numbers_of(answer_dose_series(given, outcomes(means, 4.0), days, level=0.8), leaving=("doses", "fitted")),
            ]
            for name, means in shapes.items()
        },
        "three doses, and the grid of the curve": lambda: answer_dose_series(
            [0.5, 2, 4] * 3, [0.1, 0.9, 0.3, 0.2, 1.1, 0.2, 0, 1, 0.4]
        ),
        "where a parabola turns": lambda: [
            turning_point(0.4, -0.9, np.array([[0.02, 0.003], [0.003, 0.05]]), 1.9),
            turning_point(0.4, -0.3, np.array([[0.02, 0.003], [0.003, 0.05]]), 1.9),
        ],
        "what a curve shows by its slope and bend": lambda: [
            _dose._read_curve(slope, bend, np.array([[0.02, 0.003], [0.003, 0.03]]), 1.9)[:2]
            for slope in (-2.0, -0.9, -0.3, 0.1, 0.4, 0.8, 1.6)
            for bend in (-1.2, -0.5, 0.1, 0.5)
        ],
        "without any scatter": lambda: [
            _dose._read_curve(slope, 0.2, np.zeros((2, 2)), 1.9)[:2] for slope in (-0.9, 0.0, 0.1, 0.9)
        ],
        "series that cannot be read": lambda: [
            end_of(lambda: answer_dose_series([0, 1, 0, 1], [0.1, 0.2, 0.3, 0.4])),
            end_of(lambda: answer_dose_series([0, 1, 2], [0.1, 0.2, 0.3])),
            end_of(lambda: answer_dose_series([-1, 1, 2, 2], [0.1, 0.2, 0.3, 0.1])),
            answer_dose_series([0, 1, 2, 2], [0.1, 0.2, 0.3, 0.1]).misfit_p,
        ],
        "dummies of blocks": lambda: [
            _dose._dummies(blocks) for blocks in (["b", "a", "c", "a"], ["a", "a"], ["a", "b"], ["a", "b", "a"])
        ],
    }
