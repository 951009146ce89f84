"""How often a pool of trials claims a difference where there is none, and how often its prediction interval holds.

    python -m benchmarks.how_honest_is_a_pool [POOLS] [--jobs N] [--only TEXT]

Rows: honest nulls; filters of publication (only clear gains are sent in, or others with a chance); places of unequal size; the
better of two answers sent in; honest nulls beside forged trials of one place and of several; one trial sent again with its
numbers shaken; power of honest pools; intervals of the pool and of prediction.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from aerobe.evidence import TrialContrast, prediction_interval, weigh
from benchmarks.side_by_side import arguments, side_by_side

# Chance that a trial without a clear gain is seen, and spread between places [ln ratio].
FILTERS = ((0.0, 0.0), (0.0, 0.2), (0.2, 0.2), (0.5, 0.2))


def honest_trial(
    rng: np.random.Generator, truth: float, key: str, *, site: str = "", spread: float = 0.1, brews: int = 4
) -> TrialContrast:
    """A trial of brews that scatter by 0.2 to 0.5 on the log scale, with its error estimated from them. [ln ratio]"""
    sd, here = float(rng.uniform(0.2, 0.5)), truth + float(rng.normal(0.0, spread))
    first, second = rng.normal(here, sd, brews), rng.normal(0.0, sd, brews)
    pooled = (np.var(first, ddof=1) + np.var(second, ddof=1)) / 2.0
    return TrialContrast(
        key=key,
        recipe="kelp",
        against="plain",
        effect=float(first.mean() - second.mean()),
        variance=float(2.0 * pooled / brews),
        site=site or f"place of {key}",
        brews=brews,
        brews_against=brews,
        df=2.0 * brews - 2.0,
        planned=True,
        blinded=True,
        randomised=True,
        killed_control=True,
    )


def filtered_pool(rng: np.random.Generator, truth: float, places: int, chance: float, spread: float) -> list[TrialContrast]:
    """Trials that were sent in: those with a clear gain, and each other one with the given chance."""
    found: list[TrialContrast] = []
    while len(found) < places:
        one = honest_trial(rng, truth, f"t{len(found)}", spread=spread)
        if one.effect > 1.96 * math.sqrt(one.variance) or rng.random() < chance:
            found.append(one)
    return found


def shaken(rng: np.random.Generator, effect: float, copies: int, shake: float, brews: int = 4) -> list[TrialContrast]:
    """One trial sent again under other names, the result of each brew shaken by a factor."""
    first, second = rng.normal(effect, 0.3, brews), rng.normal(0.0, 0.3, brews)
    found = []
    for i in range(copies):
        a, b = first + rng.normal(0.0, shake, brews), second + rng.normal(0.0, shake, brews)
        found.append(
            TrialContrast(
                key=f"copy-{i}",
                recipe="kelp",
                against="plain",
                effect=float(a.mean() - b.mean()),
                variance=float((np.var(a, ddof=1) + np.var(b, ddof=1)) / brews),
                site=f"person {i}",
                brews=brews,
                brews_against=brews,
                planned=True,
                blinded=True,
                killed_control=True,
            )
        )
    return found


Kind = Callable[[np.random.Generator], list[TrialContrast]]


def _filtered(truth: float, places: int, chance: float, spread: float) -> Kind:
    return lambda rng: filtered_pool(rng, truth, places, chance, spread)


def _forged(rng: np.random.Generator) -> list[TrialContrast]:
    """Four honest nulls, and four trials of one place with a gain and errors that no brewer has."""
    honest = [honest_trial(rng, 0.0, f"t{i}") for i in range(4)]
    effects = rng.normal(0.7, 0.01, 4)
    return honest + [
        replace(honest_trial(rng, 0.0, f"f{i}", site="forge"), effect=float(effects[i]), variance=float(rng.uniform(1e-5, 4e-5)))
        for i in range(4)
    ]


def _forged_places(forged: int, error: float) -> Kind:
    """Three honest nulls, and trials under several names of place with a gain and tiny errors."""

    def made(rng: np.random.Generator) -> list[TrialContrast]:
        false = [
            replace(
                honest_trial(rng, 0.0, f"f{i}"),
                effect=float(rng.normal(0.6, 0.1)),
                variance=float(error**2 * rng.uniform(0.5, 2.0)),
            )
            for i in range(forged)
        ]
        return [*(honest_trial(rng, 0.0, f"t{i}") for i in range(3)), *false]

    return made


def _unequal(places: int, brews: tuple[int, ...], spread: float, truth: float = 0.0) -> Kind:
    """Places that sent different numbers of trials, of different size."""

    def made(rng: np.random.Generator) -> list[TrialContrast]:
        found = []
        for place in range(places):
            here = truth + float(rng.normal(0.0, spread))
            for turn in range(1 + (place == 0) * 3):
                number = brews[(place + turn) % len(brews)]
                found.append(honest_trial(rng, here, f"t{place}-{turn}", site=f"place {place}", spread=0.1, brews=number))
        return found

    return made


def _better_of_two(places: int) -> Kind:
    """Each place asks two outcomes (or hours) and sends in the one that looks better."""

    def made(rng: np.random.Generator) -> list[TrialContrast]:
        pairs = [(honest_trial(rng, 0.0, f"t{i}"), honest_trial(rng, 0.0, f"t{i}")) for i in range(places)]
        return [max(pair, key=lambda one: one.effect) for pair in pairs]

    return made


def kinds() -> dict[str, tuple[Kind, float]]:
    """Every kind of pool with its true effect. [ln ratio]"""
    found: dict[str, tuple[Kind, float]] = {}
    for places in range(3, 9):
        for chance, spread in ((1.0, 0.0), (1.0, 0.2), *FILTERS):
            name = f"{places} places, no difference, others seen {chance:g}, spread {spread:g}"
            found[name] = (_filtered(0.0, places, chance, spread), 0.0)
        for ratio in (1.5, 2.0):
            found[f"{places} places, true ratio {ratio:g}, no filter"] = (
                _filtered(math.log(ratio), places, 1.0, 0.1),
                math.log(ratio),
            )
        found[f"{places} places, true ratio 1.5, others seen 0.2"] = (_filtered(math.log(1.5), places, 0.2, 0.1), math.log(1.5))
        found[f"{places} places of unequal size, one with four trials"] = (_unequal(places, (2, 3, 12), 0.2), 0.0)
        found[f"{places} places, each sends the better of two"] = (_better_of_two(places), 0.0)
    found["four honest nulls and four forged of one place"] = (_forged, 0.0)
    for forged, error in ((1, 0.005), (2, 0.02), (3, 0.02)):
        found[f"three honest nulls, {forged} forged places, error {error:g}"] = (_forged_places(forged, error), 0.0)
    for shake in (0.0, 0.02, 0.05, 0.1):
        found[f"one trial sent eight times, shaken by {shake:g}"] = (lambda rng, by=shake: shaken(rng, 0.6, 8, by), math.nan)
    return found


def row(asked: tuple[str, int]) -> str:
    """Answers of many pools of one kind, and how often the interval of the pool holds the mean truth."""
    name, pools = asked
    made, truth = kinds()[name]
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    answers, inside = [], []
    for _ in range(pools):
        found = weigh(made(rng), "kelp", "plain")
        answers.append(found.answer)
        if found.pooled is not None and math.isfinite(truth):
            inside.append(found.pooled.low <= truth <= found.pooled.high)
    shares = {one: answers.count(one) / len(answers) for one in ("better", "worse", "about the same", "cannot tell")}
    said = ", ".join(f"{one} {100 * share:.1f} %" for one, share in shares.items())
    return f"{name}: {said}" + (f"; 90 % interval holds {100 * float(np.mean(inside)):.1f} %" if inside else "")


def prediction(asked: tuple[int, float, int]) -> str:
    """How often the prediction interval holds the truth of a next trial: errors known, alike or unequal, or told by a few brews.

    The chance that a next truth lies in each interval is exact, so that the pools alone are a matter of luck.
    """
    from scipy.special import ndtr

    places, spread, pools = asked
    said = []
    for errors in ("alike", "unequal", "of few brews"):
        rng, inside = np.random.default_rng([places, round(10 * spread), len(errors)]), 0.0
        for _ in range(pools):
            if errors == "of few brews":
                sent = [honest_trial(rng, 0.0, "t", spread=spread, brews=int(rng.choice((3, 4, 6, 12)))) for _ in range(places)]
                y, v = np.array([one.effect for one in sent]), np.array([one.pool_variance() for one in sent])
            else:
                v = (rng.uniform(0.15, 0.35, places) if errors == "alike" else 0.06 * 10.0 ** rng.uniform(0.0, 1.0, places)) ** 2
                y = rng.normal(0.0, np.sqrt(spread**2 + v))
            low, high = prediction_interval(y, v)
            inside += float(ndtr(high / spread) - ndtr(low / spread))
        said.append(f"{errors} {100 * inside / pools:.1f} %")
    return f"{places} places, spread {spread:g}: 90 % prediction interval holds with errors {', '.join(said)}"


def main() -> None:
    """Print the table."""
    given = arguments(__doc__, "pools", 400)
    names = [name for name in kinds() if given.only in name]
    for said in side_by_side(row, [(name, given.pools) for name in names], given.jobs):
        print(said, flush=True)
    if not given.only:
        pieces = [(places, spread, given.pools) for places in range(3, 9) for spread in (0.1, 0.3, 0.6)]
        for said in side_by_side(prediction, pieces, given.jobs):
            print(said, flush=True)


if __name__ == "__main__":
    main()
