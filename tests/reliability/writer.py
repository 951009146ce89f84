"""A hand that writes to a notebook beside others, and says each write that was acknowledged: see test_two_writers.py."""

from __future__ import annotations

import json
import sys

import sqlalchemy as sa

from aerobe.notebook import Notebook, open_notebook
from aerobe.records import SensorLog
from tests.notebook.conftest import NOW, reading


def write(book: Notebook, hand: str, number: int) -> None:
    """One write of one of five kinds; some of several rows, some that read before they write."""
    key = f"{hand}{number}"
    match number % 5:
        case 0:
            book.add_reading(reading(key, hour=float(number)), at=NOW, token=f"t-{key}")
        case 1:
            with book.writing() as pen:
                pen.add(reading(f"{key}-wrong", hour=float(number)), at=NOW)
                pen.add(reading(key, hour=float(number), replaces=f"{key}-wrong"), at=NOW)
        case 2:
            hours = tuple(number + second / 3600.0 for second in range(60))
            book.append_log(SensorLog(brew="b1", channel="oxygen", probe=hand, elapsed_h=hours, values=hours), at=NOW)
        case 3:
            book.keep("advice", "b1", {"key": key}, at=NOW)
        case _:
            # Both hands count one thing up: what is read and written back must not be lost between them.
            with book.writing() as pen:
                before = pen.connection.execute(sa.text("select value from settings where name = 'count'")).scalar()
                pen.set_setting("count", json.loads(before or "0") + 1, at=NOW)


def main(where: str, hand: str, writes: str) -> None:
    """Write so many times."""
    with open_notebook(where, at=NOW) as book:
        print("open", flush=True)
        sys.stdin.readline()
        for number in range(int(writes)):
            write(book, hand, number)
            print(number, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
