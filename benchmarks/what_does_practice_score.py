"""What does the call score in practice brews, beside a clock and an agent who knows the world?

    python -m benchmarks.what_does_practice_score --brews 200 --jobs 2

Each brew is drawn as the page draws it: recipe, vessel, world, trouble (none, a pump that stops, a cold night). Nothing is tuned
on what this prints, held-out worlds included. A line a brew goes to the results file as it is done; what stands there is not
played again, so a run that was cut goes on where it was. `--minutes` begins no brew after so long. Points are 100 times the share
caught, less one for each test or control; behind each `+-` stands a standard error over brews.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from itertools import islice
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from aerobe.practice import begun, call_alone, drawn_choices, hidden_of, knowing_agent, moved, outcome_of, waited

WHO = ("call", "knowing", "clock")


def play(seed: int, probe: bool) -> dict[str, object]:
    """One brew: points of each."""
    began = time.perf_counter()
    one = begun("practice-1", seed, drawn_choices(seed, probe=probe, trouble="maybe"))
    out = outcome_of(moved(waited(one, 24.0), "harvest"))
    call, knowing = call_alone(one), knowing_agent(one)
    hidden = hidden_of(seed, one.choices)
    trouble = "pump" if hidden.pump_off_h is not None else "cold" if hidden.cold_at_h is not None else "none"
    return {
        "seed": seed,
        "probe": probe,
        "world": hidden.law,
        "trouble": trouble,
        "call": call.points,
        "knowing": knowing.points,
        "clock": out.clock_points,
        "tests": call.tests,
        "knowing_tests": knowing.tests,
        "seconds": round(time.perf_counter() - began, 1),
    }


def mean(values: np.ndarray) -> str:
    """A mean with its standard error."""
    error = values.std(ddof=1) / np.sqrt(len(values)) if len(values) > 1 else np.nan
    return f"{values.mean():5.1f} +- {error:.1f}"


def show(rows: list[dict], name: str) -> None:
    """Means, and how far the call is from the others, brew by brew."""
    if not rows:
        return
    got = {who: np.array([row[who] for row in rows]) for who in WHO}
    parts = [f"{who} {mean(got[who])}" for who in WHO]
    parts += [f"call less {who} {mean(got['call'] - got[who])}" for who in WHO[1:]]
    print(f"{name:24s} {len(rows):4d}  " + "  ".join([*parts, f"tests {np.mean([row['tests'] for row in rows]):.1f}"]))


def played(rows: dict[tuple[int, bool], dict], args: argparse.Namespace) -> None:
    """Play what is not in the rows yet, and add it to them and to the file."""
    wanted = [(seed, args.probe) for seed in range(args.brews) if (seed, args.probe) not in rows]
    began = time.monotonic()
    with ProcessPoolExecutor(args.jobs, initializer=threadpool_limits, initargs=(1,)) as pool, args.results.open("a") as file:
        waiting = {pool.submit(play, *job) for job in wanted[: args.jobs]}
        ahead = iter(wanted[args.jobs :])
        while waiting:
            done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for row in (one.result() for one in done):
                rows[row["seed"], row["probe"]] = row
                file.write(json.dumps(row) + "\n")
                file.flush()
            in_time = args.minutes is None or time.monotonic() - began < 60.0 * args.minutes
            waiting |= {pool.submit(play, *job) for job in islice(ahead, len(done) if in_time else 0)}
    print(f"# {args.jobs} processes, {time.monotonic() - began:.0f} s, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--brews", type=int, default=24)
    parser.add_argument("--jobs", type=int, default=1, help="processes, each on one core")
    parser.add_argument("--minutes", type=float, help="begin no brew after so long")
    parser.add_argument("--probe", action="store_true", help="with an oxygen log: takes many times longer")
    parser.add_argument("--results", type=Path, default=Path(".aerobe/practice.jsonl"))
    args = parser.parse_args()
    args.results.parent.mkdir(parents=True, exist_ok=True)
    lines = args.results.read_text(encoding="utf-8").splitlines() if args.results.exists() else []
    rows = {(row["seed"], row["probe"]): row for row in map(json.loads, lines)}
    played(rows, args)
    here = [rows[seed, args.probe] for seed in range(args.brews) if (seed, args.probe) in rows]
    if len(here) < args.brews:
        print(f"# {args.brews - len(here)} of {args.brews} not played yet: run it again to go on")
    show(here, "all")
    for part in ("trouble", "world"):
        for name in sorted({row[part] for row in here}):
            show([row for row in here if row[part] == name], f"{part}: {name}")


if __name__ == "__main__":
    main()
