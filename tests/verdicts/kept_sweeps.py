"""Kept answers on drawn input: many small awkward trials at once, so that a limit or a sign that moves is met by some of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np

from aerobe.verdicts import (
    BrewResult,
    LostBrew,
    Verdict,
    _confounders,
    _days,
    _entered_again,
    _implausible,
    _outliers,
    _rivals,
    answer_dose_series,
    fit_effects,
    fit_rates,
    judge,
    lay_out,
    pair_contrast,
    planned_contrasts,
)
from tests.kept_answers import numbers_in, short
from tests.kept_answers.parts import end_of
from tests.verdicts.kept_inputs import FOUR, OF_ROUNDS, OF_UNEVEN, ROUNDS, THREE, asked, results

QUESTIONS = ("several against a standard", "brewing time", "vessels")
OUTCOMES = ("biomass", "cost per biomass", "score", "damage count", "plants affected", "ratio", "yield")
PAIRED = ["d1", "d2", "d3", "d4"] * 2
SHAPES: tuple[tuple[list[int], list[str]], ...] = (
    ([0] * 4 + [1] * 4, []),
    (OF_ROUNDS, ROUNDS),
    ([0] * 4 + [1] * 4, PAIRED),
    (OF_UNEVEN, []),
)


def sweeps() -> dict[str, Callable[[], object]]:
    return {
        "a hundred and fifty drawn sets of brews: too alike, entered again, dead, of one luck": _oddities,
        "effects of thirty-six drawn trials": _effects,
        "verdicts on twenty-eight drawn trials": lambda: [_told(verdict) for verdict in _verdicts()],
        "what twenty-eight drawn verdicts say, in figures": lambda: [_said(verdict) for verdict in _verdicts()],
        "thirty-two drawn dose series": _doses,
        "rates and shares of thirty drawn trials": _rates,
        "eighty drawn trials with vessels and lots": _confounded,
        "hours, days, limits and colour of eighty drawn trials": _others,
    }


def _arms(rng: np.random.Generator, most: int = 4, least: int = 1) -> list[int]:
    """Two to so many arms of unlike size, mixed."""
    sizes = rng.integers(least, 6, int(rng.integers(2, most + 1)))
    return [int(arm) for arm in rng.permutation(np.repeat(np.arange(len(sizes)), sizes))]


def _oddities() -> object:
    rng, found = np.random.default_rng(11), []
    for place in range(150):
        count, per_arm = int(rng.integers(1, 4)), int(rng.choice([4, 6, 9, 12]))
        arms = [arm for arm in range(count) for _ in range(per_arm)]
        size = int(rng.choice([1, 2, 3]))
        apart, within = float(rng.choice([0.2, 0.8])), float(10.0 ** rng.uniform(-4.0, -0.3))
        values = (
            2.0 + np.repeat(rng.normal(0.0, apart, len(arms) // size + 1), size)[: len(arms)] + rng.normal(0.0, within, len(arms))
        )
        if place % 5 == 0:
            values[int(rng.integers(len(values)))] -= rng.uniform(0.8, 3.0)
        if place % 7 == 0:
            values = np.log(np.round(np.exp(values), int(rng.integers(0, 3))) + 0.5)
        days = [f"d{i % per_arm // (1 + place % 3)}" for i in range(len(arms))]
        blocks = days if place % 2 else []
        layout = lay_out(arms, *([blocks] if blocks else []))
        made = results(values.tolist(), arms, THREE, blocks, test_is_measured=place % 3 == 0)
        rival = _implausible.too_alike(made, values, layout, are_logs=True)
        found.append(
            [
                "" if rival is None else rival.name,
                _entered_again.in_sets(values, layout, 0.01),
                _outliers.dead_brew(values, layout) if layout.df > 1 else None,
                bool(_days.share_luck(values, arms, days)),
                len(_days.together_on_days(arms, days)),
            ]
        )
    return found


def _effects() -> object:
    rng, found = np.random.default_rng(12), []
    for place in range(36):
        arms, blocks = SHAPES[place % len(SHAPES)]
        layout = lay_out(arms, *([blocks] if blocks else []))
        rows = np.eye(layout.n_arms)[1:] - np.eye(layout.n_arms)[0]
        values = rng.normal(0.0, 0.4, len(arms)) * (1.0 + np.array(arms) * (place // 4 % 3)) + 0.5 * np.array(arms)
        bias = rng.uniform(0.0, 0.05, len(rows)) if place % 5 == 0 else None
        made = fit_effects(values, layout, rows, bias)
        found.append(short([made.estimate, made.error, made.df, made.known.tolist(), made.scatter]))
    return found


@cache
def _verdicts() -> tuple[Verdict, ...]:
    return tuple(_verdict(place, np.random.default_rng([13, place])) for place in range(28))


def _verdict(place: int, rng: np.random.Generator) -> Verdict:
    """Of every outcome, with whatever may be the matter; of shapes that other cases count, too, since a new one is dear."""
    arms, blocks = SHAPES[place % 3 if place % 9 else 3]
    keys, key = THREE[: max(arms) + 1], OUTCOMES[place % len(OUTCOMES)]
    question = "two recipes" if len(keys) == 2 else QUESTIONS[place // 3 % len(QUESTIONS)]
    logs = rng.normal(1.5, 0.3, len(arms)) + 0.5 * float(rng.choice([0.0, 1.0, 3.0])) * np.array(arms)
    drawn = []
    for i, one in enumerate(results(logs.tolist(), arms, keys, blocks)):
        is_counted = key in ("damage count", "plants affected")
        value = float(round(one.value)) if is_counted else one.value
        known: dict[str, object] = {"value": value, "elapsed_h": 24.0 + (place % 5) * 0.6 * (i % 2)}
        known |= {"of_n": value + 20.0 + i} if key == "plants affected" else {}
        known |= {"source_brew": f"s{i // 2}"} if place % 11 == 3 else {}
        known |= {"at_limit": i == 1} if place % 8 == 5 and not is_counted else {}
        known |= {"colour_sensitive": True, "bias_log_sd": 0.03 * (place % 2)} if place % 6 == 4 else {}
        known |= {"points": (0.9 * value, value, 1.2 * value)} if place % 2 else {}
        drawn.append(replace(one, **known))  # type: ignore[arg-type]
    trial = asked(keys, question, margin_ratio=float(rng.choice([1.1, 1.3, 2.0])), outcome=key)
    return judge(
        trial,
        drawn,
        margin=6.0 if key == "score" else None,
        lost=[LostBrew(arm=keys[-1], block="d1")] if place % 9 == 7 else [],
        also=[(keys[-1], keys[-2])] if len(keys) > 2 and place % 4 == 1 else [],
        extent="whole" if place % 7 == 1 else "without check",
    )


def _told(verdict: Verdict) -> object:
    rows = [
        (one.effect, one.error, one.df, one.family_low, one.family_high, one.probability_better, one.call, one.held_by)
        for one in verdict.comparisons
    ]
    checks = [[float(f"{value:.3g}") for value in (one.estimate, one.low, one.high, one.p)] for one in verdict.checks]
    places = [(place.arm, place.best_place, place.worst_place) for place in verdict.ranking]
    settle = None if verdict.settle is None else (verdict.settle.brews_per_arm, verdict.settle.brews_per_arm_for_sameness)
    rivals = [rival.name for rival in verdict.rivals]
    return short([rows, checks, places, settle, rivals, verdict.left_out, verdict.brew_sd_low, verdict.brew_sd_high])


def _said(verdict: Verdict) -> object:
    """The figures of each sentence, and how many words it has."""
    said = [verdict.headline, *(one.because for one in verdict.comparisons), verdict.settle.words if verdict.settle else ""]
    return [[len(text.split()), *numbers_in(text)] for text in said]


def _doses() -> object:
    rng, found = np.random.default_rng(14), []
    for place in range(32):
        levels = np.sort(rng.choice([0.0, 0.3, 0.5, 1.0, 2.0, 4.0, 8.0], int(rng.integers(3, 7)), replace=False))
        given = np.repeat(levels, int(rng.integers(2, 4)))
        top, width = rng.uniform(-0.5, 1.5) * levels[-1], rng.uniform(0.3, 1.5) * levels[-1]
        height = float(rng.choice([0.0, 0.6, 1.5]))
        y = height * np.exp(-(((given - top) / width) ** 2)) + rng.normal(0.0, 0.12, len(given))
        y += 0.8 * (given == levels[1]) if place % 8 == 3 else 0.0
        blocks = [f"d{i % 2}" for i in range(len(given))] if place % 3 == 0 else []
        made = answer_dose_series(given.tolist(), y.tolist(), blocks, level=float(rng.choice([0.8, 0.9])))
        found.append(short([made.kind, made.best, made.best_low, made.best_high, made.misfit_p]))
    return found


def _rates() -> object:
    rng, found = np.random.default_rng(15), []
    for place in range(30):
        arms, is_share = _arms(rng, 3), place % 2 == 0
        of = rng.integers(15, 40, len(arms)).astype(float)
        seen = np.minimum(np.round(of * rng.beta(1.0 + np.array(arms), 4.0)), of)
        layout = lay_out(arms, *([[f"d{i % 2}" for i in range(len(arms))]] if place % 3 == 0 else []))
        rows = np.eye(layout.n_arms)[1:] - np.eye(layout.n_arms)[0]
        made = fit_rates(seen, of, layout, rows, is_share=is_share)
        found.append(short([made.estimate, made.error, made.df, made.known.tolist()]))
    return found


def _labelled(rng: np.random.Generator, keys: tuple[str, ...], arms: list[int]) -> list[BrewResult]:
    """Brews with vessels, lots and readers that partly go along with the arms."""
    along = float(rng.choice([0.0, 0.3, 0.7, 1.0]))
    days = [f"d{i % 3}" for i in range(len(arms))] if rng.random() < 0.6 else ()
    made = results([0.1 * i for i in range(len(arms))], arms, keys, days)

    def label(arm: int, of: int) -> str:
        return str(arm % of if rng.random() < along else rng.integers(of))

    named = [{"lot": label(arm, 2), "reader": label(arm, 3)} for arm in arms]
    columns = [f"v{label(arm, len(keys))}" for arm in arms]
    return [replace(one, column=column, confounders=name) for one, column, name in zip(made, columns, named, strict=True)]


def _confounded() -> object:
    rng, found = np.random.default_rng(16), []
    for place in range(80):
        keys = FOUR[: 2 + place % 3]
        arms = [int(arm) for arm in rng.permutation(np.tile(np.arange(len(keys)), int(rng.integers(2, 9))))]
        made = _labelled(rng, keys, arms)
        made = made if place % 4 else [replace(one, confounders={}) for one in made]
        rows = planned_contrasts(asked(keys, "vessels" if place % 2 else "several against a standard"))
        got = _confounders.adjust_for_confounders(rows, arms, made, vessels_planned=place % 5 == 0)
        notes = [note.name for note in got.notes]
        found.append([got.layout.df, {str(at): rival.name for at, rival in got.held.items()}, notes])
    return found


def _others() -> object:
    rng, found = np.random.default_rng(17), []
    for place in range(80):
        arms = _arms(rng, 3)
        hour, began = rng.uniform(0.0, 4.0), rng.uniform(0.0, 60.0)
        made = [
            replace(
                one,
                elapsed_h=None if rng.random() < 0.1 else 24.0 + hour * arms[i] + rng.uniform(0.0, 1.0),
                began_h=began * arms[i] + rng.uniform(0.0, 20.0),
                at_limit=bool(rng.random() < 0.05),
                above_range=bool(rng.random() < 0.05),
                colour_sensitive=place % 3 == 0,
                bias_log_sd=0.05 if rng.random() < 0.7 else None,
            )
            for i, one in enumerate(
                results([0.1] * len(arms), arms, THREE, [f"d{int(rng.integers(4))}" for _ in arms] if place % 2 else ())
            )
        ]
        of = asked(THREE[: max(arms) + 1])
        contrast = pair_contrast(of.arms, "kelp", "plain")
        held = [
            _rivals.hours_of(contrast, made),
            _confounders._apart_in_time(contrast, arms, made),
            _rivals.colour_of(contrast, of.arms, made),
        ]
        rivals = _rivals.find_rivals(held[2:], made, of.arms, hours_are_asked=False)
        found.append([[one is not None for one in held], [(one.name, one.blocks_claim) for one in rivals]])
    return [*found, end_of(lambda: _rivals.find_rivals((), [], (), hours_are_asked=True))]
