"""One line for every command that answers, in an order in which each finds what it needs in the invented notebook."""

from __future__ import annotations

import contextlib
import io
import json
import math
import shlex
from pathlib import Path
from typing import Any

from aerobe.cli import FAULT, run
from aerobe.usecases.assay import example_study

STAMP = Path(__file__).parents[1] / "data" / "stamp"
LINES = """
demo {home}/tea.notebook
compost add "Leaf mould" --animal no
recipe add Mould --compost leaf-mould --compost-amount "500 g" --water "20 L" --food "molasses 20 g"
vessel add Drum --volume "60 L" --air "20 L/min"
test add Strips --price 3
start --vessel drum --recipe mould --test strips
compost list
recipe list
vessel list
test list
settings
brew new "Old barrel" --recipe plain --vessel bucket-a
brew list
doctor
brew show kelp-5
brew event kelp-5 "air off" --when "3 h"
brew event kelp-5 "air on" --when "3.2 h"
brew events kelp-5
reading add kelp-5 "12,5" --assay colour-test --when "13 h" --dilution 1:10
reading correct kelp-5-6h-sample-1 46 --why misread
reading list kelp-5 --all
call kelp-5
call replay kelp-2 --every 24 --until 24
practise new --seed 3 --probe
practise step practice-1 --hours 12
practise test practice-1
practise control practice-1
practise pump practice-1
practise harvest practice-1
practise curtain practice-1
practise series
practise lesson
practise lesson how-many --guess 2
call beliefs kelp-5
assay example
assay certificate {home}/study.csv --name "My cards" --scale-low 3 --scale-high 600
assay tubes "10 1 0.1" "3 3 3" "3 1 0"
assay plates "0.01:120 0.01:>300 0.001:14"
assay fields "12 9 15 8"
assay below "<10 34 12 <5 80 51"
assay ratio 2 10 --fungi-sd 0.5 --bacteria-sd 1 --kind mass
assay compare "12 30 55 80 90 99 120 150 160 200" "14 28 60 77 95 90 124 160 150 210" --foods "{foods}" --phases "{phases}"
assay addition "0 50 100 150" "96 140 193 240" --background 23
assay carbon 2e8 0.05
assay hyphae "4 7 2 5" --grid-line-mm 2 --filter-mm2 200 --filtered-ml 1 --width-um 3
assay basis "300 +- 30" --given "per g dry" --wanted "per mL" --density "0.5 +- 0.05" --moisture 0.55
assay meaning colour-test 120
assay how-many colour-test --expected 100 --within 15
import {home}/readings.csv --brew plain-5 --assay colour-test --yes
import {home}/readings.csv --brew plain-5 --assay colour-test
export {home}/all.zip
trial plan --name Kelp --arms "plain, kelp" --money 300 --vessels 2 --vessel-names "bucket-a, bucket-b" --scatter 0.3 --begin
trial power kelp --scatter 0.3 --simulations 20 --workers 1
trial list
trial show kelp
trial begin kelp {code}
trial sheet kelp {home}/sheet.html
trial protocol kelp {home}
trial join {home}/kelp.protocol.json --compost orchard-heap --seed 5
trial calendar kelp {home}/kelp.ics
trial fingerprint kelp {home}/plan.json --request {home}/plan.tsq
trial stamped-at {home}/stamped.json {home}/stamped.tsr {home}/authority.pem
trial seal kelp {home}/kelp.sealed-key --passphrase-file {home}/pass.txt
trial open-key {home}/kelp.sealed-key --passphrase-file {home}/pass.txt
trial open-codes kelp
trial verdict kelp-question
trial next kelp-question
trial compare kelp plain
trial judge {home}/doses.csv --outcome yield --question "dose series" --standard 0
trial times kelp bucket-a --samples 3
notebook add recipe {home}/plain.json --change
notebook show
notebook show recipe
notebook check
notebook copy {home}/copy.notebook
notebook copies
notebook changes --newest 5
notebook restore {home}/copy.notebook
notebook rescue {home}/copy.notebook {home}/rescued.notebook
oxygen saturation --temperature "18 degC" --altitude "500 m"
oxygen probe "8.9 mg/L" --temperature "20 degC" --zero "0.1 mg/L"
oxygen sulphite "20 L" "9 mg/L"
oxygen kla {home}/run.csv --temperature "21 degC" --vessel bucket-a
oxygen steps {home}/steps.csv --off "180 s" --on "540 s" --temperature "20 degC"
oxygen series {home}/series.csv --temperature "21 degC"
oxygen ceiling --draws 60
oxygen splits "2 g/L" --kla "30 /h" --draws 60
oxygen air-or-food "3 g/L" --kla "30 /h" --draws 60
oxygen size "2 g/L" --volume "60 L" --depth "60 cm" --draws 60
oxygen scale "1000 L" --volume "20 L" --kla "25 /h"
oxygen uptake kelp-5
oxygen feed-now kelp-5 molasses
oxygen hold "7 mg/L" 10
oxygen foods
oxygen foods molasses
safety place "US organic"
safety gates kelp-5
safety air kelp-5 --unbroken yes
safety material orchard-heap --made-of "manure, plants" --soiled no
safety own-rule --days 0
safety rules Germany
safety hazards
safety sampling
safety sampling vessel
safety ask --brew kelp-2 --crop beans --edible yes --touches no --days 100 --tea "5 L" --area "10 m2" --density "{density}"
safety use --brew kelp-2 --crop beans --edible yes --touches no --days 100 --tea "5 L" --water "20 L" --area "10 m2"
safety smell kelp-5 earthy
safety compost orchard-heap
safety compost-history orchard-heap --process windrow --ratio 30:1
safety test kelp-5 "E. coli" --amounts "10 1 0.1" --tubes "3 3 3" --positives "3 1 1"
safety water plain none
safety germ kelp-5 Salmonella "not found"
safety chlorine --water "20 L" --chlorine 2
safety sanitise --bath "10 L" --bleach 5
safety lab compost-salmonella --found no --finds 3
safety mix --amount "10 L" --parts 4
safety cautions spraying
safety limits
report trial kelp-question --to {home}/reports
report brew kelp-1 --to {home}/reports
report assay {home}/study.csv --name "Colour test" --method "colour test" --to {home}/reports
report check {home}/reports/trial-kelp-question-data.zip
evidence take {home}/reports/trial-kelp-question-data.zip --site north
evidence take {home}/papers.csv
evidence list
evidence weigh "with kelp (invented)" "plain (invented)"
"""
# Their answers take a folder of reports or many trials to make; tests of their own rooms run them.
ELSEWHERE = {"practise play", "evidence site", "report site", "evidence brews", "serve", "completion"}


