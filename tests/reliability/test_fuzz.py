"""Rubbish into every reader, a little of it; `python -m tests.reliability --long` takes ten thousand for each."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from aerobe.errors import NotAQuantity
from tests.reliability.commands import command_parser, file_parsers
from tests.reliability.doors import web_parsers
from tests.reliability.fuzz import Parser, Tally, run
from tests.reliability.parsers import parsers
from tests.reliability.world import World

SEED = 20261125


def tried(every: Iterable[Parser]) -> list[Tally]:
    return [run(parser, count=parser.quick, seed=SEED) for parser in every]


def breaks(tallies: list[Tally]) -> dict[str, list[str]]:
    return {tally.name: tally.breaks for tally in tallies if tally.breaks}


def test_no_reader_breaks_on_rubbish(tmp_path: Path) -> None:
    tallies = tried(parsers(tmp_path))
    assert breaks(tallies) == {}
    assert len(tallies) >= 30 and all(tally.refused for tally in tallies)
    assert sum(tally.taken > 0 for tally in tallies) >= len(tallies) - 3


def test_no_command_breaks_on_rubbish(tmp_path: Path) -> None:
    tallies = tried([command_parser(tmp_path), *file_parsers(tmp_path)])
    assert breaks(tallies) == {}
    assert all(tally.refused for tally in tallies)


def test_no_address_of_the_app_breaks_on_rubbish(world: World) -> None:
    # What works for seconds by design is left to the long run.
    tallies = tried(web_parsers(world))
    assert breaks(tallies) == {}
    assert sum(tally.taken for tally in tallies) > 50 and sum(tally.refused for tally in tallies) > 50


def slow(_: Any) -> None:
    end = time.process_time() + 0.3
    while time.process_time() < end:
        pass


def rude(_: Any) -> None:
    raise NotAQuantity("No.", "")


def broken(text: str) -> int:
    return int(text) if text != "5" else 5


@pytest.mark.parametrize(
    ("read", "sane", "words"),
    [
        (broken, None, "ValueError"),
        (lambda text: slow(text) if text != "5" else None, None, " s"),
        (lambda text: rude(text) if text != "5" else None, None, "without problem or remedy"),
        (lambda text: float("nan"), lambda found: "" if found == found else "not finite", "not finite"),
    ],
    ids=["bug", "slow", "rude", "rubbish taken"],
)
def test_the_watching_notices(read: Callable[[Any], Any], sane: Callable[[Any], str] | None, words: str) -> None:
    parser = Parser(name="x", read=read, samples=["5"], slow_s=0.2, **({"sane": sane} if sane else {}))
    found = run(parser, count=6, seed=1, most_breaks=1)
    assert found.breaks and words in found.breaks[0]


def test_the_same_seed_gives_the_same_rubbish() -> None:
    seen: list[list[str]] = [[], []]
    for given in seen:
        run(Parser(name="x", read=given.append, samples=["8,2 mg/L"]), count=50, seed=3)
    assert seen[0] == seen[1] and len(set(seen[0])) > 25
