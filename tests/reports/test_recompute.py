"""A stranger's pandas and statsmodels find the verdict again from the package alone."""

from __future__ import annotations

import json
import math
import re
import runpy
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from aerobe.records import Arm, Trial
from aerobe.reports import recompute_files
from aerobe.trials import central_composite, factorial
from aerobe.verdicts import BrewResult, Rival, Verdict, hold_back, judge

ARMS = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
TRIAL = Trial(key="t", name="t", question="two recipes", arms=ARMS, margin_ratio=1.5)


def results(blocks: bool) -> list[BrewResult]:
    rng = np.random.default_rng(7)
    return [
        BrewResult(
            brew=f"{arm.key}-{i}",
            arm=arm.key,
            block=f"day-{i}" if blocks else "",
            value=80.0 * math.exp(0.3 * (arm.key == "kelp") + 0.5 * i * blocks + rng.normal(0.0, 0.2)),
        )
        for i in range(5)
        for arm in ARMS
    ]


def written(files: dict[str, bytes], folder: Path) -> Path:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder / "recompute"


def run(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "recompute.py"], cwd=folder, capture_output=True, text=True, timeout=600, check=False)


def test_brews_side_by_side_are_found_again_and_a_changed_brew_is_noticed(tmp_path: Path) -> None:
    verdict = judge(TRIAL, results(True), extent="without check")
    files = recompute_files(verdict)
    folder = written(files, tmp_path)
    said = json.loads(files["recompute/verdict.json"])["comparisons"][0]
    assert said["method"] == "paired"
    found = run(folder)
    assert found.returncode == 0 and ", as in the verdict" in found.stdout, found.stderr
    table = (folder / "brews.csv").read_text(encoding="utf-8").splitlines()
    cells = table[1].split(",")
    table[1] = ",".join([*cells[:3], str(2.0 * float(cells[3]))])
    (folder / "brews.csv").write_text("\n".join(table) + "\n", encoding="utf-8")
    changed = run(folder)
    assert changed.returncode == 1 and "NOT as in the verdict" in changed.stdout


def test_several_uneven_arms_are_not_named_another_model() -> None:
    three = Trial(key="t", name="t", question="several against a standard", arms=(*ARMS, Arm(key="fish", recipe="fish")))
    more = [BrewResult(brew=f"f{i}", arm="fish", value=90.0 + i, block="") for i in range(2)]
    files = recompute_files(judge(three, [*results(False), *more], extent="without check"))
    said = json.loads(files["recompute/verdict.json"])["comparisons"]
    assert all(item["method"] and not item["why"] for item in said)


def several() -> Verdict:
    three = Trial(key="t", name="t", question="several against a standard", arms=(*ARMS, Arm(key="fish", recipe="fish")))
    more = [BrewResult(brew=f"fish-{i}", arm="fish", value=value, block="") for i, value in enumerate((131.0, 88.0, 109.0))]
    return judge(three, [*results(False), *more], extent="without check")


def doses() -> Verdict:
    arms = tuple(Arm(key=f"d{i}", dose=float(i), is_standard=i == 0) for i in range(4))
    rng = np.random.default_rng(3)
    brews = [
        BrewResult(brew=f"{arm.key}-{i}", arm=arm.key, value=50.0 * math.exp(0.2 * (arm.dose or 0.0) + rng.normal(0.0, 0.2)))
        for arm in arms
        for i in range(4)
    ]
    return judge(Trial(key="t", name="t", question="dose series", arms=arms), brews, extent="without check")


FACTORS = {"kelp": (0.0, 1.0), "humic": (0.0, 2.0)}


def factors(*, empty: bool = False) -> Verdict:
    arms = factorial(FACTORS).arms
    rng = np.random.default_rng(4)
    brews = [
        BrewResult(brew=f"{arm.key}-{i}", arm=arm.key, value=50.0 * math.exp(0.4 * arm.levels["kelp"] + rng.normal(0.0, 0.2)))
        for arm in arms
        for i in range(4)
        if not (empty and arm.levels == {"kelp": 1.0, "humic": 2.0})
    ]
    here = tuple(arm for arm in arms if any(brew.arm == arm.key for brew in brews))
    return judge(Trial(key="t", name="t", question="factors", arms=here), brews, extent="without check")


def laid(arms: tuple[str, ...], rows: list[tuple[str, str, str]]) -> Verdict:
    """A verdict of brews given as arm, day and vessel."""
    rng = np.random.default_rng(12)
    named = tuple(Arm(key=arm, is_standard=i == 0) for i, arm in enumerate(arms))
    trial = Trial(key="t", name="t", question="several against a standard", arms=named)
    brews = [
        BrewResult(
            brew=f"b{i}", arm=arm, block=day, column=vessel, value=60.0 * math.exp(0.3 * arms.index(arm) + rng.normal(0.0, 0.25))
        )
        for i, (arm, day, vessel) in enumerate(rows)
    ]
    return judge(trial, brews, extent="without check")


def on_days() -> Verdict:
    return laid(("plain", "kelp", "fish"), [(arm, f"day-{day}", "") for day in range(4) for arm in ("plain", "kelp", "fish")])


def uneven() -> Verdict:
    whole = [(arm, f"day-{day}", "") for day in range(4) for arm in ("plain", "kelp", "fish")]
    return laid(("plain", "kelp", "fish"), [cell for i, cell in enumerate(whole) if i not in (4, 9)])


