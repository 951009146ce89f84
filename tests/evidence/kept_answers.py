"""Answers of the room that are kept: pools with every branch entered, at points where all terms matter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.evidence import (
    METHODS,
    _selection,
    bayes_pool,
    fades_without,
    leave_one_out,
    pool,
    pool_brews,
    prediction_interval,
    regress,
    selection,
    site_means,
    small_studies,
    spread,
    spread_interval,
    too_alike,
    trim_and_fill,
)
from aerobe.evidence._blocks import Blocks, given_spreads, segment_sums
from aerobe.evidence._copies import _chance, _distance, agreement
from aerobe.evidence._hierarchical import _quantile, _tau_grid, mixture
from aerobe.evidence._many import _lattice, _mode
from aerobe.evidence._prediction import _fits, _spreads, _t_nodes
from aerobe.evidence._sites import _within
from aerobe.evidence._spread import checked, most_likely_spread
from tests.evidence.kept_inputs import (
    DOSE,
    HEAT,
    SCALES,
    TEN_V,
    TEN_Y,
    THETA,
    TRIALS,
    V,
    Y,
    blocks,
    many,
    said,
)
from tests.evidence.kept_pairs import pairs, single_trials
from tests.evidence.kept_sweeps import sweeps
from tests.kept_answers import Rough
from tests.kept_answers.parts import end_of, numbers_of, settings_of

SEARCHED = "an optimiser ends a little elsewhere on another machine"


def design(*columns: list[float]) -> np.ndarray:
    return checked(Y, V, np.column_stack(columns))[2]


def answers() -> dict[str, Callable[[], object]]:
    parts = (_spreads_of(), _pools(), _checks(), _brews(), pairs(), single_trials(), sweeps())
    return settings_of("evidence") | {name: case for part in parts for name, case in part.items()}


def _spreads_of() -> dict[str, Callable[[], object]]:
    alone = np.ones((7, 1))
    return {
        "spread between seven trials and its error by each estimator": lambda: {m: spread(m, Y, V, alone) for m in METHODS},
        "the same beside two moderators": lambda: {m: spread(m, Y, V, design(HEAT, DOSE)) for m in METHODS},
        "no spread, three trials": lambda: {m: spread(m, np.array([0.30, 0.33, 0.29]), V[:3], alone[:3]) for m in METHODS},
        "interval of the spread at 95 % and 80 %, and beside a moderator": lambda: [
            spread_interval(Y, V, alone),
            spread_interval(Y, V, alone, 0.8),
            spread_interval(Y, V, design(DOSE)),
        ],
        "a likelihood of the spread with its top between nought and the first point of the grid": lambda: most_likely_spread(
            lambda t: (t - 4e-6) ** 2, lambda t: -2.0 * (t - 4e-6), Y, V
        ),
        "a likelihood highest at the end of the grid, and one whose slope is wrong": lambda: [
            most_likely_spread(lambda t: -t, lambda t: 1.0, Y, V),
            most_likely_spread(lambda t: (t - 0.2) ** 2, lambda t: -1.0, Y, V),
            most_likely_spread(lambda t: (t - 0.2) ** 2, lambda t: -2.0 * (t - 0.2), Y, V),
        ],
        "what cannot be pooled": lambda: [
            end_of(lambda: checked([0.1, 50.1], [0.1, 0.1])),
            end_of(lambda: checked([0.1, 49.9], [0.1, 0.9e-12])),
            end_of(lambda: checked([0.1, 49.9], [0.1, 1.1e6])),
            end_of(lambda: checked([0.1, 0.2], [0.1, 0.0])),
            end_of(lambda: checked([0.1, 0.2], [0.1, 0.1], [1.0, 2.0])),
            end_of(lambda: checked([0.1, 0.2, 0.3], [0.1] * 3, [2.0, 2.0, 2.0])),
            end_of(lambda: checked([0.1, 0.2], [0.1])),
            [part.tolist() for part in checked([0.1, 49.9], [1.1e-12, 0.9e6])],
        ],
    }


def _pools() -> dict[str, Callable[[], object]]:
    return {
        "pool of seven trials with every default": lambda: pool(Y, V),
        "the same without Hartung and Knapp, at 80 %, by moments": lambda: pool(
            Y, V, method="DL", hartung_knapp=False, level=0.8
        ),
        "equal effects": lambda: pool(Y, V, method="EE", hartung_knapp=False),
        "equal effects of trials that agree": lambda: pool([0.30, 0.33, 0.29], V[:3], method="EE"),
        "two trials, and their ratio": lambda: [pool(Y[:2], V[:2]), pool(Y[:2], V[:2]).as_ratio()],
        "on two moderators": lambda: regress(Y, V, {"heat": HEAT, "dose": DOSE}),
        "on two moderators by moments without Hartung and Knapp": lambda: regress(
            Y, V, {"heat": HEAT, "dose": DOSE}, method="DL", hartung_knapp=False, level=0.9
        ),
        "on one moderator where nothing spreads": lambda: regress([0.30, 0.33, 0.29, 0.31], V[:4], {"dose": DOSE[:4]}),
        "Bayesian pool with every default": lambda: numbers_of(bayes_pool(Y, V)),
        "Bayesian pool with a shifted prior and a half-Cauchy spread": lambda: numbers_of(
            bayes_pool(Y, V, prior_mean=0.3, prior_sd=0.7, tau_scale=0.2, tau_prior="half-Cauchy", level=0.8, points=60)
        ),
        "points of the spread and their weights": lambda: _tau_grid(Y, V, 0.3, 0.7, 0.2, "half-normal", 7),
        "a mixture of three normals, and a quantile between points": lambda: [
            mixture(np.array([0.2, 0.5, 0.3]), np.array([-0.4, 0.1, 0.9]), np.array([0.04, 0.09, 0.01]), 0.9),
            _quantile(np.array([0.1, 0.4, 0.8]), np.array([0.2, 0.5, 0.3]), 0.37),
        ],
        "where a next trial lies": lambda: [
            prediction_interval(Y, V),
            prediction_interval(Y[:3], V[:3], level=0.5),
            prediction_interval([0.30, 0.33], V[:2]),
        ],
        "its parts: fits at spreads, spreads at numbers of Q, points of t": lambda: [
            _fits(Y, V, np.array([0.02, 0.3])),
            _spreads(Y, V, np.array([0.5, 3.0, 9.0, 40.0])),
            [_t_nodes(3)[0][:3], _t_nodes(3)[1][:2], len(_t_nodes(3)[0])],
        ],
    }


def _checks() -> dict[str, Callable[[], object]]:
    left = (said("z0", 0.41, 0.04), said("z1", 0.412, 0.0401), said("z2", 0.9, 0.08), said("z3", -0.3, 0.05, df=1.0))
    return {
        "each trial left out in turn": lambda: [
            [(one.estimate, one.se, one.low, one.high, one.tau2) for one in leave_one_out(Y, V)],
            [one.low for one in leave_one_out(Y, V, method="PM", hartung_knapp=False, level=0.8)],
            fades_without(pool(Y, V), leave_one_out(Y, V)),
        ],
        "lean of small trials": lambda: [
            small_studies(Y, V),
            small_studies(-TEN_Y, TEN_V),
            small_studies(TEN_Y[:10], TEN_V[:10]),
        ],
        "trials that a funnel lacks": lambda: [
            trim_and_fill(TEN_Y, TEN_V),
            trim_and_fill(-TEN_Y, TEN_V, method="EE"),
            trim_and_fill(np.array([0.0, 0.1, 0.9, 1.4, 1.9]), np.array([0.01, 0.02, 0.2, 0.3, 0.5]), method="DL"),
        ],
        "what a lean is not looked for in": lambda: [
            end_of(lambda: small_studies(Y[:2], V[:2])),
            end_of(lambda: small_studies(Y[:3], [0.1, 0.1, 0.1])),
            end_of(lambda: leave_one_out(Y[:2], V[:2])),
            end_of(lambda: selection(Y[:2], V[:2])),
        ],
        "trials that agree too well": lambda: [
            too_alike(left),
            too_alike((*left, said("z4", 0.4105, 0.04005))),
            agreement(left),
            agreement(left[:1]),
            agreement(left[:2]),
        ],
        "how near trials are, and by what chance": lambda: [
            _distance(Y[:4], V[:4], np.array([4.0, 0.5, 0.0, 7.0])),
            _chance(Y[:4], V[:4], np.array([4.0, 2.0, 3.0, 7.0])),
            _chance(Y[:4], V[:4], np.array([4.0, 2.0, 0.0, 7.0])),
            _chance(np.array([0.3, 0.4]), np.array([0.02, 0.02]), np.array([4.0, 5.0])),
        ],
        "what a filter of publication leaves": lambda: [
            numbers_of(one)
            for one in (
                selection(Y, V),
                selection(-Y, V),
                selection(TEN_Y, TEN_V, [1.6 * np.sqrt(TEN_V), 2.3 * np.sqrt(TEN_V)]),
                selection([0.58, 0.81, 0.66, 0.93], [0.02, 0.024, 0.028, 0.032]),
            )
        ],
        "its parts": lambda: [
            numbers_of(_selection._fitted(Y, V, 1.1 * np.sqrt(V))),
            _selection._if_better_of_two(Y, V),
            [(tried[0], tried[-1], len(tried)) for tried in map(_selection._effects, (Y, 0.01 * Y, Y), (V, 1e-3 * V, 40.0 * V))],
        ],
        "places and their bars": lambda: [site_means(TRIALS), site_means(TRIALS[4:6]), _within(Y, V, [[0, 3], [1], [2, 4, 6]])],
    }


def _brews() -> dict[str, Callable[[], object]]:
    def pooled() -> object:
        found = pool_brews(many())
        return Rough(answer=numbers_of(found, leaving=("lattice_points",)), rtol=2e-3, why=SEARCHED)

    def turned() -> object:
        found = pool_brews(many(), reference="fish", level=0.5, effect_prior_sd=0.4, spread_scales=(0.8, 0.3, 0.4))
        return Rough(answer=numbers_of(found, leaving=("lattice_points",)), rtol=2e-3, why=SEARCHED)

    def lattice() -> object:
        theta, weight, means, covs, mesh = _lattice(blocks(), SCALES)
        return Rough(
            answer=[weight @ theta, weight @ means, np.diagonal(np.tensordot(weight, covs, 1)), mesh], rtol=5e-3, why=SEARCHED
        )

    return {
        "brews sorted into cells and trials": lambda: numbers_of(blocks(), leaving=("xp",)),
        "height, coefficients and covariance at two rows of spreads": lambda: given_spreads(blocks(), THETA, SCALES),
        "sums of neighbours, two ways": lambda: [
            segment_sums(xp, np.array([[1.0, 2.5, 4.0, 7.5, 3.0]]), np.array([0, 2, 3, 5]), 1) for xp in (np, _Other())
        ],
        "top of the spreads and its axes": lambda: Rough(
            answer=[_mode(blocks(), SCALES)[0], np.abs(_mode(blocks(), SCALES)[1])], rtol=2e-2, why=SEARCHED
        ),
        "means over the lattice": lattice,
        "twenty-seven brews pooled with every default": pooled,
        "the same against another recipe with other priors": turned,
        "brews that cannot be pooled": lambda: [
            end_of(lambda: Blocks.of(replace(many(), variance=np.zeros(27)), "", 1.0, np)),
            end_of(lambda: Blocks.of(replace(many(), outcome=np.full(27, 100.0)), "", 1.0, np)),
            end_of(lambda: Blocks.of(replace(many(), trial=["t"] * 27), "", 1.0, np)),
            end_of(lambda: Blocks.of(replace(many(), recipe=["plain"] * 27), "", 1.0, np)),
            end_of(lambda: Blocks.of(replace(many(), moderators={"warm": np.ones(27)}), "", 1.0, np)),
            end_of(lambda: Blocks.of(many(), "tar", 1.0, np)),
            end_of(lambda: Blocks.of(replace(many(), recipe=["plain"] * 26), "", 1.0, np)),
        ],
    }


class _Other:
    """Another array module than numpy itself, with its functions: the way of a GPU."""

    def __getattr__(self, name: str) -> object:
        return getattr(np, name)
