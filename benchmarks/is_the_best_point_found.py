"""Is a good point of a three-factor surface found, and is nothing claimed where there is none?

    python -m benchmarks.is_the_best_point_found [TRIALS] [--jobs N]

A surface of three factors with its best somewhere inside the tested ranges, at an end, or flat; brews scatter by 0.3. A central
composite of nineteen brews judged by its surface, and one factor at a time (eighteen: six levels of each in turn, the others
where they were best). Found: the point named gives no less than 1 / 1.1 of the best. Claimed: the best point is told to be better
than the standard. Holds: the 90 % interval of each factor's best level holds it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import product

import numpy as np
from numpy.typing import NDArray

from aerobe.records import Trial
from aerobe.trials import central_composite
from aerobe.trials._composite import counts_of
from aerobe.verdicts._surface import answer_surface
from benchmarks.side_by_side import arguments, side_by_side

Array = NDArray[np.float64]
SD, GOOD = 0.3, math.log(1.1)
FACTORS = ("molasses", "kelp", "humic")
Truth = Callable[[Array], Array]  # log outcome at coded levels


def surface(kind: str, rng: np.random.Generator) -> tuple[Truth, Array]:
    """A surface of one kind and its best point, coded."""
    if kind == "flat":
        return lambda x: np.zeros(len(x)), np.full(3, np.nan)
    at = rng.uniform(-0.6, 0.6, 3) if kind != "rising" else np.ones(3)
    if kind == "rising":
        return lambda x: 0.35 * x.sum(axis=1), at
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    bend = turn @ np.diag((0.9, 0.6, 0.4) if kind == "peak" else (0.5, 0.4, 0.3)) @ turn.T
    return lambda x: -np.einsum("ij,jk,ik->i", x - at, bend, x - at), at


def composite(truth: Truth, rng: np.random.Generator) -> tuple[Array, bool, Array, str]:
    """Point named, whether it was claimed, interval of each factor's best level, and what the surface is called."""
    arms = central_composite(dict.fromkeys(FACTORS, (-1.0, 1.0)))
    counts = counts_of(Trial(key="t", name="t", question="factors", arms=arms), 1)
    levels = [arm.levels for arm, count in zip(arms, counts, strict=True) for _ in range(count)]
    coded = np.array([[one[name] for name in FACTORS] for one in levels])
    y = truth(coded) + rng.normal(0.0, SD, len(coded))
    found = answer_surface(levels, list(y), [""] * len(y), dict.fromkeys(FACTORS, -1.0), margin=math.log(1.25))
    told = found.effect > found.critical * found.error and found.kind in ("peak", "at the edge")
    return np.array(found.best), told, np.array([found.best_low, found.best_high]), found.kind


def one_at_a_time(truth: Truth, rng: np.random.Generator) -> Array:
    """Six levels of each factor in turn, one brew each."""
    point = np.full(3, -1.0)
    for factor in range(3):
        tried = np.tile(point, (6, 1))
        tried[:, factor] = np.linspace(-1.0, 1.0, 6)
        point = tried[int(np.argmax(truth(tried) + rng.normal(0.0, SD, 6)))]
    return point


def row(asked: tuple[str, int]) -> str:
    """Counts of one kind of surface."""
    kind, trials = asked
    rng = np.random.default_rng(7)
    grid = np.array(list(product(np.linspace(-1.0, 1.0, 21), repeat=3)))
    good, single, claimed, false, held, kinds = [], [], [], [], [], []
    for _ in range(trials):
        truth, at = surface(kind, rng)
        top = float(truth(grid).max())
        named, told, ends, called = composite(truth, rng)
        gain = float(truth(named[None, :])[0] - truth(np.full((1, 3), -1.0))[0])
        good.append(top - float(truth(named[None, :])[0]) <= GOOD)
        single.append(top - float(truth(one_at_a_time(truth, rng)[None, :])[0]) <= GOOD)
        claimed.append(told)
        false.append(told and gain <= 0.0)
        kinds.append(called)
        if not np.isnan(at).any():
            held += ((ends[0] - 1e-9 <= at) & (at <= ends[1] + 1e-9)).tolist()
    share = {name: f"{100.0 * kinds.count(name) / trials:.0f}" for name in ("peak", "at the edge", "flat", "not settled")}
    holds = f"{100.0 * np.mean(held):.1f}" if held else "-"
    return (
        f"{kind}: found {100.0 * np.mean(good):.1f} %, one at a time {100.0 * np.mean(single):.1f} %; claimed "
        f"{100.0 * np.mean(claimed):.1f} %, falsely {100.0 * np.mean(false):.1f} %; intervals hold {holds} %; called {share}"
    )


def main() -> None:
    """Print the table."""
    given = arguments(__doc__, "trials", 200)
    for said in side_by_side(row, [(kind, given.trials) for kind in ("peak", "broad peak", "rising", "flat")], given.jobs):
        print(said, flush=True)


if __name__ == "__main__":
    main()
