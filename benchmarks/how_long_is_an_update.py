"""How long from a new reading to the new call, how much memory, and how does that grow with many brews?

    python -m benchmarks.how_long_is_an_update [--brews 30] [--batches 50 100 200] [--only warm|cold|batch]

1. Warm: brews drawn from the prior over random recipes, each with a 48 h oxygen log of one value a minute and 0 to 4 tests;
   timed is `infer_brew` and `advise` for one more reading. Target: 95 of 100 under 1 s on 2 cores.
2. Cold: the same first call in a fresh process, once with an empty folder for compiled code and once with that folder
   filled; imports included. Target: under 15 s.
3. Batch: so many brews one after the other in one process, with what has been measured by 24 h. Seconds must grow as the
   number does and memory must not grow.

Beside seconds on the wall stand processor seconds, all threads together: on a busy machine the wall tells of the others too.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

BEGAN = time.perf_counter()

import numpy as np  # noqa: E402  the clock starts before anything is imported

ROOT = str(Path(__file__).resolve().parents[1])
TESTS_AT_H = (8.0, 16.0, 30.0, 46.0)


def stories(count: int, *, until_h: float = 48.0, seed: int = 1, first: int = 0):  # type: ignore[no-untyped-def]
    """Brews of random recipes with a log of one value a minute and 0 to 4 tests so far, one at a time."""
    from aerobe.inference import Log, Measurement, Probe, simulate_brews, story_of

    # A bin of the log is the median of 30 values: what their noise leaves is what the binned log is simulated with.
    binned = Probe(noise_mg_per_l=0.1 / np.sqrt(30.0))
    minutes = np.arange(1.0, until_h * 60.0 + 1.0) / 60.0
    for brew in range(first, first + count):
        rng = np.random.default_rng([seed, brew])
        story = story_of(
            compost_g_per_l=rng.uniform(10.0, 80.0),
            foods={"molasses": rng.uniform(0.0, 4.0), "kelp-powder": rng.uniform(0.0, 3.0)},
            air_l_per_min=rng.uniform(4.0, 20.0),
        )
        true = simulate_brews(replace(story, probe=binned), 1, seed=1000 * seed + brew)[0]
        blank = [Measurement(elapsed_h=hour, value=0.0) for hour in TESTS_AT_H if hour <= until_h][: brew % 5]
        log = true.log_oxygen(rng, until_h)
        values = np.interp(minutes, log.elapsed_h, log.values) + 0.1 * rng.standard_normal(len(minutes))
        yield replace(story, measurements=true.measure(rng, *blank), oxygen=Log(elapsed_h=minutes, values=values))


def update(story, now_h: float):  # type: ignore[no-untyped-def]
    """From the story to the call: seconds on the wall and of processor, and whether the posterior settled."""
    from aerobe.decisions import advise
    from aerobe.inference import infer_brew

    wall, processor = time.perf_counter(), time.process_time()
    posterior = infer_brew(story)
    advise(posterior, now_h=now_h, tests_left=2)
    return time.perf_counter() - wall, time.process_time() - processor, posterior.settled


def peak_mb() -> float:
    """The most memory this process has held. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def warm(brews: int) -> dict:
    """One process, first call thrown away."""
    todo = list(stories(brews + 1))
    update(todo[0], 48.0)
    got = np.array([update(story, 48.0) for story in todo[1:]])
    return {"wall": got[:, 0].tolist(), "processor": got[:, 1].tolist(), "settled": got[:, 2].mean(), "mb": peak_mb()}


def cold() -> dict:
    """The first call of a process, imports included; the making of the data is not."""
    # The log and the tests do not matter here and would have to be simulated: a made-up day of oxygen does as well.
    from aerobe.inference import Log, Measurement, story_of

    minutes = np.arange(1.0, 2881.0) / 60.0
    oxygen = 8.5 - 4.0 * np.exp(-((minutes - 14.0) ** 2) / 40.0) + 0.1 * np.random.default_rng(1).standard_normal(2880)
    story = story_of(
        compost_g_per_l=40.0,
        foods={"molasses": 1.5},
        measurements=[Measurement(elapsed_h=hour, value=value) for hour, value in ((8.0, 90.0), (16.0, 160.0), (30.0, 90.0))],
    )
    update(replace(story, oxygen=Log(elapsed_h=minutes, values=oxygen)), 48.0)
    return {"wall": time.perf_counter() - BEGAN, "processor": time.process_time(), "mb": peak_mb()}


def batch(sizes: list[int]) -> list[dict]:
    """Seconds and peak memory once so many brews have passed, in one process."""
    update(next(iter(stories(1, until_h=24.0))), 24.0)
    rows, done, wall, processor = [], 0, 0.0, 0.0
    for size in sorted(sizes):
        for story in stories(size - done, until_h=24.0, first=done):
            seconds = update(story, 24.0)
            wall, processor = wall + seconds[0], processor + seconds[1]
        done = size
        rows.append({"brews": size, "wall": wall, "processor": processor, "mb": peak_mb()})
    return rows


def in_its_own_process(part: str, cache: str | None, args: argparse.Namespace) -> dict | list[dict]:
    """Run one part afresh and read its answer."""
    env = {**os.environ, "PYTHONPATH": ROOT} | ({"NUMBA_CACHE_DIR": cache} if cache else {})
    command = [sys.executable, str(Path(__file__).resolve()), "--part", part, "--brews", str(args.brews), "--batches"]
    command += [str(size) for size in args.batches]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, env=env, cwd=ROOT, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def load() -> str:
    return f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--brews", type=int, default=30)
    parser.add_argument("--batches", type=int, nargs="+", default=[50, 100, 200])
    parser.add_argument("--only", choices=["warm", "cold", "batch"])
    parser.add_argument("--part", choices=["warm", "cold", "batch"], help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.part:
        print(json.dumps({"warm": lambda: warm(args.brews), "cold": cold, "batch": lambda: batch(args.batches)}[args.part]()))
        return
    print(f"{platform.machine()}, Python {platform.python_version()}")
    if args.only in (None, "warm"):
        print(load())
        got = in_its_own_process("warm", None, args)
        for name in ("wall", "processor"):
            middle, high = np.quantile(got[name], [0.5, 0.95])
            print(f"warm, {args.brews} brews, {name}: p50 {middle:.2f} s, p95 {high:.2f} s", flush=True)
        print(f"warm: peak memory {got['mb']:.0f} MB, settled {100.0 * got['settled']:.0f} %")
    if args.only in (None, "cold"):
        with tempfile.TemporaryDirectory() as cache:
            for name in ("nothing compiled yet", "compiled before"):
                print(load())
                got = in_its_own_process("cold", cache, args)
                print(f"cold, {name}: {got['wall']:.1f} s, processor {got['processor']:.1f} s, {got['mb']:.0f} MB", flush=True)
    if args.only in (None, "batch"):
        print(load())
        rows = in_its_own_process("batch", None, args)
        for row in rows:
            each = row["wall"] / row["brews"], row["processor"] / row["brews"]
            print(
                f"batch of {row['brews']}: {row['wall']:.0f} s ({each[0]:.2f} a brew), processor {row['processor']:.0f} s"
                f" ({each[1]:.2f} a brew), peak {row['mb']:.0f} MB"
            )
        last = rows[-1]
        print(f"1,000 brews, extrapolated: {1000.0 * last['wall'] / last['brews']:.0f} s")
        print(load())


if __name__ == "__main__":
    main()
