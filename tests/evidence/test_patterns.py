"""One trial sent again by its brews: shaken, rescaled, reordered, rounded, cut; and honest trials that are left in peace."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest import approx
from scipy import stats

from aerobe.evidence import TrialContrast, grain_of, too_alike, weigh
from aerobe.evidence._patterns import _log_density, same_order, scores

NORMAL = 1e9  # degrees of freedom
Arms = tuple[NDArray[np.float64], NDArray[np.float64]]
Change = Callable[[np.random.Generator, NDArray[np.float64], NDArray[np.float64]], Arms]


def of_brews(key: str, first: NDArray[np.float64], second: NDArray[np.float64]) -> TrialContrast:
    return TrialContrast(
        key=key,
        recipe="kelp",
        against="plain",
        effect=float(first.mean() - second.mean()),
        variance=float(np.var(first, ddof=1) / len(first) + np.var(second, ddof=1) / len(second)),
        site=f"place of {key}",
        brews=len(first),
        brews_against=len(second),
        planned=True,
        blinded=True,
        killed_control=True,
        results=tuple(first.round(5).tolist()),
        results_against=tuple(second.round(5).tolist()),
    )


def drawn(rng: np.random.Generator, key: str, brews: int = 4, *, tails: float = NORMAL) -> TrialContrast:
    sd = float(rng.uniform(0.2, 0.5))
    return of_brews(key, 0.4 + sd * rng.standard_t(tails, brews), sd * rng.standard_t(tails, brews))


def rounded(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.log([float(f"{value:.2g}") for value in np.exp(values)])


CHANGES: dict[str, tuple[int, Change]] = {
    "reordered, other units": (4, lambda rng, a, b: (rng.permutation(a) + 6.9, rng.permutation(b) + 6.9)),
    "another ratio": (4, lambda rng, a, b: (rng.permutation(a) + 0.5, b)),
    "arms exchanged": (4, lambda rng, a, b: (b, a)),
    "one arm new": (4, lambda rng, a, b: (rng.normal(0.9, 0.3, len(a)), rng.permutation(b) + 1.0)),
    "a brew of each left out": (4, lambda rng, a, b: (a[1:], b[:-1])),
    "half of the brews": (8, lambda rng, a, b: (a[::2], b[1::2])),
    "rounded": (6, lambda rng, a, b: (rounded(a), rng.permutation(rounded(b)))),
    "shaken by 5 %": (6, lambda rng, a, b: (a + rng.normal(0.0, 0.05, len(a)), b + rng.normal(0.0, 0.05, len(b)))),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_trial_sent_again_is_known_by_its_brews(change: str) -> None:
    brews, change_of = CHANGES[change]
    rng = np.random.default_rng(41)
    found = 0
    for _ in range(6):
        honest = [drawn(rng, f"t{i}", brews) for i in range(4)]
        copy = of_brews("copy", *change_of(rng, np.array(honest[0].results), np.array(honest[0].results_against)))
        groups = too_alike([*honest, copy])
        found += any({0, 4} <= set(group.places) for group in groups)
    assert found >= 5


def test_copies_shaken_by_a_fifth_follow_each_other_from_brew_to_brew() -> None:
    rng = np.random.default_rng(42)
    one = drawn(rng, "t", 6)
    sent = [
        of_brews(
            f"c{i}",
            np.array(one.results) + rng.normal(0.1 * i, 0.2, 6),
            np.array(one.results_against) + rng.normal(0.0, 0.2, 6),
        )
        for i in range(4)
    ]
    assert same_order(np.array([scores(item) for item in sent]), (6, 6)) < 1e-4
    found = weigh([*sent, *(drawn(rng, f"h{i}", 6) for i in range(2))], "kelp", "plain")
    assert found.duplicates and len(found.contrasts) <= 4


@pytest.mark.parametrize(("brews", "tails"), [(3, NORMAL), (4, 2.5), (6, NORMAL)])
def test_honest_trials_are_left_in_peace(brews: int, tails: float) -> None:
    rng = np.random.default_rng(43)
    wrong = sum(bool(too_alike([drawn(rng, f"h{i}", brews, tails=tails) for i in range(5)])) for _ in range(20))
    assert wrong <= 2  # 1.4 % of pools are allowed; more than 2 of 20 would be seen once in 400 rounds


def test_results_on_a_coarse_scale_are_no_copies() -> None:
    rng = np.random.default_rng(44)
    for _ in range(8):
        made = [drawn(rng, f"h{i}") for i in range(6)]
        coarse = [
            replace(
                of_brews(
                    item.key, *(np.log(np.ceil(5.0 * np.exp(np.array(arm)))) for arm in (item.results, item.results_against))
                ),
                grain=0.2,
            )
            for item in made
            if item.variance > 0.0
        ]
        assert not [group for group in too_alike(coarse) if group.by == "results"]


def test_the_chance_of_one_order_is_that_of_the_correlation() -> None:
    # scipy's own test of the correlation of two vectors about their mean; here two means, one for each arm, are taken out
    rng = np.random.default_rng(45)
    pair = np.array([scores(drawn(rng, key, 5)) for key in "ab"])
    rest = 10 - 3  # degrees of freedom of a correlation with two means taken out
    r = float(pair[0] @ pair[1])
    assert same_order(pair, (5, 5)) == approx(float(stats.t.sf(r * math.sqrt(rest / (1.0 - r**2)), rest)), rel=1e-9)


def test_the_density_of_results_about_their_mean_by_an_integral_of_the_reference_library() -> None:
    from scipy.integrate import quad

    points = np.array([-0.3, 0.1, 0.2])
    value, _ = quad(lambda move: float(np.prod(stats.t.pdf((points + move) / 0.4, 3) / 0.4)), -8.0, 8.0, points=[0.0])
    assert _log_density(points, np.array([0.4])) == approx(math.log(math.sqrt(3.0) * value), abs=5e-3)


def test_the_step_of_written_numbers() -> None:
    assert grain_of([31.0, 40.0, 52.0]) == approx(1 / 40)
    assert grain_of([1.2e6, 2.4e6, 3e6]) == approx(1e5 / 2.4e6)
    assert grain_of([0.412, 0.5]) == approx(0.001 / 0.456)
    assert grain_of([]) == 0.0
