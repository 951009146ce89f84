"""How does the harvest call fare in worlds whose laws are not its own?

    python -m benchmarks.how_does_it_fare_elsewhere --worlds tuning --ways recipe tests3 knowing-tests3 --brews 40 --workers 2

Worlds (`aerobe.worlds`): their names, or `tuning`, `held-out`, `all`. Ways: see WAYS below. Every brew played is a line of the
results file (`--results`), under a label (`--label`, by default the commit); what stands there is not played again unless
`--again`, so that parts can be run apart and joined. The table of all that the file holds under the label is printed at the
end, or at once with `--table`.

Brews are the first of 200 that a world draws for a seed. Lost is the share of the brew's peak that the harvest forgoes.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path

import numpy as np

from aerobe.worlds import END_H, HELD_OUT, TUNING, WORLDS, World, make_world
from benchmarks.elsewhere import aerobe_plays, agents
from benchmarks.elsewhere.agents import Played
from benchmarks.elsewhere.table import show

POOL = 200
KNOWING_DRAWS = 1000
# What aerobe is given: tests allowed, oxygen and temperature log or not.
AEROBE = {"recipe": (0, False), "tests3": (3, False), "tests6": (6, False), "log": (0, True), "log+tests3": (3, True)}
DENSE = {"dense2": 2.0, "dense4": 4.0}
# Ways that know nothing of aerobe; their results stand under no label.
OTHERS = {
    "best-fixed": "the best fixed hour of all brews in hindsight",
    "fixed24": "always at 24 h",
    "drop2": "a test every 2 h, stop at the first clear drop",
    "drop4": "a test every 4 h, stop at the first clear drop",
    "plain-tests3": "rise, plateau and fall with a wide prior, 3 tests",
    "knowing-recipe": "an agent that knows the world's ranges, recipe alone",
    "knowing-tests3": "the same, 3 tests",
    "knowing-log": "the same, an oxygen log",
}
WAYS = (*AEROBE, *DENSE, *OTHERS)

_WORLDS: dict[tuple[str, int], World] = {}


def world_of(key: str, seed: int) -> World:
    """A world's brews, made once a process."""
    if (key, seed) not in _WORLDS:
        _WORLDS[key, seed] = make_world(WORLDS[key], POOL, seed)
    return _WORLDS[key, seed]


def best_fixed_hour(world: World) -> float:
    """The hour that forgoes least over all brews. [h]"""
    lost = 1.0 - world.biomass / world.biomass.max(axis=1, keepdims=True)
    return float(world.times_h[lost.mean(axis=0).argmin()])


def play_one(key: str, seed: int, brew: int, way: str, on_gpu: bool) -> dict[str, object]:
    """One brew, one way: a line of the results."""
    world, began = world_of(key, seed), time.perf_counter()
    went = _play(world, seed, brew, way, on_gpu)
    return {
        "world": key,
        "seed": seed,
        "brew": brew,
        "way": way,
        "lost": world.forgone(brew, went.hour),
        **asdict(went),
        "seconds": round(time.perf_counter() - began, 2),
    }


def _play(world: World, seed: int, brew: int, way: str, on_gpu: bool) -> Played:
    if way in AEROBE:
        tests, with_log = AEROBE[way]
        return aerobe_plays.play(world, brew, tests, with_log, seed, on_gpu=on_gpu)[0]
    if way in DENSE:
        return aerobe_plays.play_dense(world, brew, DENSE[way], seed, on_gpu=on_gpu)
    if way == "best-fixed":
        return Played(hour=best_fixed_hour(world), tests=0)
    if way == "fixed24":
        return Played(hour=24.0, tests=0)
    if way.startswith("drop"):
        rng = np.random.default_rng([seed, brew, 6])  # the same readings as a dense play
        return agents.until_a_drop(lambda hour: world.test(brew, hour, rng), float(way[4:]), END_H)
    if way.startswith("plain"):
        return agents.play(agents.plain(np.arange(2 * round(END_H) + 1) * 0.5, 1), world, brew, 3, False, seed)
    have = agents.knowing(world, brew, KNOWING_DRAWS, seed + 1000)
    return agents.play(have, world, brew, 3 if way.endswith("tests3") else 0, way.endswith("log"), seed)


def _one(job: tuple[str, int, int, str, bool]) -> dict[str, object]:
    return play_one(*job)


def label_now() -> str:
    """The commit, with a plus if the tree has changed since."""
    run = subprocess.run(["git", "describe", "--always", "--dirty=+"], capture_output=True, text=True, check=False)
    return run.stdout.strip() or "no commit"


def read(path: Path, label: str) -> list[dict[str, object]]:
    """Lines of the results under a label, and those of the ways that have none; the last of equal ones counts."""
    if not path.exists():
        return []
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    last = {(r["world"], r["seed"], r["brew"], r["way"]): r for r in lines if r["label"] in (label, "")}
    return list(last.values())


def names_of(worlds: list[str]) -> list[str]:
    """Worlds by name; `tuning`, `held-out` and `all` stand for several."""
    groups = {"tuning": TUNING, "held-out": HELD_OUT, "all": WORLDS}
    return list(dict.fromkeys(key for name in worlds for key in groups.get(name, [name])))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--worlds", nargs="+", default=["tuning"], choices=[*WORLDS, "tuning", "held-out", "all"])
    parser.add_argument("--ways", nargs="+", default=["recipe", "tests3", "knowing-recipe", "knowing-tests3"], choices=WAYS)
    parser.add_argument("--brews", type=int, default=40, help="how many, at most 200")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--results", type=Path, default=Path(".aerobe/elsewhere.jsonl"))
    parser.add_argument("--label", default=None, help="of aerobe's results; by default the commit")
    parser.add_argument("--again", action="store_true", help="play also what the results hold")
    parser.add_argument("--gpu", action="store_true", help="run aerobe's model on a card")
    parser.add_argument("--table", action="store_true", help="only print the table")
    args = parser.parse_args()
    os.environ["NUMBA_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    label, worlds = args.label or label_now(), names_of(args.worlds)
    args.results.parent.mkdir(parents=True, exist_ok=True)
    if not args.table:
        done = {(r["world"], r["seed"], r["brew"], r["way"]) for r in ([] if args.again else read(args.results, label))}
        ways = list(dict.fromkeys([*args.ways, "best-fixed", "fixed24", "drop4"]))
        wanted = [(key, args.seed, brew, way) for key in worlds for way in ways for brew in range(min(args.brews, POOL))]
        jobs = [(*job, args.gpu) for job in wanted if job not in done]
        began, busy = time.perf_counter(), 0.0
        with ProcessPoolExecutor(args.workers) as pool, args.results.open("a", encoding="utf-8") as file:
            for coming in as_completed([pool.submit(_one, job) for job in jobs]):
                line = coming.result()
                busy += float(line["seconds"])
                line["label"] = "" if line["way"] in OTHERS else label
                file.write(json.dumps(line) + "\n")
                file.flush()
        print(f"# played {len(jobs)} in {time.perf_counter() - began:.0f} s, {busy:.0f} worker seconds", flush=True)
    show(read(args.results, label), worlds, label)


if __name__ == "__main__":
    main()
