"""Kept answers of whole verdicts: every question, every way in which a call is held or widened."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.verdicts import (
    AS_PLANNED,
    Allowance,
    BrewResult,
    LostBrew,
    Rival,
    Standing,
    Verdict,
    _verdict,
    _words,
    hold_back,
    judge,
)
from tests.kept_answers.parts import end_of, numbers_of
from tests.verdicts.kept_inputs import (
    FIRST,
    FOUR,
    IN_ROUNDS,
    OF_ROUNDS,
    OF_UNEVEN,
    PEAK,
    RISING,
    ROUNDS,
    SECOND,
    THREE,
    UNEVEN,
    asked,
    counted,
    dose_trial,
    pots,
    results,
    square,
    surface_trial,
    two,
)

PAIR = asked(THREE[:2], "two recipes", margin_ratio=1.4)
STRICT = Standing(allowance=Allowance(difference=0.02, sameness=0.03), looks=2, side_questions=1)


def told(verdict: Verdict) -> object:
    """A verdict in numbers: without its sentences, its single results and the curve of a dose series."""
    kept = numbers_of(verdict, leaving=("results", "checks", "outcome", "doses", "fitted", "surface"))
    assert isinstance(kept, dict)
    kept["rivals"] = [(rival.name, rival.blocks_claim) for rival in verdict.rivals]
    kept["dose"] = (
        None if verdict.dose is None else [verdict.dose.kind, verdict.dose.best, verdict.dose.best_low, verdict.dose.best_high]
    )
    kept["checks"] = len(verdict.checks)
    return kept


def short(verdict: Verdict) -> object:
    """The calls and their reasons alone."""
    calls = [
        (one.label, one.call, one.signal_call, one.held_by, one.worthwhile, one.family_low, one.family_high)
        for one in verdict.comparisons
    ]
    return [
        calls,
        [rival.name for rival in verdict.rivals],
        [(place.arm, place.best_place, place.worst_place) for place in verdict.ranking],
    ]


def verdicts() -> dict[str, Callable[[], object]]:
    return {**_plain(), **_widened(), **_kinds(), **_parts()}


def _plain() -> dict[str, Callable[[], object]]:
    uneven = results(UNEVEN.tolist(), OF_UNEVEN)
    return {
        "two recipes": lambda: told(judge(PAIR, two(FIRST, SECOND), margin=1.2)),
        "several against a standard, with a pair that nobody planned": lambda: told(
            judge(asked(), uneven, also=[("fish", "kelp")])
        ),
        "the same with a stricter bar, and unplanned": lambda: [
            short(judge(asked(), uneven, also=[("fish", "kelp")], standing=STRICT)),
            short(judge(asked(), uneven, standing=replace(AS_PLANNED, was_planned=False))),
        ],
        "several in rounds": lambda: told(judge(asked(), results(IN_ROUNDS.tolist(), OF_ROUNDS, blocks=ROUNDS))),
        "far apart, alike, and settled": lambda: [
            told(judge(PAIR, two(FIRST, [value + 1.0 for value in SECOND]), extent="without check")),
            told(judge(PAIR, two(FIRST * 4, [v + 0.01 for v in FIRST * 4]), margin=2.0, extent="without check")),
            short(judge(PAIR, two(SECOND, FIRST), margin=1.01)),
        ],
        "single brews": lambda: told(judge(PAIR, two(FIRST[:1], SECOND[:1]))),
        "lower is better; neither is": lambda: [
            short(judge(asked(), uneven, outcome_key=key)) for key in ("cost per biomass", "peak time", "ratio")
        ],
        "by difference": lambda: told(
            judge(
                PAIR, [replace(one, value=10.0 * i) for i, one in enumerate(two(FIRST, SECOND))], outcome_key="score", margin=5.0
            )
        ),
    }


def _widened() -> dict[str, Callable[[], object]]:
    coloured = results(UNEVEN.tolist(), OF_UNEVEN, colour_sensitive=True)
    gone = [LostBrew(arm="kelp"), LostBrew(arm="plain", block="d1"), LostBrew(arm="tar")]
    arms, days, vessels, values = square()
    latin = [replace(one, column=vessel) for one, vessel in zip(results(values.tolist(), arms, FOUR, days), vessels, strict=True)]
    dead = [-2.6, *FIRST, 0.9]
    return {
        "colour that nobody checked, and colour of known size": lambda: [
            told(judge(asked(), coloured)),
            told(judge(asked(), [replace(one, bias_log_sd=0.05) for one in coloured])),
        ],
        "brews lost": lambda: [
            short(judge(asked(), results(UNEVEN.tolist(), OF_UNEVEN), lost=gone)),
            short(judge(PAIR, two(FIRST * 2, SECOND * 2), lost=gone[:1])),
            short(judge(PAIR, two(FIRST, SECOND, ("a", "b", "c", "d") * 2), lost=[LostBrew(arm="kelp", block="e")])),
        ],
        "brews at a limit": lambda: short(
            judge(
                asked(),
                [replace(one, at_limit=i == 1, above_range=i == 6) for i, one in enumerate(coloured)],
                outcome_key="yield",
            )
        ),
        "brews lost and one at a limit": lambda: short(
            judge(PAIR, [replace(one, at_limit=i == 0) for i, one in enumerate(two(FIRST, SECOND))], lost=gone[:1])
        ),
        "a brew that died": lambda: told(judge(PAIR, two(dead, SECOND))),
        "days and vessels of a square": lambda: [
            short(judge(asked(FOUR), latin)),
            short(judge(replace(asked(FOUR), design="rounds with vessels"), latin)),
        ],
        "held back, all or some": lambda: [
            short(hold_back(judge(asked(), results(3.0 * UNEVEN, OF_UNEVEN)), Rival(name="x", words="w", remedy="r"), labels))
            for labels in (None, ["kelp against plain"])
        ],
        "brews that read alike to the last digit": lambda: short(judge(PAIR, two([0.5] * 3, SECOND))),
        "arms that never shared a round": lambda: short(
            judge(asked(), results(UNEVEN[:9].tolist(), [0, 1, 0, 1, 0, 1, 2, 2, 2], blocks=["a"] * 4 + ["b"] * 2 + ["c"] * 3))
        ),
    }


def _kinds() -> dict[str, Callable[[], object]]:
    return {
        "counts and shares": lambda: [
            told(judge(asked(outcome="damage count"), counted(None))),
            told(judge(asked(outcome="plants affected"), counted(20.0, blocks=True))),
            short(judge(asked(outcome="plants thriving"), counted(20.0))),
        ],
        "pots fed from brews": lambda: [
            short(judge(PAIR, pots(), outcome_key="yield")),
            short(judge(PAIR, pots()[:5], outcome_key="yield")),
        ],
        "dose series": lambda: [
            told(judge(*dose_trial(means, key))) for means, key in ((PEAK, "biomass"), (RISING, "cost per biomass"))
        ],
        "brewing times and vessels, all pairs": lambda: [
            short(judge(asked(question="brewing time"), results(UNEVEN.tolist(), OF_UNEVEN, elapsed_h=24.0))),
            short(judge(asked(question="vessels"), results(UNEVEN.tolist(), OF_UNEVEN))),
        ],
        "a surface": lambda: [
            _five(told(judge(*surface_trial()))),
            _five(told(judge(*surface_trial(outcome="cost per biomass")))),
        ],
        "a surface that something else could make": lambda: [
            _held(limit=True),
            _held(hours=2.1),
            _held(hours=2.0),
            _held(lot=True),
            _held(lost=2),
            _held(lost=3),
            _held(colour=True),
            _held(),
        ],
        "a surface of counts": lambda: end_of(lambda: judge(*surface_trial(outcome="damage count"))),
    }


def _held(*, limit: bool = False, hours: float = 0.0, lot: bool = False, lost: int = 0, colour: bool = False) -> object:
    trial, made = surface_trial()
    made = [
        replace(
            one,
            at_limit=limit and i == 2,
            elapsed_h=24.0 + (hours if i == 5 else 0.0),
            confounders={"lot": "a" if i in (0, 1, 4) else "b"} if lot else {},
            colour_sensitive=colour,
        )
        for i, one in enumerate(made)
    ]
    trial = replace(trial, arms=tuple(replace(arm, recipe=arm.key) for arm in trial.arms))
    return [rival.name for rival in judge(trial, made, lost=[LostBrew(arm="p1")] * lost).rivals]


def _five(value: object) -> object:
    if isinstance(value, dict):
        return {key: _five(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_five(part) for part in value]
    return float(f"{value:.4g}") if isinstance(value, float) else value


def _parts() -> dict[str, Callable[[], object]]:
    only = judge(PAIR, two(FIRST, SECOND), extent="comparisons").comparisons[0]
    trial, made = dose_trial(PEAK)
    seen: list[BrewResult] = made

    def inside(low: float | None, high: float | None) -> tuple[bool, bool]:
        one = replace(only, family_low=low, family_high=high)
        return _words._inside(one, 0.3), _words._open_both(one, 0.3)

    return {
        "within the margin, or open on both sides": lambda: [
            inside(*ends)
            for ends in (
                (-0.2, 0.2),
                (-0.4, 0.2),
                (-0.2, 0.4),
                (0.1, 0.2),
                (0.1, 0.5),
                (-0.5, -0.1),
                (None, None),
                (-0.4, None),
                (None, 0.4),
            )
        ],
        "the bounds of a scatter": lambda: [_verdict._sd_bound(sd, 5, share) for sd in (0.3, None) for share in (0.95, 0.05)],
        "too few doses": lambda: end_of(
            lambda: len(judge(trial, [one for one in seen if one.arm in ("dose-0", "dose-1")]).comparisons)
        ),
        "numbers of a verdict in an array": lambda: np.array([only.effect, only.error, only.df]),
    }
