"""Do the worked studies again: run every command that they print, put its output and its pictures back in.

    .aerobe/env/bin/python docs/studies/make.py

A study is a page in this folder. In its blocks of the kind `console`, lines with a `$` in front are commands and the others are
what they answered. What follows `<!-- made: ... -->` is a table worked out here. A test does the same and compares.
"""

from __future__ import annotations

import contextlib
import csv
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
PICTURES = HERE / "pictures"
STUDIES = ("kelp-and-glucose", "how-much-air")
ASKED_AT_H = (0.0, 16.0, 28.0, 40.0)  # just after the first four samplings
KELP = ROOT / "tests" / "data" / "s11_kelp_glucose_batch_2021_two_methods_and_O2.csv"

_CONSOLE = re.compile(r"```console\n(.*?)```", re.DOTALL)
_MADE = re.compile(r"(<!-- made: ([a-z-]+) -->\n)((?:\|.*\n)*)")


def refreshed(text: str, folder: Path, *, leave: Callable[[str], bool] = lambda what: False) -> str:
    """The page with every output as it is today; files that commands write go to `folder`.

    Commands and tables for which `leave` says yes are not run: what the page says of them stays.
    """
    with _workplace(folder):
        text = _CONSOLE.sub(lambda block: f"```console\n{_answered(block[1], leave)}```", text)
        return _MADE.sub(lambda block: block[0] if leave(block[2]) else block[1] + _lines(TABLES[block[2]]()), text)


