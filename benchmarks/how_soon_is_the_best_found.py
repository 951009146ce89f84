"""How many brews it takes to find the best of six recipes: two leaders sharing the brews, against as many brews of each.

    python -m benchmarks.how_soon_is_the_best_found [SEARCHES]

A search ends when the leader is the best, or within a factor of 1.2 of it, with a chance of 90 %.
"""

from __future__ import annotations

import math
import sys

import numpy as np

from aerobe.trials import brews_to_find_the_best

WORLDS = {
    "six spread out": (0.0, 0.1, 0.2, 0.3, 0.4, 0.7),
    "one stands out": (0.0, 0.0, 0.0, 0.0, 0.0, 0.4),
    "two lead": (0.0, 0.0, 0.1, 0.1, 0.5, 0.6),
    "all alike": (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
}


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
