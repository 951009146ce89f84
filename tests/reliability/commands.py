"""The command line and the files that commands are given, to be fed with rubbish."""

from __future__ import annotations

import contextlib
import io
import json
import random
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

from aerobe import cli, usecases
from aerobe.errors import ImportFault
from tests.reliability.forms import RATIOS, RUN, TABLE
from tests.reliability.fuzz import WORDS, Broken, Parser, spoil_bytes, spoil_text
from tests.reliability.world import yard

LINES = [
    'brew new Old --recipe plain --vessel bucket-a --started 2026-05-01T08:00 --temperature "20 degC"',
    "brew list",
    "brew show kelp-5",
    'reading add kelp-5 "12,5" --assay colour-test --when "90 min" --dilution 1:10',
    "reading correct kelp-1-0.5h-sample-1 12.5 --why slipped",
    "reading list kelp-5 --all",
    "notebook show recipe plain",
    "notebook add recipe {folder}/recipe.json",
    "notebook changes --newest 20",
    "import {folder}/log.csv --brew kelp-5 --zone +02:00 --yes",
    'import {folder}/log.csv --brew kelp-5 --column "hours=elapsed [h]"',
    "safety gates kelp-5",
    "safety smell kelp-5 earthy",
    'safety test kelp-5 "E. coli" --amounts "10 1 0.1" --tubes "3 3 3" --positives "1 0 0"',
    "safety water plain none",
    "safety compost orchard-heap --place EU",
    'safety chlorine --water "20 L" --chlorine 2',
    'safety sanitise --bath "10 L" --bleach 5',
    'safety mix --amount "10 L" --parts 4',
    'safety ask --brew kelp-5 --crop beans --edible yes --touches no --soil no --days 100 --tea "5 L" --area "4 m2"',
    'oxygen probe "8.9 mg/L" --temperature "20 degC" --zero "0.1 mg/L"',
    'oxygen saturation --temperature "18 degC" --altitude "500 m"',
    'oxygen hold "7 mg/L" 10',
    'oxygen sulphite "20 L" "9 mg/L"',
    'oxygen kla {folder}/run.csv --temperature "21 degC" --probe-t90 "30 s"',
    "oxygen foods molasses",
    'oxygen scale "1000 L" --volume "20 L" --kla "25 /h"',
    'assay tubes "10 1 0.1" "3 3 3" "3 1 0"',
    'assay plates "0.01:120 0.001:14"',
    "trial judge {folder}/judged.csv --margin 1.5",
    "evidence take {folder}/papers.csv",
    "evidence list",
    "export {folder}/out.zip --trial drawn --with-codes",
]
HEAVY_WORDS = (
    "serve",
    "demo",
    "call",
    "report",
    "power",
    "plan",
    "site",
    "restore",
    "completion",
    "--install-completion",
)


def command_parser(folder: Path) -> Parser:
    """The command line: words spoiled, files as they are."""

    shutil.copy(yard(), folder / "cli.notebook")
    _lay_out(folder)
    words = [_split(line.format(folder=folder)) for line in LINES]
    return Parser(
        name="command line",
        samples=words,
        spoil=_spoil_words,
        quick=40,
        read=lambda given: _command(folder, given),
        slow_s=5.0,
    )


def file_parsers(folder: Path) -> Iterator[Parser]:
    """Commands with good words whose files are rubbish."""
    _lay_out(folder)
    for line, name in (
        ("notebook add recipe {folder}/recipe.json", "recipe.json"),
        ("import {folder}/log.csv --brew kelp-5 --yes", "log.csv"),
        ("trial judge {folder}/judged.csv", "judged.csv"),
        ("evidence take {folder}/papers.csv", "papers.csv"),
        ("oxygen kla {folder}/run.csv --temperature 20degC", "run.csv"),
        ("assay certificate {folder}/study.csv --name Card", "study.csv"),
        ("safety compost-history orchard-heap --log {folder}/heap.txt --unit degC", "heap.txt"),
    ):
        words = _split(line.format(folder=folder))
        content = (folder / name).read_bytes()
        heavy = name in ("study.csv", "judged.csv")
        yield Parser(
            name=f"file of `aerobe {line.split(' {')[0]}`",
            samples=[content],
            spoil=spoil_bytes,
            quick=6,
            long=200 if heavy else 1000,
            slow_s=20.0,
            read=lambda given, words=words, name=name: _with_file(folder, words, name, given),
        )


def _with_file(folder: Path, words: list[str], name: str, content: bytes) -> None:
    before = (folder / name).read_bytes()
    (folder / name).write_bytes(content)
    try:
        _command(folder, words)
    finally:
        (folder / name).write_bytes(before)


def _lay_out(folder: Path) -> None:
    recipe = {
        "key": "extra",
        "name": "Extra",
        "compost": "orchard-heap",
        "compost_g_per_l": 50,
        "foods": [{"food": "molasses", "g_per_l": 1}],
    }
    judged = "arm,value,unit\n" + "\n".join(f"{arm},{10 + 3 * (arm == 'b') + n},{arm}{n}" for arm in "ab" for n in range(4))
    for name, content in (
        ("recipe.json", json.dumps(recipe).encode()),
        ("log.csv", TABLE),
        ("run.csv", RUN.encode()),
        ("judged.csv", judged.encode()),
        ("papers.csv", RATIOS),
        ("study.csv", usecases.assay.example_study().encode()),
        ("heap.txt", b"0 25\n3 61.5 turned\n5 60"),
    ):
        (folder / name).write_bytes(content)


def _split(line: str) -> list[str]:

    return shlex.split(line)


def _spoil_words(rng: random.Random, words: list[str]) -> list[str]:
    made = list(words)
    for _ in range(rng.choice((1, 1, 2))):
        how, place = rng.randrange(5), rng.randrange(len(made)) if made else 0
        if how == 0 and made:
            del made[place]
        elif how == 1:
            made.insert(place, rng.choice([*WORDS, *rng.choice(LINES).split()]))
        elif made and not made[place].startswith("/"):
            # Half characters come from a terminal with another encoding; Python hands them on like this.
            made[place] = spoil_text(rng, made[place]).replace("\0", "")[:5000].replace("\ud800", "\udcff")
    return made


def _command(folder: Path, words: list[str]) -> int:
    if not words or any(heavy in word for word in words for heavy in HEAVY_WORDS):
        raise ImportFault("Not tried here.", "It would serve, or work for minutes.")
    (folder / "out.zip").unlink(missing_ok=True)
    out, told = io.StringIO(), io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(told):
        try:
            code = cli.run([*words, "--notebook", str(folder / "cli.notebook")] if not _alone(words) else words)
        except SystemExit as fault:
            code = int(fault.code or 0)
    if code == cli.FAULT and len(told.getvalue().strip().splitlines()) < 2:
        raise Broken(f"a fault without a remedy: {told.getvalue()[:200]}")
    if code not in (cli.DONE, cli.MISUNDERSTOOD, cli.FAULT, cli.NOT_SETTLED):
        raise Broken(f"exit code {code}")
    if code in (cli.MISUNDERSTOOD, cli.FAULT):
        raise ImportFault("Refused.", "As it should be.")
    return code


_WITHOUT = ("oxygen", "assay")
_TOOLS = ("chlorine", "sanitise", "mix")


def _alone(words: list[str]) -> bool:
    """Whether a command needs no notebook."""
    return words[0] in _WITHOUT or any(tool in words for tool in _TOOLS)