def square() -> Verdict:
    arms = ("plain", "kelp", "fish", "humic")
    return laid(arms, [(arms[(day + place) % 4], f"day-{day}", f"vessel-{place}") for day in range(4) for place in range(4)])


def alike_arms() -> list[BrewResult]:
    noise = np.random.default_rng(2).normal(0.0, 0.2, 5)
    return [
        BrewResult(brew=f"{arm.key}-{i}", arm=arm.key, value=70.0 * math.exp(share * noise[i]))
        for arm, share in zip(ARMS, (1.0, -1.2), strict=True)
        for i in range(5)
    ]


def at_limits() -> Verdict:
    lowest = min(item.value for item in results(False))
    brews = [replace(item, at_limit=item.value == lowest) for item in results(False)]
    return judge(TRIAL, brews, extent="without check")


def held() -> Verdict:
    return hold_back(
        judge(TRIAL, results(True), extent="without check"), Rival(name="x", words="x", remedy="x", blocks_claim=True)
    )


def of_days() -> Verdict:
    brews = [
        replace(item, brew=f"{item.brew}-{twin}", value=item.value * (1.0 + 0.03 * twin))
        for item in results(True)
        for twin in (0, 1)
    ]
    return judge(TRIAL, brews, extent="without check")


def surface() -> tuple[Verdict, tuple[Arm, ...]]:
    spans = {"molasses": (0.0, 3.0), "kelp": (0.0, 1.0)}
    arms = central_composite(spans)
    rng = np.random.default_rng(11)
    brews = []
    for arm in arms:
        for i in range(4 if arm.key == "centre" else 2):
            x, z = (2.0 * arm.levels[name] / high - 1.0 for name, (_, high) in spans.items())
            value = 20.0 * math.exp(0.6 * x - 0.5 * x * x - 0.4 * z * z + rng.normal(0.0, 0.1))
            brews.append(BrewResult(brew=f"{arm.key}-{i}", arm=arm.key, value=value))
    return judge(Trial(key="t", name="t", question="factors", arms=arms), brews, extent="without check"), arms


KINDS: dict[str, tuple[Callable[[], Verdict], tuple[Arm, ...], set[str]]] = {
    "two arms": (lambda: judge(TRIAL, results(False), extent="without check"), ARMS, {"welch"}),
    "two arms in blocks": (lambda: judge(TRIAL, results(True), extent="without check"), ARMS, {"paired"}),
    "held": (held, ARMS, {"paired"}),
    "several arms": (several, ARMS, {"welch", "least squares"}),
    "several arms on days": (on_days, (), {"paired", "least squares"}),
    "days that are not whole": (uneven, (), {"least squares"}),
    "two like arms": (lambda: judge(TRIAL, alike_arms(), extent="without check"), ARMS, {"least squares"}),
    "vessels and days": (square, (), {"least squares"}),
    "doses": (doses, (), {"welch", "least squares"}),
    "factors": (factors, factorial(FACTORS).arms, {"least squares"}),
    "factors with an empty cell": (lambda: factors(empty=True), factorial(FACTORS).arms, {"welch", "least squares"}),
    "limits": (at_limits, ARMS, {""}),
    "days": (of_days, ARMS, {"paired"}),
    "surface": (lambda: surface()[0], surface()[1], {"surface"}),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_trial_is_found_again_by_both_scripts_or_named(
    tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    make, arms, methods = KINDS[kind]
    files = recompute_files(make(), arms)
    folder = written(files, tmp_path)
    said = json.loads(files["recompute/verdict.json"])["comparisons"]
    assert {item["method"] for item in said} <= methods, said
    runpy.run_path(str(folder / "recompute.py"))["main"]()  # here: a process of its own costs seconds
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(said) and not any("NOT as in" in line for line in lines)
    assert all("limit of the test" in item["why"] for item in said if kind == "limits")
    assert all((", as in the verdict" in line) is bool(item["method"]) for line, item in zip(lines, said, strict=True))
    assert in_r(folder, lines) == lines


def in_r(folder: Path, otherwise: list[str]) -> list[str]:
    """What the script for R says, without the reasons for another model; where R is not there, what it should."""
    here = [re.sub(r"(: by another model):.*", r"\1", line) for line in otherwise]
    if shutil.which("Rscript") is None:
        return otherwise
    found = subprocess.run(
        ["Rscript", "--vanilla", "recompute.R"], cwd=folder, capture_output=True, text=True, timeout=600, check=False
    )
    assert found.returncode == 0, found.stderr
    assert found.stdout.splitlines() == here
    return otherwise


# R 4.2.2 t.test(a - b, conf.level = 0.90) and t.test(a, b, var.equal = FALSE), Student's sleep data, as stored by us earlier
# (Welch: t -1.86081346749, df 17.7764735162); the script for R calls the same functions and is not run here.
def test_the_script_for_r_calls_the_functions_whose_answers_are_stored() -> None:
    from aerobe.reports._recompute import _welch

    first = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
    second = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
    middle, low, high = _welch(first, second)
    # 90 % interval from R's df and t: half width = t(0.95, 17.7764735) * 0.849091
    assert middle == pytest.approx(-1.58)
    assert (high - low) / 2 == pytest.approx(1.58 / 1.86081346749 * 1.7353, rel=2e-4)
    files = recompute_files(judge(TRIAL, results(True), extent="without check"))
    script = files["recompute/recompute.R"].decode()
    assert "t.test(both$y.x - both$y.y" in script and "var.equal = FALSE" in script
    assert files["recompute/comparisons.csv"].decode().splitlines()[0].startswith("label,first,second,method")
