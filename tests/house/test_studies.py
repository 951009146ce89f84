"""The worked studies of docs/studies: their commands still answer what the pages say, and their prose follows from the data.

The published data are named in the pages and in tests/data/README.md; the figures asserted here are worked out from those files.
"""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import numpy as np
import pytest

from aerobe.usecases.oxygen import measure_series
from tests.conftest import DATA

STUDIES = Path(__file__).parents[2] / "docs" / "studies"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?")
_spec = importlib.util.spec_from_file_location("studies_make", STUDIES / "make.py")
assert _spec is not None and _spec.loader is not None
make = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make)
RUNS = DATA / "s03_reaeration_DO_vs_airflow_2019.csv"


def page(name: str) -> str:
    return (STUDIES / f"{name}.md").read_text(encoding="utf-8")


def is_slow(what: str) -> bool:
    """Fits of the brew model: minutes on a slow machine, and free to move by an hour."""
    return what == "calls" or what.startswith("aerobe call replay")


def same(line: str, other: str, *, hours: float = 0.0) -> bool:
    """The same words, and numbers that agree to 3 %, to one step of the last printed digit, or to some hours.

    Fingerprints hold the moment of import; that both notebooks have one and the same is tested by itself.
    """
    line, other = (re.sub(r"\b[0-9a-f]{64}\b", "HASH", text) for text in (line, other))
    if NUMBER.sub("#", line) != NUMBER.sub("#", other):
        return False
    for one, two in zip(NUMBER.findall(line), NUMBER.findall(other), strict=True):
        step = max(10.0 ** -len(text.partition(".")[2].partition("e")[0]) for text in (one, two))
        if abs(float(one) - float(two)) > max(0.03 * abs(float(one)), 1.01 * step if "." in one else 1.01, hours):
            return False
    return True


@pytest.mark.parametrize("name", make.STUDIES)
def test_the_commands_of_a_study_answer_what_its_page_says(name: str, tmp_path: Path) -> None:
    said = page(name)
    now = make.refreshed(said, tmp_path, leave=is_slow)
    moved = [(a, b) for a, b in zip(said.splitlines(), now.splitlines(), strict=False) if not same(a, b)]
    assert not moved, f"run `python docs/studies/make.py` and read the page again; first: {moved[0]}"
    assert len(said.splitlines()) == len(now.splitlines())
    drawn = {path.name for path in [*tmp_path.glob("*.svg"), *tmp_path.glob("*.png")]}
    slow = set(re.findall(r"call replay.*--picture (\S+)", said))
    assert drawn | slow | {"report-page-1.png"} >= {Path(path).name for path in re.findall(r"\((pictures/[^)]+)\)", said)}


@pytest.mark.night
def test_past_calls_are_still_what_the_page_says(tmp_path: Path) -> None:
    said = page("kelp-and-glucose")
    now = make.refreshed(said, tmp_path)
    moved = [(a, b) for a, b in zip(said.splitlines(), now.splitlines(), strict=True) if not same(a, b, hours=3.0)]
    assert not moved, f"run `python docs/studies/make.py` and read the page again; first: {moved[0]}"


def test_the_comparison_of_pages_notices_what_moved() -> None:
    assert same("kLa 23.0 per hour", "kLa 23.4 per hour") and same(f"Content {'a' * 64}", f"Content {'b' * 64}")
    assert not same("kLa 23.0 per hour", "kLa 25.0 per hour")
    assert not same("18 of them sound", "14 of them sound")
    assert not same("call: wait until 24 h", "call: harvest now 24 h")


@pytest.mark.parametrize("name", make.STUDIES)
def test_pictures_are_there_small_and_told_in_words(name: str) -> None:
    found = re.findall(r"!\[([^\]]*)\]\((pictures/[^)]+)\)", page(name))
    assert len(found) >= 4
    for words, path in found:
        assert len(words) > 40, path
        assert 1_000 < (STUDIES / path).stat().st_size < 150_000, path


