"""A program that writes to a notebook and says what was acknowledged, until somebody kills it: see test_kill.py."""

from __future__ import annotations

import random
import sys
from datetime import UTC, datetime, timedelta

from aerobe.notebook import Notebook, open_notebook
from aerobe.records import Brew, SensorLog
from aerobe.usecases.exchange import Wishes, take_in
from tests.notebook.conftest import NOW, furnish, reading

WRITES = 200


def table_of(number: int) -> bytes:
    """A file of three readings and three probe values, all of one time."""
    rows = "".join(f"{number + part / 10},{number + part},{8 + part / 10}\n" for part in range(3))
    return f"hours,biomass (ug C/mL),DO (mg/L)\n{rows}".encode()


def write(book: Notebook, number: int, kind: str) -> None:
    """One acknowledged write of this kind; its key or time tells the number."""
    if kind == "reading":
        book.add_reading(reading(f"r{number}", hour=float(number)), at=NOW, token=f"t{number}")
    elif kind == "correction":
        with book.writing() as pen:
            pen.add(reading(f"r{number}-wrong", hour=float(number)), at=NOW)
            pen.add(reading(f"r{number}", hour=float(number), replaces=f"r{number}-wrong"), at=NOW)
    elif kind == "log":
        hours = tuple(number + second / 3600.0 for second in range(60))
        book.append_log(SensorLog(brew="b1", channel="temperature", elapsed_h=hours, values=hours), at=NOW)
    elif kind == "kept":
        book.keep("advice", "b1", {"number": number}, at=NOW)
    else:
        later = NOW + timedelta(days=30)  # rows ahead of the clock would be asked about
        take_in(book, table_of(number), f"file-{number}.csv", Wishes(columns={}, brew="b1", assay="card"), now=later)


def main(where: str, seed: str) -> None:
    """Open, furnish if new, and write with a line on stdout after each acknowledged write."""
    rng = random.Random(int(seed))
    print("opening", flush=True)
    with open_notebook(where, at=datetime.now(UTC)) as book:
        if not book.find(Brew):
            with book.writing() as pen:
                furnish(pen)  # type: ignore[arg-type]
        print("open", flush=True)
        for number in range(WRITES):
            kind = rng.choice(["reading", "correction", "log", "kept", "import"])
            write(book, number, kind)
            print(f"{number} {kind}", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
