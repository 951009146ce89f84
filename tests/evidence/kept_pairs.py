"""Kept answers on pairs of recipes, on single trials, and on what is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.evidence import (
    TrialContrast,
    _patterns,
    _sites,
    brew_lines,
    carries_a_headline,
    contrasts_from_table,
    contrasts_of_verdict,
    flags,
    network,
    notes_of,
    ratio_of_means,
    too_alike,
    weigh,
    without_duplicates,
)
from aerobe.evidence._headline import claimed, headline
from aerobe.evidence._quality import _brew_sd
from tests.evidence.kept_inputs import (
    CLEAR,
    NAMES,
    STAR,
    TABLE,
    TRIALS,
    said,
    verdict,
)
from tests.kept_answers.parts import end_of, numbers_of

FIRST, THEN = np.array([0.31, 0.92, 0.55, 1.41, 0.64]), np.array([1.11, 0.69, 1.78, 1.32])
ODD = np.array([0.11, -0.42, 0.35, 0.08, -0.23])
NEAR = (
    "Oakwood farm",
    "Oakwod farm",
    "farm Oakwood",
    "Oakwood mill",
    "Elm",
    "Elk",
    "Birchfield",
    "Bircfhield",
    "Plot 12345",
    "Plot 12346",
)


def _with(results: np.ndarray, against: np.ndarray, key: str = "p") -> TrialContrast:
    """A trial whose brews are told."""
    return said(key, 0.3 + 0.1 * float(results[0]), 0.02, results=tuple(results), results_against=tuple(against), grain=0.004)


def pairs() -> dict[str, Callable[[], object]]:
    def weighed(*trials: TrialContrast, **more: float) -> object:
        found = weigh(trials, "kelp", "plain", **more)  # type: ignore[arg-type]
        return [numbers_of(found, leaving=("contrasts", "left_out", "flags")), len(notes_of(found)), len(found.left_out)]

    return {
        "a network of four recipes with its chains": lambda: network(STAR),
        "the same from another recipe, at 80 %, and one pair turned": lambda: [
            network(STAR, reference="fish", level=0.8),
            network(STAR).of("kelp", "plain"),
            network(STAR).of("plain", "bran"),
            network(STAR[5:]),
        ],
        "seven trials of five places weighed": lambda: weighed(*TRIALS),
        "five clear trials weighed with a margin of 1.1, and turned": lambda: [
            weighed(*CLEAR, margin_ratio=1.1),
            weigh(CLEAR, "plain", "kelp").answer,
            weigh(CLEAR, "kelp", "plain", margin_ratio=50.0).answer,
        ],
        "one trial, two of one place, and a way around": lambda: [
            weighed(TRIALS[0]),
            weighed(TRIALS[4], TRIALS[5]),
            weighed(*STAR),
            weighed(*STAR[1:2], *STAR[3:]),
        ],
        "what the pool shows before it is asked whether it may be claimed": lambda: [
            claimed(TRIALS, 0.2),
            claimed(CLEAR, 0.2),
            claimed([one.turned() for one in CLEAR], 0.2),
            claimed([replace(one, effect=0.02 * i, variance=0.004) for i, one in enumerate(CLEAR)], 0.2),
            claimed([replace(one, effect=0.02 * i, variance=0.004) for i, one in enumerate(CLEAR)], 0.08),
            claimed(CLEAR[:1], 0.2),
        ],
        "results of one trial in another, shaken, rescaled or in part": lambda: [
            np.log(_patterns.same_numbers(_with(FIRST, THEN), _with(*other)))
            for other in (
                (FIRST, THEN),
                (1.3 + FIRST, THEN + 0.004 * FIRST[:4]),
                (FIRST[::-1][:3], THEN[:4]),
                (THEN, FIRST),
                (ODD, ODD + 0.3),
            )
        ],
        "scores of results, and their order": lambda: [
            _patterns.scores(_with(FIRST, THEN)),
            _patterns.scores(_with(FIRST[:2], THEN)),
            [
                _patterns.same_order(np.array([_patterns.scores(_with(*of)) for of in several]), (5, 4))
                for several in (
                    ((FIRST, THEN), (FIRST + 0.1 * ODD, THEN)),
                    ((FIRST, THEN), (ODD, THEN[::-1])),
                    ((FIRST, THEN), (FIRST + 0.2 * ODD, THEN), (FIRST, THEN - 0.3 * ODD[:4])),
                )
            ],
            [_patterns.grain_of(signals) for signals in ([12.5, 30.25, 7.0], [120.0, 300.0], [0.0, -1.0])],
        ],
        "trials alike by their results": lambda: too_alike(
            [
                _with(FIRST, THEN, "p0"),
                _with(ODD, THEN[::-1], "p1"),
                _with(0.7 + FIRST, THEN + 0.7, "p2"),
                _with(FIRST + 0.02 * ODD, THEN, "p3"),
            ]
        ),
        "names of places that are near": lambda: [
            _sites.near_names([said(f"n{i}", 0.3, 0.02, name) for i, name in enumerate(NEAR)]),
            _sites.sites_of(
                [
                    said("n0", 0.3, 0.02, "Hill", origin="o"),
                    said("n1", 0.3, 0.02, "Dale", origin="o"),
                    said("n2", 0.3, 0.02, "hill "),
                ]
            ),
        ],
        "what holds a claim back": lambda: [
            _answer(CLEAR),
            _answer([replace(one, planned=False, blinded=None) for one in CLEAR]),
            _answer([replace(one, planned=i > 2, blinded=False) for i, one in enumerate(CLEAR)]),
            _answer([replace(one, effect=0.7 + 0.001 * i) for i, one in enumerate(CLEAR)]),
        ],
    }


def _answer(trials: object) -> list[object]:
    found = weigh(trials, "kelp", "plain")  # type: ignore[arg-type]
    said_so = headline("kelp", "plain", found.contrasts, found.pooled, found.network, None, None, 0.2)
    return [found.answer, len(found.held_back), said_so.answer, len(said_so.held_back)]


def single_trials() -> dict[str, Callable[[], object]]:
    odd = (
        said("o1", 3.92, 0.02),
        said("o2", -3.90, 0.02, brews=1),
        said("o3", 0.3, 0.0011, brews=2, killed_control=False, planned=False, blinded=False),
        said("o4", 0.3, 0.0016, brews=0, brews_against=0, assay_characterised=True),
        said("o5", 0.3, 0.02, brews=3, planned=None, randomised=False),
    )
    doubled = (
        said("d1", 0.31, 0.02, data_hash="h"),
        said("d2", -0.31, 0.03, data_hash="h"),
        said("d3", 0.31, 0.02),
        said("d4", 0.310000001, 0.02, data_hash="g"),
        said("d5", 0.32, 0.02, data_hash="h", outcome="count"),
    )
    return {
        "flags of odd trials": lambda: [[(flag.name, flag.severity) for flag in flags(one)] for one in odd],
        "which of them carry a headline, and how brews would differ": lambda: [
            [carries_a_headline(one) for one in odd],
            [_brew_sd(one) for one in odd],
        ],
        "entries that are one": lambda: [
            [one.key for one in without_duplicates(doubled)[0]],
            [numbers_of(one) for one in without_duplicates(doubled)[1]],
        ],
        "intervals and variances with which trials enter": lambda: [
            (one.interval(), one.error_df(), one.pool_variance()) for one in TRIALS
        ],
        "contrasts and lines of a verdict of uneven arms": lambda: [
            [numbers_of(one) for one in contrasts_of_verdict(verdict(), NAMES, site="s", data_hash="h", made={"planned": True})],
            brew_lines(verdict(), NAMES, {"b0": 23.5}),
        ],
        "a trial turned": lambda: TRIALS[2].turned(),
        "from printed means": lambda: ratio_of_means(21.0, 4.5, 5, 13.0, 3.2, 3),
        "a typed table": lambda: [numbers_of(one) for one in contrasts_from_table(TABLE)],
        "trials that are none": lambda: [
            end_of(lambda: said("x", 0.3, 0.0)),
            end_of(lambda: said("x", 0.3, 0.02, shared_variance=0.03)),
            end_of(lambda: said("x", 0.3, 0.02, shared_variance=-0.01)),
            end_of(lambda: said("x", 0.3, 0.02, recipe="plain")),
            end_of(lambda: ratio_of_means(21.0, 4.5, 1, 13.0, 3.2, 3)),
            end_of(lambda: ratio_of_means(0.0, 4.5, 3, 13.0, 3.2, 3)),
            end_of(lambda: contrasts_from_table("key,recipe,against\n")),
            end_of(lambda: weigh(CLEAR, "kelp", "plain", margin_ratio=0.99)),
            end_of(lambda: weigh(CLEAR, "tar", "plain")),
        ],
    }
