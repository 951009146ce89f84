"""How often a pool of trials claims a difference where there is none, and how often its prediction interval holds.

    python -m benchmarks.how_honest_is_a_pool [POOLS]

Rows: honest nulls; filters of publication (only clear gains are sent in, or others with a chance); honest nulls beside four
forged trials of one place; one trial sent again with its numbers shaken; power of honest pools; prediction intervals.
"""

from __future__ import annotations

import math
import sys

import numpy as np

from aerobe.evidence import Contrast, prediction_interval, weigh

# Chance that a trial without a clear gain is seen, and spread between places [ln ratio].
FILTERS = ((0.0, 0.0), (0.0, 0.2), (0.2, 0.2), (0.5, 0.2))


def honest_trial(
    rng: np.random.Generator, truth: float, key: str, *, site: str = "", spread: float = 0.1, brews: int = 4
) -> Contrast:
    """A trial of brews that scatter by 0.2 to 0.5 on the log scale, with its error estimated from them. [ln ratio]"""
    sd, here = float(rng.uniform(0.2, 0.5)), truth + float(rng.normal(0.0, spread))
    first, second = rng.normal(here, sd, brews), rng.normal(0.0, sd, brews)
    pooled = (np.var(first, ddof=1) + np.var(second, ddof=1)) / 2.0
    return Contrast(
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


def filtered_pool(rng: np.random.Generator, truth: float, places: int, chance: float, spread: float) -> list[Contrast]:
    """Trials that were sent in: those with a clear gain, and each other one with the given chance."""
    found: list[Contrast] = []
    while len(found) < places:
        one = honest_trial(rng, truth, f"t{len(found)}", spread=spread)
        if one.effect > 1.96 * math.sqrt(one.variance) or rng.random() < chance:
            found.append(one)
    return found


def shaken(rng: np.random.Generator, effect: float, copies: int, shake: float, brews: int = 4) -> list[Contrast]:
    """One trial sent again under other names, the result of each brew shaken by a factor."""
    first, second = rng.normal(effect, 0.3, brews), rng.normal(0.0, 0.3, brews)
    found = []
    for i in range(copies):
        a, b = first + rng.normal(0.0, shake, brews), second + rng.normal(0.0, shake, brews)
        found.append(
            Contrast(
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


def main() -> None:
    """Print the table."""
    pools = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    rng = np.random.default_rng(1)
    for places in (3, 5, 8):
        for chance, spread in ((1.0, 0.0), (1.0, 0.2), *FILTERS):
            answers = [weigh(filtered_pool(rng, 0.0, places, chance, spread), "kelp", "plain").answer for _ in range(pools)]
            _say(f"{places} places, no difference, others seen {chance:g}, spread {spread:g}", answers)
        for ratio in (1.5, 2.0):
            trials = [filtered_pool(rng, math.log(ratio), places, 1.0, 0.1) for _ in range(pools)]
            _say(f"{places} places, true ratio {ratio:g}, no filter", [weigh(one, "kelp", "plain").answer for one in trials])
        for spread in (0.1, 0.3, 0.6):
            _prediction(rng, places, spread, pools)
    for shake in (0.0, 0.02, 0.05, 0.1):
        found = [weigh(shaken(rng, 0.6, 8, shake), "kelp", "plain").answer for _ in range(pools)]
        _say(f"one trial sent eight times, shaken by {shake:g}", found)


def _say(what: str, answers: list[str]) -> None:
    shares = {name: answers.count(name) / len(answers) for name in ("better", "worse", "about the same", "cannot tell")}
    print(f"{what}: " + ", ".join(f"{name} {100 * share:.1f} %" for name, share in shares.items()), flush=True)


def _prediction(rng: np.random.Generator, places: int, spread: float, pools: int) -> None:
    inside = 0
    for _ in range(pools):
        v = rng.uniform(0.15, 0.35, places) ** 2
        low, high = prediction_interval(rng.normal(0.0, np.sqrt(spread**2 + v)), v)
        inside += low <= rng.normal(0.0, spread) <= high
    print(f"{places} places, spread {spread:g}: 90 % prediction interval holds {100 * inside / pools:.1f} %", flush=True)


if __name__ == "__main__":
    main()
