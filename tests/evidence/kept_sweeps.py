"""Kept answers on drawn trials of many kinds at once, so that a limit or a sign that moves is met by some of them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from aerobe.errors import NotEnoughData
from aerobe.evidence import (
    METHODS,
    TrialContrast,
    carries_a_headline,
    flags,
    network,
    pool,
    prediction_interval,
    small_studies,
    spread,
    too_alike,
    weigh,
    without_duplicates,
)
from tests.kept_answers import Rough, numbers_in, short

SEARCHED = "an optimiser ends a little elsewhere on another machine"


def sweeps() -> dict[str, Callable[[], object]]:
    return {
        "flags of eighty drawn trials, and whether a headline may rest on them": _flags,
        "a hundred drawn groups of trials: doubles, and what agrees too closely": _doubles,
        "pools of twenty-four drawn sets of trials by every estimator": _pools,
        "twelve drawn networks of trials": _networks,
        "what sixteen drawn sets of trials say together": lambda: Rough(answer=_weighed(), rtol=1e-4, why=SEARCHED),
    }


def _trial(rng: np.random.Generator, place: int, **more: object) -> TrialContrast:
    def yes_no() -> bool | None:
        return (True, True, False, None)[int(rng.integers(4))]

    known: dict[str, object] = {"recipe": "kelp", "against": "plain", "effect": float(rng.normal(0.4, 0.5))}
    known |= {"variance": float(10.0 ** rng.uniform(-3.5, -0.5)), "site": f"place {place}"}
    known |= {"brews": int(rng.choice([0, 1, 2, 3, 5, 12])), "brews_against": int(rng.choice([0, 1, 2, 3, 4, 9]))}
    known |= {"planned": yes_no(), "blinded": yes_no(), "randomised": yes_no(), "killed_control": yes_no()}
    known |= {"assay_characterised": yes_no(), "df": float(rng.choice([0.0, 2.0, 5.0, 11.0]))}
    return TrialContrast(key=f"t{place}", **{**known, **more})  # type: ignore[arg-type]


def _flags() -> object:
    rng, found = np.random.default_rng(31), []
    for place in range(80):
        made = _trial(rng, place, **({"effect": float(rng.normal(0.0, 3.0))} if place % 4 == 0 else {}))
        found.append([[(flag.name, flag.severity) for flag in flags(made)], carries_a_headline(made)])
    return found


def _doubles() -> object:
    rng, found = np.random.default_rng(32), []
    for place in range(100):
        made = [_trial(rng, i) for i in range(int(rng.integers(2, 8)))]
        near = float(10.0 ** rng.uniform(-7.0, -1.0))
        first = made[0]
        mark = "x" if place % 3 == 0 else ""
        results = tuple(np.round(rng.lognormal(1.0, 0.4, 5), int(rng.integers(0, 3))).tolist()) if place % 2 else ()
        again = {"effect": first.effect + near, "variance": first.variance * (1.0 + near), "data_hash": mark}
        again |= {"results": results, "results_against": results[::-1], "grain": float(rng.choice([0.0, 0.01, 0.2]))}
        made += [_trial(rng, 90 + i, **again) for i in range(1 + place % 3)]
        kept, doubles = without_duplicates(made)
        alike = [[one.places, one.p, one.by] for one in too_alike(made)]
        found.append(short([len(kept), [(one.kept, one.other, one.certain) for one in doubles], alike]))
    return found


def _pools() -> object:
    rng, found = np.random.default_rng(33), []
    for place in range(24):
        count = int(rng.integers(2, 11))
        v = 10.0 ** rng.uniform(-2.5, -0.5, count)
        y = 0.3 + float(rng.choice([0.0, 0.1, 0.6])) * rng.normal(0.0, 1.0, count) + np.sqrt(v) * rng.normal(0.0, 1.0, count)
        method = METHODS[place % len(METHODS)]
        one = pool(y, v, method=method, hartung_knapp=place % 3 > 0, level=(0.8, 0.9, 0.95)[place % 3])
        ends = [one.tau2, one.tau2_low, one.tau2_high, one.i2, one.q, one.prediction_low, one.prediction_high]
        terms = [[term.estimate, term.se, term.low, term.high, term.p] for term in one.terms]
        small = small_studies(y.tolist(), v.tolist()) if count > 2 else None
        told = [] if small is None else [small.limit_low, small.limit_high, small.rank_tau, small.rank_p]
        after = prediction_interval(y, v, level=0.9) if count > 2 and place % 4 == 0 else ()
        found.append(short([[spread(method, y, v, np.ones((count, 1)))[0], *ends], terms, told, after]))
    return Rough(answer=found, rtol=1e-4, why=SEARCHED)


def _networks() -> object:
    rng, found = np.random.default_rng(34), []
    names = ("plain", "kelp", "fish", "bran")
    for place in range(12):
        made = []
        for i in range(int(rng.integers(3, 9))):
            first, second = rng.choice(4, 2, replace=False)
            known = {"recipe": names[int(first)], "against": names[int(second)], "variance": float(rng.uniform(0.01, 0.1))}
            made.append(_trial(rng, i, **known))
        seen = network(made, level=(0.8, 0.95)[place % 2])
        rows = [
            (row.recipe, row.against, row.effect, row.se, row.low, row.high, row.direct, row.indirect) for row in seen.comparisons
        ]
        found.append(short([seen.tau2, rows]))
    return Rough(answer=found, rtol=1e-4, why=SEARCHED)


def _weighed() -> object:
    rng, found = np.random.default_rng(35), []
    for place in range(16):
        drawn = partial(_trial, rng)
        made = [drawn(i, site=f"place {i // (1 + place % 2)}") for i in range(int(rng.integers(1, 9)))]
        if place % 3 == 0:
            good = {"planned": True, "blinded": True, "killed_control": True, "brews": 5, "brews_against": 6, "variance": 0.03}
            made = [drawn(i, effect=float(rng.normal(0.8, 0.1)), **good) for i in range(6)]
        if place % 5 == 1:
            made.append(drawn(50, recipe="plain", against="kelp"))
            made.append(drawn(51, recipe="kelp", against="fish"))
        try:
            seen = weigh(made, "kelp", "plain", margin_ratio=(1.1, 1.25, 1.6)[place % 3])
        except NotEnoughData:
            found.append(None)
            continue
        pooled = None if seen.pooled is None else [seen.pooled.terms[0].estimate, seen.pooled.terms[0].se, seen.pooled.tau2]
        sizes = [
            len(seen.contrasts),
            len(seen.left_out),
            len(seen.sites),
            len(seen.flags),
            len(seen.held_back),
            len(seen.hinges_on),
        ]
        shares = [share for share in seen.shares if share is not None]
        found.append(short([seen.answer, sizes, pooled, shares, seen.next_trial, len(seen.says.split()), numbers_in(seen.says)]))
    return found