def prepare(home: Path) -> None:
    """Write the files that the lines name."""
    (home / "study.csv").write_text(example_study(), encoding="utf-8")
    (home / "readings.csv").write_text("elapsed [h],value [ug C/mL]\n4,33\n20,x\n", encoding="utf-8")
    (home / "pass.txt").write_text("eight pots of tea", encoding="utf-8")
    plain = {"key": "plain", "name": "Plain", "compost": "orchard-heap", "compost_g_per_l": 50.0}
    (home / "plain.json").write_text(json.dumps(plain), encoding="utf-8")
    doses = [f"{dose},{dose}-{pot},{10 + 4 * dose - dose * dose + pot / 10}" for dose in (0, 1, 2, 3) for pot in (0, 1, 2)]
    (home / "doses.csv").write_text("arm,unit,value\n" + "\n".join(doses), encoding="utf-8")
    (home / "run.csv").write_text("time [s],oxygen [mg/L]\n" + "\n".join(_rising(20.0)), encoding="utf-8")
    series = [f"{flow},{flow},{line}" for flow in (4, 6, 8, 10, 12) for line in _rising(4.0 * flow)]
    (home / "series.csv").write_text("run,flow [L/min],time [s],oxygen [mg/L]\n" + "\n".join(series), encoding="utf-8")
    (home / "steps.csv").write_text("time [s],oxygen [mg/L]\n" + "\n".join(_steps()), encoding="utf-8")
    head = "key,recipe,against,ratio,low,high,brews,brews_against,planned,killed_control\n"
    papers = [f"paper-{at},with kelp (invented),plain (invented),1.{at},1.0,1.9,4,4,yes,no" for at in (3, 4)]
    for name, of in (("stamped.json", "plan.json"), ("stamped.tsr", "reply.tsr"), ("authority.pem", "authority.pem")):
        (home / name).write_bytes((STAMP / of).read_bytes())
    (home / "papers.csv").write_text(head + "\n".join(papers), encoding="utf-8")


def _rising(kla_per_h: float) -> list[str]:
    return [f"{at},{9 - 8.5 * math.exp(-kla_per_h * at / 3600):.3f}" for at in range(0, 900, 10)]


def _steps() -> list[str]:
    oxygen, lines = 8.0, []
    for at in range(0, 1200, 10):
        lines.append(f"{at},{oxygen:.3f}")
        oxygen += ((0.0 if 180 <= at < 540 else 25.0 * (9.0 - oxygen)) - 15.0) / 360.0
    return lines


def answers(home: Path) -> dict[str, list[Any]]:
    """Every line answered in JSON: name of the command -> its answers."""
    prepare(home)
    found: dict[str, list[Any]] = {}
    names = {
        "home": str(home),
        "density": "1e8 5e7 2e8 /mL",
        "foods": " ".join(["fish", "kelp"] * 5),
        "phases": " ".join(["early"] * 5 + ["late"] * 5),
        "code": "",
    }
    for line in LINES.strip().splitlines():
        if "{code}" in line:
            names["code"] = found["trial show"][-1]["sheet"]["brews"][0]["blind_code"]
        words = shlex.split(line.format(**names))
        words += ["-n", f"{home}/tea.notebook"] if _opens(words) else []
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
            code = run([*words, "--json"])
        assert code != FAULT, (line, out.getvalue())
        name = (
            words[0]
            if words[0] in ("demo", "import", "export", "doctor", "start", "settings") or line == "call kelp-5"
            else " ".join(words[:2])
        )
        found.setdefault(name, []).append(json.loads(out.getvalue(), parse_constant=_no_constant))
    return found


ALONE = {
    "notebook": {"rescue"},
    "oxygen": {
        "saturation",
        "probe",
        "sulphite",
        "steps",
        "ceiling",
        "splits",
        "air-or-food",
        "size",
        "scale",
        "hold",
        "foods",
        "series",
    },
    "safety": {"rules", "hazards", "sampling", "chlorine", "sanitise", "lab", "mix", "cautions", "limits"},
    "report": {"check", "assay"},
    "trial": {"open-key"},
    "practise": {"lesson"},
    "assay": {"example", "tubes", "plates", "fields", "below", "ratio", "compare", "addition", "carbon", "hyphae", "basis"},
}  # commands that open no notebook


def _opens(words: list[str]) -> bool:
    return words[0] != "demo" and "".join(words[1:2]) not in ALONE.get(words[0], set())


def _no_constant(word: str) -> None:
    raise AssertionError(f"{word} is no JSON")
