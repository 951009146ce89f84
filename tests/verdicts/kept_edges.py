"""Kept answers where a count is just enough or just not: two blocks, one group, no scatter, a pair that nobody planned."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.records import Arm, Trial
from aerobe.verdicts import (
    Contrast,
    LostBrew,
    Settle,
    _dose,
    _entered_again,
    _judge_surface,
    _verdict,
    judge,
    lay_out,
    planned_contrasts,
)
from aerobe.verdicts._answer import Verdict
from aerobe.verdicts._check import check_comparisons
from tests.kept_answers import numbers_in
from tests.verdicts.kept_inputs import OF_UNEVEN, THREE, UNEVEN, asked, results, surface_trial, two


def edges() -> dict[str, Callable[[], object]]:
    return {
        "what would settle it: no scatter, one brew, no margin, out of reach": _settling,
        "a middle dose above both ends, and doses that are each a day": lambda: [
            _dose._falls_at_last(np.repeat([0.0, 1.0, 2.0], 3), np.array(y), days)
            for y in ([0.0, 0.1, 0.05, 1.0, 1.1, 0.9, 0.1, 0.0, 0.2], [0.0, 0.1, 0.05, 1.0, 1.1, 0.9, 1.0, 1.2, 1.1])
            for days in ([], [f"d{i // 3}" for i in range(9)], [f"d{i % 3}" for i in range(9)])
        ],
        "sets of brews in one group, and in two": lambda: [
            _entered_again.in_sets(np.array(values), lay_out(arms), 0.001)
            for values, arms in (
                ([0.2, 0.201, 0.9, 0.9012], [0] * 4),
                ([0.2, 0.201, 0.9, 0.9012, 0.3, 0.3005, 1.4, 1.4011], [0] * 4 + [1] * 4),
                ([0.2, 0.201, 0.2012, 0.9, 0.9011, 0.9008], [0] * 6),
                ([0.2, 0.9, 1.7, 0.2013, 0.9004, 1.7008], [0] * 6),
                ([0.2, 0.201], [0, 0]),
            )
        ],
        "checks of trials in two blocks, in one, and of single brews": lambda: [
            [(one.method, float(f"{one.estimate:.3g}"), float(f"{one.p:.3g}")) for one in checks]
            for checks in (
                _checked([0, 0, 0, 1, 1, 1], ["a", "b", "a", "b", "a", "b"]),
                _checked([0, 0, 0, 1, 1, 1], [""] * 6),
                _checked([0, 0, 0, 1], [""] * 4),
                _checked([0, 0, 1, 1], [""] * 4),
            )
        ],
        "a pair that nobody planned, held by itself": _unplanned,
        "a series of three doses, read from either side": lambda: [
            _of_doses(better) for better in ("biomass", "cost per biomass")
        ],
        "what could make a surface, by the colour of some points": lambda: [_coloured(which) for which in ((0,), (0, 3), ())],
    }


def _settling() -> object:
    comparisons = judge(asked(THREE[:2], "two recipes", margin_ratio=1.3), two((0.6, 0.9, 0.7), (0.8, 1.0, 0.7))).comparisons
    held = judge(asked(THREE[:2], "two recipes"), two((0.6, 0.9, 0.7), (0.8, 1.0, 0.7), colour_sensitive=True)).comparisons
    layout = lay_out([0, 0, 0, 1, 1, 1])

    def told(found: Settle | None) -> object:
        if found is None:
            return None
        return [found.brews_per_arm, found.brews_per_arm_for_sameness, numbers_in(found.words), len(found.words.split())]

    return [
        told(_verdict._settle(of, sd, layout, bound, arms))
        for of, sd, bound, arms in (
            (comparisons, None, 0.3, 2),
            (comparisons, 0.0, 0.3, 2),
            (comparisons, 1.0, 0.3, 2),
            (comparisons, 0.2, 0.0, 2),
            (comparisons, 0.2, 1.0, 3),
            (comparisons * 3, 0.2, 0.3, 3),
            (comparisons, 0.2, 1e-5, 9),
            (held, 0.2, 0.3, 2),
            ((), 0.2, 0.3, 2),
        )
    ]


def _checked(arms: list[int], blocks: list[str]) -> tuple[object, ...]:
    values = np.array([0.4, 0.9, 0.6, 1.3, 1.1, 1.8])[: len(arms)]
    made = results(values.tolist(), arms, THREE[:2], blocks)
    return check_comparisons(planned_contrasts(asked(THREE[:2], "two recipes")), THREE[:2], made, values, "ratio")


def _unplanned() -> object:
    made = results(UNEVEN.tolist(), OF_UNEVEN)

    def calls(verdict: Verdict) -> object:
        return [(one.label, one.planned, one.call, one.held_by) for one in verdict.comparisons]

    lost = [[LostBrew(arm=arm)] * count for arm, count in (("fish", 2), ("fish", 4), ("kelp", 3))]
    also = [("fish", "kelp")]
    return [calls(judge(asked(("plain", "kelp", "fish")), made, also=also, lost=gone, extent="comparisons")) for gone in lost]


def _of_doses(better: str) -> object:
    arms = tuple(Arm(key=f"d{dose:g}", recipe=f"d{dose:g}", dose=dose) for dose in (0.5, 1.0, 3.0))
    trial = Trial(key="t", name="t", question="dose series", arms=arms, outcome=better)
    values = [0.31, 0.1, 0.17, 1.48, 1.12, 1.3, 0.93, 0.7, 0.5]
    found = judge(trial, results(values, [i // 3 for i in range(9)], [arm.key for arm in arms]), extent="without check").dose
    assert found is not None
    return [
        found.kind,
        *(None if value is None else float(f"{value:.4g}") for value in (found.best, found.best_low, found.best_high)),
    ]


def _coloured(which: tuple[int, ...]) -> object:
    trial, made = surface_trial()
    trial = replace(trial, arms=tuple(replace(arm, recipe=arm.key) for arm in trial.arms))
    keys = [trial.arms[place].key for place in which]
    made = [replace(one, colour_sensitive=one.arm in keys, bias_log_sd=0.1) for one in made]
    middle = Contrast(label="heat", first="heat", second="", weights=tuple(arm.levels["heat"] - 22.0 for arm in trial.arms))
    rival = _judge_surface.colour_of(middle, trial.arms, made)
    held = judge(trial, made, extent="comparisons").rivals
    return [None if rival is None else rival.log_variance, [(one.name, one.log_variance) for one in held]]
