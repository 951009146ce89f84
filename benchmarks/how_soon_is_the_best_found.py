"""How many brews it takes to find the best of six recipes: two leaders sharing the brews, against as many brews of each.

    python -m benchmarks.how_soon_is_the_best_found [SEARCHES]

A search ends when the leader is the best, or within a factor of 1.2 of it, with a chance of 90 %.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence

import numpy as np

from aerobe.trials import next_round

WORLDS = {
    "six spread out": (0.0, 0.1, 0.2, 0.3, 0.4, 0.7),
    "one stands out": (0.0, 0.0, 0.0, 0.0, 0.0, 0.4),
    "two lead": (0.0, 0.0, 0.1, 0.1, 0.5, 0.6),
    "all alike": (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
}


def brews_to_find_the_best(
    truth: Sequence[float], sd: float, *, margin: float, per_round: int, adaptive: bool, seed: int, most: int = 400
) -> tuple[int, bool]:
    """One simulated search: brews made until the leader is sure enough, and whether it was good. [-]

    Parameters
    ----------
    truth
        True log level of each arm. [ln]
    sd
        Scatter between brews. [ln]
    margin
        A leader this near the best is good. [ln ratio]
    per_round
        Brews of a round. [-]
    adaptive
        Top-two allocation, or as many brews of each arm.
    seed, most
        Of the simulation, and when to give up. [-]
    """
    rng = np.random.default_rng(seed)
    level, arms = np.asarray(truth, dtype=float), list(range(len(truth)))
    values = [float(level[arm] + rng.normal(0.0, sd)) for arm in arms]
    turn = 0
    while True:
        step = next_round(values, arms, len(level), per_round, margin=margin, sd=sd, seed=seed + len(values))
        if step.may_stop or len(values) >= most:
            return len(values), bool(level[step.best] >= level.max() - margin)
        if adaptive:
            chosen = [arm for arm, count in enumerate(step.brews) for _ in range(count)]
        else:
            chosen = [(turn + i) % len(level) for i in range(per_round)]
            turn += per_round
        arms += chosen
        values += [float(level[arm] + rng.normal(0.0, sd)) for arm in chosen]


def main() -> None:
    """Print mean brews and the share of searches whose leader was good."""
    searches = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for name, truth in WORLDS.items():
        for sd in (0.3, 0.5):
            parts = []
            for adaptive in (True, False):
                found = [
                    brews_to_find_the_best(truth, sd, margin=math.log(1.2), per_round=4, adaptive=adaptive, seed=seed)
                    for seed in range(searches)
                ]
                brews = np.array([count for count, _ in found])
                good = float(np.mean([ok for _, ok in found]))
                error = float(brews.std(ddof=1)) / math.sqrt(searches)
                how = "two leaders" if adaptive else "equal shares"
                parts.append(f"{how} {brews.mean():.1f} brews (s.e. {error:.1f}), good {100 * good:.0f} %")
            print(f"{name}, sd {sd:g}: " + "; ".join(parts), flush=True)


if __name__ == "__main__":
    main()