def _answered(block: str, leave: Callable[[str], bool]) -> str:
    """The block's commands as they are written, each followed by what it answers now."""
    said = re.findall(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", block, flags=re.MULTILINE)
    return "".join(f"$ {command}\n{old if leave(command) else _run(command)}" for command, old in said)


def _lines(rows: list[str]) -> str:
    return "".join(f"{row}\n" for row in rows)


def _run(command: str) -> str:
    from aerobe.cli import run

    command, _, kept = command.partition(" | head -")
    words = shlex.split(command)
    if words[0] == "export":
        name, _, value = words[1].partition("=")
        os.environ[name] = value
        return ""
    if words[0] != "aerobe":
        raise ValueError(f"a study may only use aerobe and export: {command}")
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = run(words[1:])
    lines = [line.rstrip() for line in said.getvalue().splitlines()]
    lines = lines[: int(kept)] if kept else lines
    return "".join(f"{line}\n" for line in lines) + (f"(exit code {code})\n" if code and not kept else "")


@contextlib.contextmanager
def _workplace(folder: Path) -> Iterator[None]:
    """An empty folder that sees the data and records of the house, and nothing of the person's own."""
    for name in ("tests/data", "docs/studies/records"):
        shutil.copytree(ROOT / name, folder / name)
    kept, place = dict(os.environ), Path.cwd()
    os.environ["AEROBE_HOME"] = str(folder)
    os.environ.pop("AEROBE_NOTEBOOK", None)
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(place)
        os.environ.clear()
        os.environ.update(kept)


def calls_table() -> list[str]:
    """What was called for each bottle just after its first samplings, and what the whole record says of it."""
    from aerobe.records import Brew
    from aerobe.usecases.brews import replay_brew
    from aerobe.usecases.notebook import open_notebook

    head = "| bottle | highest count | asked at 0 h | at 16 h | at 28 h | left at the call of 16 h | left at 24 h |"
    rows = [head, "|---|---|---|---|---|---|---|"]
    now = datetime.now(UTC)
    with open_notebook("kelp.notebook", at=now) as book:
        for brew in sorted(book.find(Brew, of="kelp-and-glucose"), key=lambda item: item.name):
            read = sorted((item.elapsed_h, item.signal) for item in book.readings(brew.key))
            calls = replay_brew(book, brew.key, ASKED_AT_H[:3], now=now)
            told = [f"{call.call} {call.window.best_h:g} h ({call.window.start_h:g} to {call.window.end_h:g})" for call in calls]
            top = max(value for _, value in read)
            at = next(hour for hour, value in read if value == top)
            left = [left_of(read, hour) for hour in (calls[1].window.best_h, 24.0)]
            left = ["not known" if share is None else f"{100 * share:.0f} %" for share in left]
            rows.append(f"| {brew.name} | {top / 1e6:.1f} million/mL at {at:g} h | {' | '.join(told)} | {' | '.join(left)} |")
    return rows


def left_of(read: list[tuple[float, float]], hour: float) -> float | None:
    """Count at an hour, on straight lines between the logs of the counts, over the highest; None before the first count."""
    hours, counts = zip(*read, strict=True)
    if hour < hours[0]:
        return None
    return float(np.exp(np.interp(hour, hours, np.log(counts))) / max(counts))


def counts_table() -> list[str]:
    """Both counts of each food at the three hours that have both."""
    rows = ["| food | hour | bottles | cytometry, mean | microscopy (SD) | ratio |", "|---|---|---|---|---|---|"]
    for food, hour, bottles, cells, seen, sd in pairs_of_counts():
        both = f"{cells / 1e6:.2f} million/mL | {seen / 1e6:.2f} ({sd / 1e6:.2f}) million/mL"
        rows.append(f"| {food} | {hour:g} h | {bottles} | {both} | {cells / seen:.2f} |")
    return rows


def pairs_of_counts() -> list[tuple[str, float, int, float, float, float]]:
    """Food, hour, bottles, mean of their cytometer counts, microscope count and its SD, from the published rows."""
    with KELP.open(newline="", encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["variable"] == "all_cells"]
    found = []
    for row in sorted((row for row in rows if row["method"] == "DAPI_microscopy"), key=lambda row: float(row["time_h"])):
        same = [
            float(other["value"])
            for other in rows
            if other["method"] == "flow_cytometry" and other["treatment"] == row["treatment"] and other["time_h"] == row["time_h"]
        ]
        food, mean = row["treatment"].replace("_", " "), sum(same) / len(same)
        found.append((food, float(row["time_h"]), len(same), mean, float(row["value"]), float(row["sd"])))
    return found


def oxygen_table() -> list[str]:
    """Oxygen used since the start, as the sensor's rows give it."""
    with KELP.open(newline="", encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["variable"] == "oxygen_change"]
    used = {(row["treatment"], float(row["time_h"])): (-float(row["value"]), float(row["sd"])) for row in rows}
    foods = sorted({food for food, _ in used})
    lines = ["| food | oxygen used by 24 h | by 96 h |", "|---|---|---|"]
    for food in foods:
        told = [f"{used[food, hour][0]:.1f} ({used[food, hour][1]:.1f}) umol/L" for hour in (24.0, 96.0)]
        lines.append(f"| {food.replace('_', ' ')} | {' | '.join(told)} |")
    return lines


TABLES: dict[str, Callable[[], list[str]]] = {"calls": calls_table, "counts": counts_table, "oxygen": oxygen_table}


def main() -> None:
    """Refresh both studies in place, and their pictures."""
    PICTURES.mkdir(exist_ok=True)
    for name in STUDIES:
        page = HERE / f"{name}.md"
        with tempfile.TemporaryDirectory(prefix="aerobe-study-") as made:
            folder = Path(made)
            page.write_text(refreshed(page.read_text(encoding="utf-8"), folder), encoding="utf-8")
            for picture in sorted([*folder.glob("*.svg"), *folder.glob("*.png")]):
                shutil.copy(picture, PICTURES / picture.name)
            first_page(folder)
        print(f"{page.relative_to(ROOT)} is as the program answers today")


def first_page(folder: Path) -> None:
    """The first page of each PDF as a picture, where the reader of PDF is at hand."""
    for paper in folder.glob("*/*.pdf"):
        if shutil.which("pdftoppm") is None:
            print("pdftoppm is not here: the picture of the report stays as it was", file=sys.stderr)
            return
        target = PICTURES / "report-page-1"
        subprocess.run(["pdftoppm", "-png", "-r", "80", "-f", "1", "-singlefile", str(paper), str(target)], check=True)


if __name__ == "__main__":
    main()