@pytest.mark.parametrize("name", make.STUDIES)
def test_a_study_says_what_cannot_be_concluded_and_where_its_data_come_from(name: str) -> None:
    text = page(name)
    for heading in ("## The data", "## What can be concluded", "## What cannot"):
        assert heading in text
    for path in set(re.findall(r"(?:tests/data|docs/studies/records)/[\w.-]+\.(?:csv|json)", text)):
        assert (make.ROOT / path).is_file(), path


def test_both_notebooks_of_the_study_have_one_fingerprint() -> None:
    found = re.findall(r"\b[0-9a-f]{64}\b", page("kelp-and-glucose"))
    assert len(found) == 2 and len(set(found)) == 1


def test_the_prose_on_air_follows_from_the_runs() -> None:
    text = page("how-much-air")
    series = measure_series(RUNS.read_bytes(), RUNS.name, temperature_degc=22.0)
    sound = [item.report.estimate.kla_per_h for item in series.runs if item.sound and item.report is not None]
    assert (
        f"{len(sound)} of the {len(series.runs)} runs hold; kLa goes from {min(sound):.0f} to {max(sound):.0f} per hour" in text
    )
    alone = [item.run for item in series.runs if not item.sound and item.report is not None and not own_faults(item)]
    assert alone == ["800", "825"] and "two of these seven show it only beside" in text
    ends_early = [item for item in series.runs if item.report and "stopped early" in names(item)]
    assert len(ends_early) / len(series.runs) == pytest.approx(2 / 3, abs=0.05) and "Two of three runs end below 60 %" in text
    assert f"twice the air gave about {2**series.exponent:.1f} times the transfer" in text
    # At 20 degC and 1 atm a mol of gas fills 24.06 L (ideal gas); 350 umol/s go into 4 L.
    assert f"{350e-6 * 24.06 * 60.0:.1f} L of air a minute" in text
    run = series.run("350").report
    assert run is not None
    to_20 = run.estimate.kla20_per_h / run.estimate.kla_per_h
    low, high = run.estimate.kla_low_per_h * to_20, run.estimate.kla_high_per_h * to_20
    told = f"{run.estimate.kla20_per_h:.0f} per hour, with an interval of {low:.0f} to {high:.0f}"
    assert told in " ".join(text.split())


def own_faults(item: object) -> set[str]:
    """What speaks against a run by itself; an early end is no fault of that kind."""
    return names(item) - {"stopped early"}


def names(item: object) -> set[str]:
    return {fault.name for fault in item.report.estimate.faults}  # type: ignore[attr-defined]


def test_the_prose_on_kelp_follows_from_the_counts() -> None:
    text = " ".join(page("kelp-and-glucose").split())
    pairs = {(food, hour): (cells, seen) for food, hour, _, cells, seen, _ in make.pairs_of_counts()}
    start = [cells / seen for (_, hour), (cells, seen) in pairs.items() if hour == 0.0]
    assert np.mean(start) == pytest.approx(1.5, abs=0.05) and "half as much again as the microscope" in text
    cells, seen = pairs["Glucose Nitrate Phosphate", 100.0]
    assert cells / seen == pytest.approx(1 / 3, abs=0.02) and "at 100 h with glucose a third of it" in text
    against = seen / pairs["Control", 100.0][1]
    assert f"{against:.2f} times the cells of the control" in text
    # The averages over the table of calls, as the page holds it.
    rows = re.findall(r"^\| .* \| (\d+) % \| (\d+) % \|$", page("kelp-and-glucose"), flags=re.MULTILINE)
    by_call, by_clock = (100.0 - np.array([float(row[place]) for row in rows]) for place in (0, 1))
    assert len(rows) == 7 and "in the seven bottles where it can be said" in text
    assert f"lost {by_call.min():.0f} to {by_call.max():.0f} %, {by_call.mean():.0f} % on average" in text
    assert f"harvest at 24 h would have lost {by_clock.mean():.0f} %" in text
