"""The long run: `python -m tests.reliability --long [PART ...]`. Prints the tables of docs/reliability.md.

The exit code is 1 if anything broke. Without --long each part runs as in the suite. Parts: kill, app, mixed, writers, fuzz,
doors, commands, rest (disk, clock, cut line, browser). --tries N sets how many inputs each reader gets.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path

import pytest

from tests.notebook.test_kill import test_nothing_acknowledged_is_lost_and_nothing_is_half_there as kill_once
from tests.reliability.commands import command_parser, file_parsers
from tests.reliability.doors import web_parsers
from tests.reliability.fuzz import Parser, run
from tests.reliability.mixed import kill_under_load
from tests.reliability.parsers import parsers
from tests.reliability.test_kill_app import kill_and_send_again
from tests.reliability.test_two_writers import write_together
from tests.reliability.world import open_world
from tests.stores import fresh_database, postgres, server_programs

HERE = Path(__file__).parent


@contextmanager
def folder() -> Iterator[Path]:
    """A folder in memory where there is one: what is tried is the program, and not the disk's speed."""
    shared = Path("/dev/shm")
    made = Path(tempfile.mkdtemp(prefix="aerobe-long-", dir=shared if shared.is_dir() else None))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


@contextmanager
def stores() -> Iterator[Iterable[tuple[str, Callable[[ExitStack, str], str]]]]:
    """The kinds of notebook on this machine: a name, and how to get the address of a new one."""
    with ExitStack() as stack:
        place = stack.enter_context(folder())
        found = [("SQLite", lambda mine, name: str(place / f"{name}.notebook"))]
        if server_programs() is not None:
            server = stack.enter_context(postgres())
            found.append(("PostgreSQL", lambda mine, name: str(mine.enter_context(fresh_database(server, name)))))
        yield found


def kill(long: bool) -> int:
    """Kill -9 of a program that writes to a notebook."""
    with stores() as every:
        for name, new in every:
            rounds = 25 if long else 2
            began = time.perf_counter()
            for seed in range(1, rounds + 1):
                with ExitStack() as mine:
                    kill_once(new(mine, f"kill{seed}"), seed)
            print(f"| kill -9 of a writer, {name} | {rounds} rounds | {time.perf_counter() - began:.0f} s | 0 lost, 0 in part |")
    return 0


def app(long: bool) -> int:
    """Kill -9 of the app while two hands send."""
    rounds, acknowledged, under_way, began = (15 if long else 1), 0, 0, time.perf_counter()
    for seed in range(1, rounds + 1):
        with folder() as place:
            kept, open_ones = kill_and_send_again(place, seed)
            acknowledged, under_way = acknowledged + kept, under_way + open_ones
    took = time.perf_counter() - began
    count = f"{rounds} rounds, {acknowledged} acknowledged, {under_way} under way"
    print(f"| kill -9 of the app | {count} | {took:.0f} s | 0 lost, 0 double |")
    return 0


def mixed(long: bool) -> int:
    """Kill -9 of the app under everything at once."""
    began = time.perf_counter()
    with folder() as place:
        tally = kill_under_load(place, kills=100 if long else 1, seed=SEED, say=lambda words: print(f"# {words}", flush=True))
    told = ", ".join(f"{count} {kind}" for kind, count in sorted(tally.acknowledged.items()))
    print(
        f"| kill -9 under a mixed load | {tally.kills} kills; {told}; {tally.sent_again} times sent again; {tally.reports} "
        f"reports whole, {tally.reports_cut} cut | {time.perf_counter() - began:.0f} s | 0 lost, 0 double, 0 half |"
    )
    return 0


def writers(long: bool) -> int:
    """Several programs at one notebook."""
    hands, writes = ("abcd", 400) if long else ("ab", 60)
    with stores() as every:
        for name, new in every:
            with ExitStack() as mine:
                took = write_together(new(mine, "together"), hands, writes)
            count = f"{len(hands)} programs, {len(hands) * writes} writes"
            print(f"| writers at one notebook, {name} | {count} | {took:.0f} s | 0 lost, no deadlock |")
    return 0


def fuzz(long: bool) -> int:
    """Pure readers."""
    with folder() as place:
        return _tried(parsers(place), long)


def commands(long: bool) -> int:
    """The command line and the files it is given."""
    with folder() as place:
        return _tried([command_parser(place), *file_parsers(place)], long)


def doors(long: bool) -> int:
    """Every address of the app. Each starts with a fresh notebook, since what is taken in makes the next page longer."""
    found = 0
    with folder() as place, open_world(place / "names") as world:
        names = [parser.name for parser in web_parsers(world)]
    for name in names:
        with folder() as place, open_world(place / "world") as world:
            found += _tried([parser for parser in web_parsers(world) if parser.name == name], long)
    return found


def _tried(every: Iterable[Parser], long: bool) -> int:
    found = 0
    for parser in every:
        tally = run(parser, count=TRIES or (parser.long if long else parser.quick), seed=SEED)
        found += len(tally.breaks)
        print(
            f"| {tally.name} | {tally.tried} | {tally.taken} | {tally.refused} | {tally.slowest_s:.2f} | {tally.grew_mb:.0f} | "
            f"{tally.seconds:.0f} | {len(tally.breaks)} |",
            flush=True,
        )
        for line in tally.breaks[:5]:
            print(f"    {line}", file=sys.stderr)
    return found


def rest(long: bool) -> int:
    """Disk, clock, cut line, browser."""
    names = ("test_disk.py", "test_clock.py", "test_cut_line.py", "test_offline.py", "test_found.py")
    return int(pytest.main([*(str(HERE / name) for name in names), "-q", "-p", "no:cacheprovider"]))


PARTS = {
    "kill": kill,
    "app": app,
    "mixed": mixed,
    "writers": writers,
    "fuzz": fuzz,
    "commands": commands,
    "doors": doors,
    "rest": rest,
}
SEED, TRIES = 1, 0


def main() -> int:
    """Run the parts that were named, or all."""
    global SEED, TRIES
    asked = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    asked.add_argument("parts", nargs="*", choices=[*PARTS, []], default=list(PARTS))
    asked.add_argument("--long", action="store_true")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--tries", type=int, default=0)
    said = asked.parse_args()
    SEED, TRIES = said.seed, said.tries
    print(f"# {datetime.now().astimezone():%Y-%m-%d %H:%M}, seed {SEED}, {'long' if said.long else 'short'}")
    return 1 if sum(PARTS[part](said.long) for part in said.parts) else 0


if __name__ == "__main__":
    sys.exit(main())
