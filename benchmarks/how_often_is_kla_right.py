"""How often does the 90 % interval of a transfer coefficient hold the truth?

    python -m benchmarks.how_often_is_kla_right --runs 2000

Simulated re-aeration runs and air steps with a lagging, drifting probe whose noise has a memory; beside them, what a plain
least-squares interval would have claimed. The suite runs a smaller count of the same.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from aerobe.oxygen import kla_from_reaeration, transfer_from_steps
from tests.oxygen._runs import LAG_H, least_squares_kla, simulated_run
from tests.oxygen.test_steps_and_uptake import stepped_brew


def main() -> None:
    """Count and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    reaeration(asked.runs, asked.seed)
    steps(asked.runs // 2, asked.seed)


def reaeration(runs: int, seed: int) -> None:
    """Re-aeration runs, ours and plain least squares."""
    rng = np.random.default_rng(seed)
    ours, plain, widths, began = 0, 0, [], time.perf_counter()
    spent = 0.0
    for _ in range(runs):
        times, values, temperature, kla = simulated_run(rng)
        start = time.perf_counter()
        found = kla_from_reaeration(times, values, temperature_degc=temperature, probe_lag_h=LAG_H)
        spent += time.perf_counter() - start
        ours += found.kla_low_per_h <= kla <= found.kla_high_per_h
        widths.append(found.log_sd)
        found_kla, error = least_squares_kla(times, values)
        plain += abs(found_kla - kla) < 1.645 * error
    error = 100.0 * np.sqrt(0.09 / runs)
    print(f"re-aeration, {runs} runs in {time.perf_counter() - began:.0f} s, {1000.0 * spent / runs:.0f} ms each")
    print(
        f"  90 % intervals that hold the truth: {100.0 * ours / runs:.1f} % (count uncertain by {error:.1f}); "
        f"typical width {100.0 * np.median(widths):.1f} % standard uncertainty"
    )
    print(f"  plain least squares with independent noise: {100.0 * plain / runs:.1f} %")


def steps(runs: int, seed: int) -> None:
    """Air off and on in a live brew."""
    rng = np.random.default_rng(seed)
    hits = np.zeros(2)
    for _ in range(runs):
        times, values, switches, kla, uptake = stepped_brew(rng)
        found = transfer_from_steps(times, values, switches, temperature_degc=20.0, probe_lag_h=LAG_H)
        hits += [
            found.kla_low_per_h <= kla <= found.kla_high_per_h,
            found.uptake_low_mg_per_l_h <= uptake <= found.uptake_high_mg_per_l_h,
        ]
    print(f"air steps, {runs} brews: transfer {100.0 * hits[0] / runs:.1f} %, uptake {100.0 * hits[1] / runs:.1f} %")


if __name__ == "__main__":
    main()
