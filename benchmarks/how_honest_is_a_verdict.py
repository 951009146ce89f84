"""How often is a verdict wrong? Simulates trials of known truth and counts false claims and the coverage of intervals.

Run: python benchmarks/how_honest_is_a_verdict.py [trials]
"""

from __future__ import annotations

import sys
import time

import numpy as np

from aerobe.verdicts import all_pairs, call_contrasts, fit_effects, lay_out


def study(
    arms: int, brews: int, blocks: bool, effect: float, brew_sd: float, test_sd: float, tests: list[int], trials: int
) -> str:
    """One line: false claims and coverage of the 90 % interval for the first contrast, and of the family."""
    rng = np.random.default_rng(7)
    arm = [a for _ in range(brews) for a in range(arms)]
    block = [str(b) for b in range(brews) for _ in range(arms)] if blocks else [""] * len(arm)
    layout = lay_out(arm, block)
    n = np.array([tests[i % len(tests)] for i in range(len(arm))])
    truth = np.where(np.array(arm) == arms - 1, effect, 0.0)
    day = rng.normal(0, 1.0, (trials, brews))[:, [i // arms for i in range(len(arm))]] if blocks else 0.0
    y = truth + day + rng.normal(0, brew_sd, (trials, len(arm))) + rng.normal(0, 1, (trials, len(arm))) * test_sd / np.sqrt(n)
    rows = all_pairs(arms)[: arms - 1]
    found = fit_effects(y, layout, rows, test_sd**2 / n)
    calls = call_contrasts(found, np.log(1.25))
    true = rows @ np.array([0.0] * (arms - 1) + [effect])
    inside = (calls.low < true) & (true < calls.high)
    together = ((calls.family_low < true) & (true < calls.family_high)).all(axis=-1)
    wrong = ((calls.above & (true <= 0)) | (calls.below & (true >= 0))).any(axis=-1)
    right = calls.above[:, -1] if effect > 0 else np.zeros(trials)
    return (
        f"arms {arms} brews {brews} blocks {blocks!s:5} effect {effect:.2f} brew sd {brew_sd:.2f} test sd {test_sd:.2f} "
        f"tests {tests}: "
        f"coverage {inside.mean():.3f} together {together.mean():.3f} false claims {wrong.mean():.4f} told {right.mean():.3f}"
    )


def main() -> None:
    """Print one line for each case."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    for tests in ([1], [1, 4], [1, 1, 1, 6]):
        for arms, brews, blocks in ((2, 3, False), (2, 4, True), (2, 8, False), (4, 3, False), (4, 3, True)):
            for effect, brew_sd, test_sd in (
                (0.0, 0.5, 0.2),
                (0.0, 0.1, 0.3),
                (0.7, 0.5, 0.2),
                (0.7, 0.05, 0.4),
                (0.7, 1.2, 0.1),
            ):
                start = time.perf_counter()
                line = study(arms, brews, blocks, effect, brew_sd, test_sd, tests, trials if len(tests) == 1 else trials // 5)
                print(line, f"{time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
