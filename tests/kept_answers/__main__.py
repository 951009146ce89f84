"""Compares a room's answers with those kept, or keeps those of today."""

from __future__ import annotations

import argparse
import sys

from tests.kept_answers import TESTS, check, check_names, kept, write


def main(words: list[str]) -> int:
    rooms = sorted(path.parent.name for path in TESTS.glob("*/kept_answers.py"))
    parser = argparse.ArgumentParser(prog="python -m tests.kept_answers", description="Are the answers those of an earlier day?")
    parser.add_argument("room", choices=rooms)
    parser.add_argument("--write", action="store_true", help="keep the answers of today")
    asked = parser.parse_args(words)
    if asked.write:
        print("\n".join(write(asked.room)) or "Nothing changed.")
        return 0
    try:
        check_names(asked.room)
        for case in kept(asked.room):
            check(asked.room, case)
    except AssertionError as changed:
        print(changed)
        return 1
    print(f"{len(kept(asked.room))} answers are as kept.")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
