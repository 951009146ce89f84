"""Two programs write to one notebook, a file or a server: nothing is lost, and who waits too long is told."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.errors import NotebookFault
from aerobe.notebook import _store as store
from aerobe.notebook import check, open_notebook
from aerobe.records import Brew, Use
from tests.notebook.conftest import NOW, furnish, reading
from tests.web.conftest import BREW

ROOT = Path(__file__).parents[2]
WRITES = 60


def write_together(where: str, hands: str, writes: int) -> float:
    """Start a program for each letter, let them go at one moment, and look at what they left. Gives the seconds it took."""
    with open_notebook(where, at=NOW) as book:
        furnish(book)
    running = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.reliability.writer", where, hand, str(writes)],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for hand in hands
    ]
    for one in running:
        assert one.stdout is not None and one.stdout.readline() == "open\n"
    began = time.monotonic()
    told = [one.communicate("go\n", timeout=600) for one in running]
    took = time.monotonic() - began
    for one, (said, complained) in zip(running, told, strict=True):
        assert one.returncode == 0, complained
        assert [int(line) for line in said.split()] == list(range(writes))
    with open_notebook(where, at=NOW) as book:
        assert check(book) == []
        keys = {item.key for item in book.readings("b1")}
        kept = [item.payload["key"] for item in book.kept("advice", "b1")]
        for hand in hands:
            assert {f"{hand}{n}" for n in range(writes) if n % 5 < 2} <= keys
            assert sorted(f"{hand}{n}" for n in range(3, writes, 5)) == sorted(key for key in kept if key[0] == hand)
            times, _ = book.log("b1", "oxygen", probe=hand)
            assert len(times) == 60 * len(range(2, writes, 5))
        assert book.setting("count") == len(hands) * len(range(4, writes, 5))
    return took


def test_two_programs_lose_nothing_and_end(where: str) -> None:
    write_together(where, "ab", WRITES)


def test_a_busy_notebook_is_waited_for(where: str) -> None:
    with open_notebook(where, at=NOW) as book, open_notebook(where, at=NOW) as other:
        furnish(book)
        held, enough, done = threading.Event(), threading.Event(), []

        def hold() -> None:
            with other.writing() as pen:
                pen.keep("advice", "b1", {"held": True}, at=NOW)
                held.set()
                assert enough.wait(600.0) and done == []

        def add() -> None:
            book.add_reading(reading("r1"), at=NOW)
            done.append("r1")

        hands = [threading.Thread(target=work) for work in (hold, add)]
        hands[0].start()
        assert held.wait(600.0)
        assert book.readings() == []  # reading is not held up
        hands[1].start()
        hands[1].join(0.5)
        assert hands[1].is_alive() and book.readings() == []
        enough.set()
        for hand in hands:
            hand.join()
        assert done == ["r1"]
        assert [item.key for item in book.readings()] == ["r1"] and len(book.kept("advice", "b1")) == 1


def test_who_waits_too_long_is_told_and_can_go_on_later(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "WAIT_S", 0.3)
    with open_notebook(where, at=NOW) as book, open_notebook(where, at=NOW) as other:
        furnish(book)
        with other.writing() as pen:
            pen.keep("advice", "b1", {"held": True}, at=NOW)
            with pytest.raises(NotebookFault, match="Another program") as found:
                book.add_reading(reading("r1"), at=NOW)
            assert "try again" in found.value.remedy
        book.add_reading(reading("r1"), at=NOW)
        assert check(book) == []


ACTS: dict[str, Any] = {
    "brews of one name": (
        lambda book, _: usecases.notebook.new_brew(
            book, Brew(key="draft", name="Twin", recipe="plain", vessel="barrel", started_at=NOW), now=NOW
        ),
        Brew,
        1,
    ),
    "uses of one bed": (
        lambda book, _: usecases.safety.record_use(
            book, usecases.safety.UseEntry(brew="b1", place="bed 1", method="drench"), now=NOW
        ),
        Use,
        0,
    ),
    "brews of one form": (
        lambda book, n: usecases.brews.start_brew(book, usecases.brews.BrewStart(name="Twin", **_START, token=f"t{n}"), now=NOW),
        Brew,
        1,
    ),
}
_START = {name: BREW[name] for name in ("compost_name", "compost_amount")} | {
    "volume": "100 L",
    "depth": "60 cm",
    "flow": "30 L/min",
    "assay": "",
}


@pytest.mark.parametrize("what", ACTS)
def test_two_hands_that_choose_the_same_name_both_succeed(where: str, what: str) -> None:
    act, cls, before = ACTS[what]
    rounds = 6
    with open_notebook(where, at=NOW) as book, open_notebook(where, at=NOW) as other:
        furnish(book)
        faults: list[Exception] = []
        gate = threading.Barrier(2)

        def work(mine: Any, side: int) -> None:
            for number in range(rounds):
                gate.wait()
                try:
                    act(mine, 2 * number + side)
                except Exception as fault:
                    faults.append(fault)

        hands = [threading.Thread(target=work, args=(mine, side)) for side, mine in enumerate((book, other))]
        for hand in hands:
            hand.start()
        for hand in hands:
            hand.join()
        assert faults == []
        assert len(book.find(cls)) == 2 * rounds + before
        assert check(book) == []
