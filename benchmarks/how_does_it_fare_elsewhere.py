"""How does the harvest call fare in worlds whose laws are not its own?

    python -m benchmarks.how_does_it_fare_elsewhere --worlds tuning --ways recipe tests3 knowing-tests3 --brews 40 --workers 2

Worlds (`aerobe.worlds`): their names, or `tuning`, `held-out`, `all`. Ways: see WAYS below. Every brew played is a line of the
results file (`--results`), under a label (`--label`, by default the commit); what stands there is not played again unless
`--again`, so that parts can be run apart and joined. The table of all that the file holds under the label is printed at the
end, or at once with `--table`.

`--people N` plays N people of each world instead, six brews of one recipe each: alone, with the earlier brews, and with one
test a brew from the fifth on. `--curves` plays measured cultures of other fields (`benchmarks/data`) with a reading
every two hours and with three. Ways `pump-log` and `pump-told` stop the air for 1, 2 or 4 h at hour 4, 9 or 14; nobody enters it,
or it is entered.

Held-out worlds are for one final run (`--final`); the agents beside aerobe may play them at any time.

Brews are the first of 200 that a world draws for a seed. Lost is the share of the brew's peak that the harvest forgoes.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from aerobe.practice import Played
from aerobe.practice import _players as agents
from aerobe.worlds import END_H, HELD_OUT, TUNING, WORLDS, World, make_world, with_pump_stop
from benchmarks.elsewhere import aerobe_plays
from benchmarks.elsewhere.curves import curves, play_curve
from benchmarks.elsewhere.people import BREWS, PEOPLE, play_person, show_people
from benchmarks.elsewhere.people import WAYS as PEOPLE_WAYS
from benchmarks.elsewhere.table import show, show_curves, show_over_worlds

POOL = 200
KNOWING_DRAWS = 1000
# What aerobe is given: tests allowed, oxygen and temperature log or not.
AEROBE = {"recipe": (0, False), "tests3": (3, False), "tests6": (6, False), "log": (0, True), "log+tests3": (3, True)}
# The recipe is withheld: readings alone.
UNKNOWN = {"unknown-tests3": 3, "unknown-tests6": 6}
DENSE = {"dense2": 2.0, "dense4": 4.0}
# The air stops for so many hours at such an hour, one after another over the brews, and the probe logs on. Nobody enters it, or
# it is entered as it happens.
PUMP = ("pump-log", "pump-told")
STOPS = [(at, hours) for hours in (1.0, 2.0, 4.0) for at in (4.0, 9.0, 14.0)]
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
WAYS = (*AEROBE, *UNKNOWN, *DENSE, *PUMP, *OTHERS)

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
    if way in PUMP:
        world = _stopped(key, seed, brew % len(STOPS))
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
    if way in AEROBE or way in PUMP:
        tests, with_log = AEROBE.get(way, (0, True))
        told = aerobe_plays.story_with_stop(world, brew, *STOPS[brew % len(STOPS)]) if way == "pump-told" else None
        return aerobe_plays.play(world, brew, tests, with_log, seed, bare=told, on_gpu=on_gpu)[0]
    if way in UNKNOWN:
        bare = aerobe_plays.with_recipe_withheld(world, brew)
        return aerobe_plays.play(world, brew, UNKNOWN[way], False, seed, bare=bare)[0]
    if way in DENSE:
        return aerobe_plays.play_dense(world, brew, DENSE[way], seed, on_gpu=on_gpu)
    if way == "best-fixed":
        return Played(hour=best_fixed_hour(world), tests=0)
    if way == "fixed24":
        return Played(hour=24.0, tests=0)
    if way.startswith("drop"):
        rng = np.random.default_rng([seed, brew, 6])  # the same readings as a dense play
        return _until_a_drop(lambda hour: world.test(brew, hour, rng), float(way[4:]), END_H)
    if way.startswith("plain"):
        return agents.play(agents.plain(np.arange(2 * round(END_H) + 1) * 0.5, 1), world, brew, 3, False, seed)
    have = _knowing(world.law.key, seed, brew)
    return agents.play(have, world, brew, 3 if way.endswith("tests3") else 0, way.endswith("log"), seed)


def _until_a_drop(test: Callable[[float], float], every_h: float, end_h: float, drop: float = 0.85) -> Played:
    """A person who tests every so many hours and stops when a result lies clearly below the best so far."""
    best, tests = 0.0, 0
    for hour in np.arange(every_h, end_h + 1e-9, every_h):
        value, tests = test(float(hour)), tests + 1
        if value < drop * best:
            return Played(hour=float(hour), tests=tests)
        best = max(value, best)
    return Played(hour=end_h, tests=tests)


@lru_cache(maxsize=len(STOPS))
def _stopped(key: str, seed: int, which: int) -> World:
    return with_pump_stop(world_of(key, seed), *STOPS[which], seed)


@lru_cache(maxsize=1)
def _knowing(key: str, seed: int, brew: int) -> agents.Ensemble:
    return agents.knowing(world_of(key, seed), brew, KNOWING_DRAWS, seed + 1000)


def _some(jobs: list[tuple[str, int, int, str, bool]]) -> list[dict[str, object]]:
    return [play_one(*job) for job in jobs]


def in_parts(jobs: list[tuple[str, int, int, str, bool]]) -> list[list[tuple[str, int, int, str, bool]]]:
    """Jobs for workers: those of one brew that need no call stand together, since they share an ensemble; brews in turn."""
    parts: dict[tuple[object, ...], list[tuple[str, int, int, str, bool]]] = {}
    for job in jobs:
        key, seed, brew, way, _ = job
        parts.setdefault((brew, key, seed, "" if way in OTHERS else way), []).append(job)
    return [parts[name] for name in sorted(parts, key=lambda name: name[0])]


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


CURVE_WAYS = {"drop": "", "plain-dense": "", "plain-tests3": "", "dense": "aerobe", "tests3": "aerobe"}


def _curve(job: tuple[int, str]) -> list[dict[str, object]]:
    place, way = job
    curve, began = curves()[place], time.perf_counter()
    went = play_curve(curve, way)
    line = {"world": "curves", "seed": 0, "brew": place, "way": f"curve-{way}", "name": curve.name, "source": curve.source}
    seconds = round(time.perf_counter() - began, 2)
    return [line | {"lost": curve.forgone(0, went.hour), **asdict(went), "seconds": seconds}]


def _on_one_core() -> None:
    # The variables of the environment come too late for what is loaded already.
    threadpool_limits(1)


def work(args: argparse.Namespace, label: str) -> None:
    """Play what the results do not hold yet, and add it to them."""
    worlds = names_of(args.worlds)
    done = {(r["world"], r["seed"], r["brew"], r["way"]) for r in ([] if args.again else read(args.results, label))}
    if args.curves:
        jobs = [(place, way) for way in CURVE_WAYS for place in range(len(curves()))]
        play, parts = _curve, [job for job in jobs if ("curves", 0, job[0], f"curve-{job[1]}") not in done]
    elif args.people:
        some = range(min(args.people, PEOPLE))
        jobs = [(key, args.seed, person, way) for person in some for key in worlds for way in PEOPLE_WAYS]
        left = [job for job in jobs if (*job[:2], job[2] * BREWS, f"people-{job[3]}") not in done]
        play, parts = play_person, [(*job, args.gpu) for job in left]
    else:
        ways = list(dict.fromkeys([*args.ways, "best-fixed", "fixed24", "drop4"]))
        wanted = [(key, args.seed, brew, way) for key in worlds for way in ways for brew in range(min(args.brews, POOL))]
        play, parts = _some, in_parts([(*job, args.gpu) for job in wanted if job not in done])
    began, busy, count = time.perf_counter(), 0.0, 0
    with ProcessPoolExecutor(args.workers, initializer=_on_one_core) as pool, args.results.open("a", encoding="utf-8") as file:
        for coming in as_completed([pool.submit(play, part) for part in parts]):
            if coming.exception():
                pool.shutdown(cancel_futures=True)  # say it now, not when all the rest has been played
            for line in coming.result():
                busy, count = busy + float(line["seconds"]), count + 1
                own = line["way"] in OTHERS or CURVE_WAYS.get(str(line["way"]).removeprefix("curve-")) == ""
                file.write(json.dumps(line | {"label": "" if own else label}) + "\n")
            file.flush()
    each = busy / max(count, 1)
    print(
        f"# played {count} in {time.perf_counter() - began:.0f} s, {busy:.0f} worker seconds; 200 of each, {200 * each:.0f} a way"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--worlds", nargs="+", default=["tuning"], choices=[*WORLDS, "tuning", "held-out", "all"])
    parser.add_argument("--ways", nargs="+", default=["recipe", "tests3", "knowing-recipe", "knowing-tests3"], choices=WAYS)
    parser.add_argument("--brews", type=int, default=40, help="how many, at most 200")
    parser.add_argument("--people", type=int, default=0, help="how many people, at most 48, instead of single brews")
    parser.add_argument("--curves", action="store_true", help="measured cultures instead of brews")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--results", type=Path, default=Path(".aerobe/elsewhere.jsonl"))
    parser.add_argument("--label", default=None, help="of aerobe's results; by default the commit")
    parser.add_argument("--again", action="store_true", help="play also what the results hold")
    parser.add_argument("--gpu", action="store_true", help="run aerobe's model on a card")
    parser.add_argument("--table", action="store_true", help="only print the table")
    parser.add_argument(
        "--final", action="store_true", help="let aerobe play held-out worlds: once, when nothing changes any more"
    )
    args = parser.parse_args()
    seen = {way for way in args.ways if way not in OTHERS} or args.people
    if seen and not (args.final or args.table or args.curves) and HELD_OUT.keys() & set(names_of(args.worlds)):
        parser.error("aerobe plays held-out worlds in the final run only: give --final, or worlds to tune on")
    os.environ["NUMBA_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    label = args.label or label_now()
    args.results.parent.mkdir(parents=True, exist_ok=True)
    if not args.table:
        work(args, label)
    rows = read(args.results, label)
    if args.curves:
        show_curves(rows, curves())
    elif args.people:
        show_people(rows, names_of(args.worlds), args.seed)
    else:
        single = [r for r in rows if not str(r["way"]).startswith("people-")]
        show(single, names_of(args.worlds), label)
        show_over_worlds(single, names_of(args.worlds))


if __name__ == "__main__":
    main()
