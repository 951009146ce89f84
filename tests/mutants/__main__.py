"""The night's run: a seeded sample of mutants of each room, its table, and the survivors by name."""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import sys
import tomllib
from collections import Counter
from pathlib import Path

from tests.mutants.ready import load_others
from tests.mutants.sites import Mutant, mutants_of
from tests.mutants.tries import ENOUGH_S, KEPT, ROOT, look, try_all

ROOMS = ("oxygen", "assay", "kinetics", "inference", "decisions", "verdicts", "trials", "evidence", "statistics")
FOUND = KEPT / "found.jsonl"
SAME = tomllib.loads((Path(__file__).parent / "equivalents.toml").read_text(encoding="utf-8"))


def sample(room: str, size: int, seed: str) -> list[Mutant]:
    """The same mutants for the same seed, whatever else was edited in the room."""
    every = [
        mutant
        for path in sorted((ROOT / "aerobe" / room).glob("*.py"))
        for mutant in mutants_of(path.read_text(encoding="utf-8"), str(path.relative_to(ROOT)))
    ]
    return sorted(every, key=lambda mutant: hashlib.sha256(f"{seed} {mutant.name}".encode()).digest())[:size]


def kept() -> dict[str, dict[str, str]]:
    """What earlier runs found, by the mutant's name and its text: an edited line is tried anew."""
    lines = FOUND.read_text(encoding="utf-8").splitlines() if FOUND.exists() else []
    found = [json.loads(line) for line in lines]
    return {one["key"]: one for one in found}


def key_of(mutant: Mutant) -> str:
    return f"{mutant.name} {mutant.before} -> {mutant.after}"


def run(rooms: list[str], size: int, seed: str, again: bool, jobs: int, seconds: float, files: str) -> None:
    """Try those that were not tried before, or those that survived."""
    before = kept()
    left = [
        (room, mutant)
        for room in rooms
        for mutant in sample(room, size, seed)
        if key_of(mutant) not in SAME and (key_of(mutant) not in before or (again and before[key_of(mutant)]["end"] != "caught"))
    ]
    if not left:
        return
    load_others()
    known = look(list(dict.fromkeys(room for room, _ in left)), jobs, seconds, files)
    for mutant, end, by in try_all([(mutant, known[room]) for room, mutant in left], jobs, seconds):
        line = {"key": key_of(mutant), "room": mutant.file.split("/")[1], "line": mutant.line, "end": end, "by": by}
        with FOUND.open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(line) + "\n")
        print(f"{end:9} {mutant.file}:{mutant.line} {mutant.before[:60]} -> {mutant.after[:60]}", flush=True)


def table(rooms: list[str], size: int, seed: str) -> str:
    """Caught of tried by room, and each survivor."""
    found, lines, survivors, total = kept(), [], [], Counter[str]()
    for room in rooms:
        ends: Counter[str] = Counter()
        for mutant in sample(room, size, seed):
            key = key_of(mutant)
            end = "equivalent" if key in SAME else found.get(key, {"end": "not tried"})["end"]
            ends[end] += 1
            if end in ("survived", "no test"):
                survivors.append(f"  {mutant.file}:{mutant.line}  {mutant.before}  ->  {mutant.after}\n      {key}")
        lines.append(_line(room, ends))
        total += ends
    head = f"{'room':10} {'tried':>6} {'caught':>7} {'equivalent':>11} {'survived':>9} {'share':>6}"
    return "\n".join([head, *lines, _line("all", total), "", "Survivors:", *survivors])


def _line(room: str, ends: Counter[str]) -> str:
    caught, same, lives = ends["caught"], ends["equivalent"], ends["survived"] + ends["no test"]
    share = f"{100.0 * caught / (caught + lives):5.1f} %" if caught + lives else "-"
    return f"{room:10} {caught + same + lives:6} {caught:7} {same:11} {lives:9} {share:>6}"


def main(words: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="run.py mutate", description="Do the tests notice a changed formula?")
    parser.add_argument("rooms", nargs="*", choices=[[], *ROOMS], help="which rooms; all if none is named")
    parser.add_argument("--sample", type=int, default=60, help="mutants of each room")
    parser.add_argument("--seed", default="1", help="which sample")
    parser.add_argument("--jobs", type=int, default=1, help="how many at a time; a number of processor cores")
    parser.add_argument("--seconds", type=float, default=ENOUGH_S, help="what the tests tried on a mutant may cost together")
    parser.add_argument("--tests", default="test_*.py", help="which files of the room's tests")
    parser.add_argument("--survivors", action="store_true", help="try again those that survived")
    parser.add_argument("--table", action="store_true", help="only show what is known")
    asked = parser.parse_args(words)
    rooms = asked.rooms or list(ROOMS)
    os.chdir(ROOT)
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # their start costs three times what a quick test does
    if not asked.table:
        run(rooms, asked.sample, asked.seed, asked.survivors, asked.jobs, asked.seconds, asked.tests)
    print(table(rooms, asked.sample, asked.seed))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
