"""Kill -9 while it writes: nothing acknowledged is lost, nothing is half there."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from aerobe.notebook import Notebook, check, open_notebook
from aerobe.notebook import _schema as schema
from tests.notebook.conftest import NOW
from tests.notebook.writer import WRITES

ROOT = Path(__file__).parents[2]
FROZEN = ROOT / "tests" / "frozen" / "schema-0001.sqlite"
pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill -9")


def start(where: str, seed: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.notebook.writer", where, str(seed)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )


def holds(book: Notebook, number: int, kind: str) -> tuple[bool, bool]:
    """Whether a write is there, and whether it is there as a whole."""
    if kind in ("reading", "correction"):
        keys = {item.key for item in book.readings("b1", with_corrected=True)}
        wanted = {f"r{number}"} | ({f"r{number}-wrong"} if kind == "correction" else set())
        return bool(wanted & keys), wanted <= keys
    if kind == "log":
        times, _ = book.log("b1", "temperature", from_h=number, to_h=number + 0.9)
        return len(times) > 0, len(times) == 60
    if kind == "kept":
        found = [item for item in book.kept("advice", "b1") if item.payload == {"number": number}]
        return bool(found), len(found) == 1
    hours = {number + part / 10 for part in range(3)}
    got = {item.elapsed_h for item in book.readings("b1") if item.key.startswith("i-") and item.elapsed_h in hours}
    times, _ = book.log("b1", "oxygen", from_h=number, to_h=number + 0.9)
    return bool(got) or len(times) > 0, got == hours and len(times) == 3


@pytest.mark.parametrize("seed", [1, 2])
def test_nothing_acknowledged_is_lost_and_nothing_is_half_there(where: str, seed: int) -> None:
    rng = random.Random(seed)
    writer = start(where, seed)
    assert writer.stdout is not None
    assert [writer.stdout.readline().strip() for _ in range(2)] == ["opening", "open"]
    acknowledged: list[tuple[int, str]] = []
    stop_after = rng.randrange(5, WRITES - 20)
    for line in writer.stdout:
        number, kind = line.split()
        acknowledged.append((int(number), kind))
        if len(acknowledged) == stop_after:
            time.sleep(rng.random() * 0.004)  # somewhere inside one of the next writes
            os.kill(writer.pid, signal.SIGKILL)
            break
    acknowledged += [(int(line.split()[0]), line.split()[1]) for line in writer.stdout.read().splitlines()]
    assert writer.wait() == -signal.SIGKILL

    script = random.Random(seed)
    kinds = [script.choice(["reading", "correction", "log", "kept", "import"]) for _ in range(WRITES)]
    assert kinds[: len(acknowledged)] == [kind for _, kind in acknowledged]
    with open_notebook(where, at=NOW) as book:
        assert check(book) == []
        for number, kind in acknowledged:
            assert holds(book, number, kind) == (True, True), (number, kind)
        # One write may have been kept without its word getting out; none may be there in part.
        for number in range(len(acknowledged), WRITES):
            there, whole = holds(book, number, kinds[number])
            assert there == whole and (number == len(acknowledged) or not there)


@pytest.mark.parametrize("wait_ms", [0, 100, 200, 350])
def test_a_migration_that_is_killed_has_happened_or_has_not(tmp_path: Path, wait_ms: int) -> None:
    mine = tmp_path / "old.notebook"
    shutil.copy(FROZEN, mine)
    writer = start(str(mine), 1)
    assert writer.stdout is not None and writer.stdout.readline().strip() == "opening"
    time.sleep(wait_ms / 1000.0)
    os.kill(writer.pid, signal.SIGKILL)
    writer.wait()
    with open_notebook(mine, at=NOW) as book:
        assert book.store.schema() == schema.SCHEMA
        assert check(book) == []
        assert {"r2", "r3"} <= {item.key for item in book.readings("b1")}
