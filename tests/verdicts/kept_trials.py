"""Kept answers on readings, brews and what else could make a difference."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.verdicts import (
    BrewResult,
    LostBrew,
    _check,
    _confounders,
    _counting,
    _missing,
    _results,
    _rivals,
    brew_results,
    lay_out,
    outcome,
    pair_contrast,
    planned_contrasts,
)
from tests.kept_answers.parts import end_of, numbers_of
from tests.verdicts.kept_inputs import (
    ASSAYS,
    FIRST,
    OF_UNEVEN,
    READINGS,
    SECOND,
    THREE,
    UNEVEN,
    asked,
    brew,
    pots,
    read,
    results,
    square,
    two,
)
from tests.verdicts.kept_oddities import oddities, surfaces

RATIO, SCORE, SHARE, RATE = (outcome(key) for key in ("biomass", "score", "plants affected", "damage count"))


def trials() -> dict[str, Callable[[], object]]:
    return {**_brews(), **_units(), **_others(), **oddities(), **surfaces()}


def _brews() -> dict[str, Callable[[], object]]:
    bare = [read("b1", "sample", 24.0, signal, "plain") for signal in (40.0, 47.0, 51.0)]
    guess = [
        read("b1", "sample", 24.0, 40.0, "guess"),
        read("b2", "sample", 24.0, 3.0, "guess"),
        read("b2", "blank", 24.0, 2.9, "guess"),
    ]
    brews = [brew(f"b{i}") for i in range(1, 6)]

    def of(readings: list[object], *which: int, **more: float) -> object:
        return [numbers_of(one) for one in brew_results([brews[i - 1] for i in which], readings, ASSAYS, **more)]  # type: ignore[arg-type]

    return {
        "five brews with controls of every kind, at the hour all share": lambda: of(READINGS, 1, 2, 3, 4, 5),
        "the same within 0.3 h of 24 h, and at 12 h": lambda: [
            of(READINGS, 1, 2, at_h=24.0, tolerance_h=0.3),
            of(READINGS, 1, at_h=12.0),
            end_of(lambda: of(READINGS, 1, 2, at_h=12.0)),
        ],
        "an assay without an error, one with a guessed error": lambda: [of(bare, 1), of(bare[:1], 1), of(guess, 1, 2)],
        "brews at the end of the range, corrected, or in two ways": lambda: [
            of([read("b1", "sample", 24.0, 9.0, below_detection=True)], 1),
            of([read("b1", "sample", 24.0, 150.0, above_range=True)], 1),
            of([*READINGS[:2], read("b1", "sample", 24.0, 90.0, replaces=READINGS[0].key)], 1),
            end_of(lambda: of([read("b1", "sample", 24.0, 310.0), read("b1", "sample", 24.0, 9.0, below_detection=True)], 1)),
            end_of(lambda: of([*READINGS, *bare], 1)),
            end_of(lambda: of([read("b1", "sample", 24.0, 9.0), read("b1", "sample", 24.0, 9.5, unit="x")], 1)),
            of([read("b1", "sample", 10.0, 90.0), read("b2", "sample", 20.0, 80.0)], 1, 2),
        ],
        "hours that all brews share": lambda: (
            [_results._latest_common_hour([READINGS[:3], READINGS[6:7]], tolerance) for tolerance in (1.0, 0.2, 13.0)]
            + [_results._latest_common_hour([[read("b1", "sample", 3.0, 1.0)], [read("b2", "sample", 9.0, 1.0)]], 1.0)]
        ),
        "whether a reading is above the range": lambda: [
            _results._is_above_range(read("b1", "sample", 1.0, signal), ASSAYS["kit"]) for signal in (299.9, 300.0)
        ],
    }


def _units() -> dict[str, Callable[[], object]]:
    even = [replace(pot, source_brew="") for pot in pots()]

    def units(made: list[BrewResult], kind: object) -> object:
        return [numbers_of(one) for one in _counting.collapse_to_source(tuple(made), kind)]  # type: ignore[arg-type]

    bad = BrewResult(brew="x", arm="kelp", value=3.0)
    return {
        "pots of several brews become brews: by ratio, by difference, as counts": lambda: (
            [units(pots(), kind) for kind in (RATIO, SCORE, RATE)]
            + [units([replace(pot, of_n=10.0 + i, block="x") for i, pot in enumerate(pots())], SHARE), len(units(even, RATIO))]
        ),  # type: ignore[arg-type]
        "what is no result": lambda: [
            [
                end_of(lambda kind=kind, made=made: len(_counting.usable_results(asked(THREE[1:2]), [made], kind)))  # type: ignore[misc]
                for kind in (RATIO, SCORE, RATE, SHARE)
            ]
            for made in (
                bad,
                replace(bad, value=0.0),
                replace(bad, value=-0.5),
                replace(bad, of_n=3.0),
                replace(bad, of_n=2.0),
                replace(bad, of_n=0.0),
                replace(bad, value=float("inf")),
                replace(bad, arm="tar"),
            )
        ],
        "margins": lambda: [
            _counting.margin_of(asked(margin_ratio=1.4), None, RATIO),
            _counting.margin_of(asked(), 1.0, RATIO),
            _counting.margin_of(asked(), 2.5, SCORE),
            end_of(lambda: _counting.margin_of(asked(), None, SCORE)),
            end_of(lambda: _counting.margin_of(asked(), 0.0, SCORE)),
            end_of(lambda: _counting.margin_of(asked(), 0.99, RATIO)),
        ],
    }


def _others() -> dict[str, Callable[[], object]]:
    arms, days, vessels, values = square()
    rows = planned_contrasts(asked((*THREE, "bran")))
    keys = (*THREE, "bran")

    def adjusted(planned: bool, **labels: list[str]) -> object:
        made = results(values.tolist(), arms, keys, days)
        for name, of in labels.items():
            field = {"column": of[0]} if name == "column" else {}
            made = [
                replace(one, column=label) if field else replace(one, confounders={**one.confounders, name: label})
                for one, label in zip(made, of, strict=True)
            ]
        found = _confounders.adjust_for_confounders(rows, arms, made, vessels_planned=planned)
        held = {str(place): rival.name for place, rival in found.held.items()}
        return [found.layout.matrix.shape, held, [note.name for note in found.notes]]

    lots = ["L1" if arm < 2 else "L2" for arm in arms]
    mixed = [f"L{(arm + i // 4) % 3}" for i, arm in enumerate(arms)]
    own = [f"L{arm}" for arm in arms]
    weights = np.array([row.weights for row in rows])
    began = (0.0, 2.0, 1.0, 3.0)

    def apart(gap: float, *, known: bool = True) -> object:
        hours = (*began, *(3.0 + gap + hour for hour in began))
        made = [
            replace(one, began_h=hour if known or i else None)
            for i, (one, hour) in enumerate(zip(two(FIRST, SECOND), hours, strict=True))
        ]
        rival = _confounders._apart_in_time(pair_contrast(asked(THREE[:2]).arms, "kelp", "plain"), [0] * 4 + [1] * 4, made)
        return rival is not None

    coloured = results(UNEVEN.tolist(), OF_UNEVEN, colour_sensitive=True)
    biased = [replace(one, bias_log_sd=0.1 + 0.02 * i) for i, one in enumerate(coloured)]
    contrast = pair_contrast(asked().arms, "kelp", "plain")

    def hours(*shift: float) -> list[BrewResult]:
        return [replace(one, elapsed_h=24.0 + shift[OF_UNEVEN[i]]) for i, one in enumerate(coloured)]

    return {
        "vessels and lots beside the arms": lambda: [
            adjusted(False, column=vessels),
            adjusted(True, column=vessels),
            adjusted(False, column=[f"v{arm}" for arm in arms]),
            adjusted(False, lot=lots),
            adjusted(False, lot=mixed),
            adjusted(False, lot=own, reader=mixed),
            adjusted(False, lot=mixed, reader=[f"R{i % 3}" for i in range(16)], column=vessels),
            adjusted(False, lot=[f"X{i // 2}" for i in range(16)], reader=[f"Y{i % 7}" for i in range(16)]),
        ],
        "how much of a comparison lies in labels": lambda: [
            _confounders._share_in(lay_out(arms, days), weights, of) for of in (vessels, lots, mixed, own)
        ],
        "starts apart in time": lambda: [apart(gap) for gap in (19.9, 20.1, -30.0, -24.0)] + [apart(40.0, known=False)],
        "what colour adds": lambda: [
            numbers_of(_rivals.colour_of(contrast, asked().arms, made))
            for made in (coloured, biased, biased[:6], [*biased[:5], *coloured[5:]], results(UNEVEN.tolist(), OF_UNEVEN))
        ],
        "what a sceptic names": lambda: [
            [(one.name, one.blocks_claim) for one in _rivals.find_rivals((), made, asked().arms, hours_are_asked=False)]
            for made in (
                coloured[:6] + coloured[8:10],
                coloured[4:6] + coloured[8:],
                [replace(one, block=f"d{i}") for i, one in enumerate(coloured)],
                [replace(one, block=f"d{i // 3}") for i, one in enumerate(coloured)],
                hours(0.0, 2.0, 1.0),
                hours(0.0, 2.1, 1.0),
                [replace(one, at_limit=i == 3, above_range=i == 7) for i, one in enumerate(coloured)],
            )
        ],
        "hours of two arms": lambda: [
            _rivals.hours_of(contrast, hours(0.0, shift, 0.0)) is not None for shift in (1.9, 2.0, 2.1, -2.1, -1.9)
        ],
        "too many lost": lambda: [
            _missing.too_many_lost(contrast, coloured, [LostBrew(arm=arm)] * count) is not None
            for arm, count in (("kelp", 1), ("kelp", 2), ("plain", 2), ("plain", 3), ("fish", 9))
        ],
        "one brew of an arm": lambda: [
            _rivals.one_brew_of(contrast, fed) is not None for fed in ({}, {"kelp": {"a"}}, {"kelp": {"a", "b"}}, {"fish": {"a"}})
        ],
        "checks by a mixed model of single tests, in rounds": lambda: [
            [
                [float(f"{value:.3g}") for value in (one.estimate, one.low, one.high, one.p)]
                for one in _check.check_comparisons(
                    planned_contrasts(asked()), THREE, made, np.log([r.value for r in made]), scale
                )
            ]
            for made, scale in (
                ([replace(one, points=(0.9 * one.value, one.value, 1.15 * one.value)) for one in coloured], "ratio"),
                ([replace(one, block=f"d{i % 4}") for i, one in enumerate(coloured)], "difference"),
            )
        ],
    }
