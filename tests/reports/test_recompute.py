"""A stranger's pandas and statsmodels find the verdict again from the package alone."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from aerobe.records import Arm, Trial
from aerobe.reports import recompute_files
from aerobe.verdicts import BrewResult, judge

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


def test_what_another_model_found_is_named_and_not_claimed() -> None:
    three = Trial(key="t", name="t", question="several against a standard", arms=(*ARMS, Arm(key="fish", recipe="fish")))
    more = [BrewResult(brew=f"f{i}", arm="fish", value=90.0 + i, block="") for i in range(2)]
    files = recompute_files(judge(three, [*results(False), *more], extent="without check"))
    said = json.loads(files["recompute/verdict.json"])["comparisons"]
    assert all(item["method"] in ("welch", "") and bool(item["why"]) == (item["method"] == "") for item in said)


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
