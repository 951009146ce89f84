"""Kept answers on what to brew next."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.records import Arm, Trial
from aerobe.trials import SAME_DAY_BOTTLES, _best_arm, _next, informed_words, next_round, propose_next
from aerobe.verdicts import BrewResult, DoseAnswer, Rival, Verdict, hold_back, judge
from tests.kept_answers.parts import end_of, numbers_of

KEYS = ("plain", "kelp", "fish", "bran")
LOGS = np.array([0.31, 0.92, 0.55, 0.41, 0.24, 1.11, 0.69, 0.18, 0.52, 1.38, 0.62, 0.45])
ARMS = [0, 1, 2, 3] * 3


def asked(question: str = "several against a standard", arms: int = 4, margin: float = 1.3) -> Trial:
    made = tuple(Arm(key=key, recipe=key, is_standard=key == "plain") for key in KEYS[:arms])
    return Trial(key="t", name="t", question=question, arms=made, margin_ratio=margin)


def judged(trial: Trial, logs: np.ndarray, blocks: tuple[str, ...] = (), **more: object) -> Verdict:
    count = len(trial.arms)
    made = [
        BrewResult(brew=f"b{i}", arm=KEYS[i % count], value=math.exp(value), block=blocks[i] if blocks else "")
        for i, value in enumerate(logs)
    ]
    return judge(trial, made, extent="without check", **more)  # type: ignore[arg-type]


def step(trial: Trial, verdict: Verdict) -> object:
    found = propose_next(trial, verdict, key="n")
    arms = None if found.trial is None else [(arm.key, arm.dose, arm.is_standard) for arm in found.trial.arms]
    question = None if found.trial is None else found.trial.question
    return [question, arms, found.brews_per_arm, found.brews_of, found.may_stop, len(found.because)]


def _doses(kind: str, best: float | None, low: float | None, high: float | None, tested: tuple[float, ...]) -> object:
    arms = tuple(Arm(key=f"dose-{dose:g}", dose=dose) for dose in tested)
    trial = Trial(key="t", name="t", question="dose series", arms=arms)
    answer = DoseAnswer(
        kind=kind, best=best, best_low=low, best_high=high, doses=(), fitted=(), low=(), high=(), misfit_p=None, because=""
    )
    verdict = replace(judged(asked("two recipes", 2), LOGS[:8]), dose=answer)
    return step(trial, verdict)


def next_steps() -> dict[str, Callable[[], object]]:
    two = asked("two recipes", 2)
    rounds = tuple(f"d{i // 4}" for i in range(12))
    tested = (0.0, 0.5, 1.0, 3.0)
    mean, error = np.array([0.2, 0.5, 0.45]), np.array([0.1, 0.2, 0.05])
    return {
        "the next round of a search for the best": lambda: [
            next_round(LOGS.tolist(), ARMS, 5, 11, margin=0.1),
            next_round(LOGS.tolist(), ARMS, 4, 7, margin=0.3, sd=0.25, seed=4),
            next_round((3.0 * LOGS).tolist(), ARMS, 4, 8, margin=0.2, sd=0.02),
        ],
        "what is believed of each arm, and its scatter": lambda: [
            _best_arm.believed(LOGS[:7], np.array(ARMS[:7]), 5, 0.3),
            _best_arm.believed(LOGS[:0], np.array([], dtype=int), 2, 0.3),
            _best_arm._scatter(LOGS[:7], np.array(ARMS[:7]), 5),
            _best_arm._top_two(mean, error, 20, np.random.default_rng(3)),
            _best_arm._top_two(np.array([9.0, 0.1, 0.2]), np.array([0.1, 0.5, 0.1]), 9, np.random.default_rng(3)),
        ],
        "rounds that cannot be drawn": lambda: [
            end_of(lambda: next_round([0.1, 0.2], [0, 1], 2, 3, margin=0.1)),
            end_of(lambda: next_round([0.1, 0.2], [0, 0], 1, 3, margin=0.1)),
            end_of(lambda: next_round([0.1, 0.2], [0, 0], 2, 0, margin=0.1)),
            len(next_round([0.1, 0.2], [0, 0], 2, 1, margin=0.1).brews),
        ],
        "what to run next: open, told, held, in rounds": lambda: [
            step(two, judged(two, LOGS[:8])),
            step(two, judged(two, np.array([0.1, 2.1, 0.2, 2.3, 0.15, 2.2, 0.05, 2.05]))),
            step(two, hold_back(judged(two, 3.0 * LOGS), Rival(name="c", words="w", remedy="r", blocks_claim=True))),
            step(asked(), judged(asked(), LOGS)),
            step(asked(), judged(asked(), LOGS, rounds)),
            step(asked(), judged(asked(), 5.0 * LOGS, rounds)),
            step(asked(arms=3), judged(asked(arms=3), LOGS[:9], outcome_key="cost per biomass")),
            step(asked(arms=3), judged(asked(arms=3), np.tile([0.1, 1.9, 0.12], 4) + 0.1 * np.sin(np.arange(12.0)))),
        ],
        "the search itself, with rounds that are whole and one that is not": lambda: [
            numbers_of(
                _next._towards_the_best(asked(), asked().arms, judged(asked(), LOGS + np.repeat([0.0, 1.0, -0.7], 4), days))
            )
            for days in (rounds, (*rounds[:11], "d1"))
        ],
        "doses that come next": lambda: [
            _doses("still rising", 3.0, None, None, tested),
            _doses("still falling", 0.0, None, None, tested),
            _doses("still falling", 0.0, None, None, tested[1:]),
            _doses("peak", 1.13, 0.6, 2.2, tested),
            _doses("peak", 1.13, 0.9, 1.3, tested),
            _doses("peak", 1.13, 0.9, 1.36, tested),
            _doses("flat", None, None, None, tested),
        ],
        "how many sentences few brews get": lambda: [
            len(informed_words(judged(two, LOGS[:count]), *prior))
            for count in (4, 6, 8, 12)
            for prior in ((), (SAME_DAY_BOTTLES,))
        ],
    }
