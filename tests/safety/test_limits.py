"""Every limit has its source and date, and holds at its edge as the source says."""

from __future__ import annotations

import csv
import math
import re
import tomllib
from pathlib import Path

import pytest

import aerobe.safety
from aerobe.errors import NotFound, UnusableReading
from aerobe.safety import (
    FAILS,
    NOT_SHOWN,
    SHOWN,
    all_thresholds,
    judge_absence,
    judge_count,
    judge_portions,
    regrowth_risk,
)
from aerobe.sources import all_sources
from tests.conftest import DATA, truth

ROOM = Path(aerobe.safety.__file__).parent
TABLES = sorted(ROOM.glob("*.toml"))
DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")


def what_is_missing(entry: dict[str, object]) -> list[str]:
    """What an entry of a data file lacks: a source that exists, a date, words."""
    missing = [name for name in ("source", "date") if not isinstance(entry.get(name), str) or not entry[name]]
    if "source" not in missing and entry["source"] not in all_sources():
        missing.append("source on file")
    if "date" not in missing and not DATE.fullmatch(str(entry["date"])):
        missing.append("date as year or ISO date")
    if not (entry.get("says") or entry.get("harm") or (entry.get("short") and entry.get("full"))):
        missing.append("words")
    if "value" in entry and not entry.get("unit"):
        missing.append("unit")
    return missing


ENTRIES = [(path.name, key, entry) for path in TABLES for key, entry in tomllib.loads(path.read_text("utf-8")).items()]


def test_there_are_data_files_to_look_at() -> None:
    assert len(TABLES) >= 6 and len(ENTRIES) > 60


@pytest.mark.parametrize(("file", "key", "entry"), ENTRIES, ids=[f"{file}:{key}" for file, key, _ in ENTRIES])
def test_every_limit_has_source_and_date(file: str, key: str, entry: dict[str, object]) -> None:
    assert what_is_missing(entry) == []


@pytest.mark.parametrize(
    "entry",
    [
        {"value": 1, "unit": "h", "date": "2004", "says": "x"},
        {"value": 1, "unit": "h", "source": "no-such-paper", "date": "2004", "says": "x"},
        {"value": 1, "unit": "h", "source": "duffy-2004", "says": "x"},
        {"value": 1, "unit": "h", "source": "duffy-2004", "date": "lately", "says": "x"},
        {"value": 1, "source": "duffy-2004", "date": "2004", "says": "x"},
    ],
)
def test_a_limit_without_source_date_or_unit_is_noticed(entry: dict[str, object]) -> None:
    assert what_is_missing(entry)


def test_no_limit_is_written_into_the_code() -> None:
    """Numbers that stand in a data file must not stand in a comparison of the code as well."""
    values = {limit.value for limit in all_thresholds().values() if limit.value > 2}
    for path in ROOM.glob("*.py"):
        for number in re.findall(r"[<>]=? ?(\d+(?:\.\d+)?)\b", path.read_text("utf-8")):
            # 50 degC and 7 % are the range of the sludge equation and belong to it.
            assert float(number) not in values or float(number) in (10.0,), f"{number} in {path.name}"


@pytest.mark.parametrize("row", truth("safety_limits.csv"), ids=lambda row: row.id)
def test_counts_pass_and_fail_as_the_sources_say(row) -> None:  # type: ignore[no-untyped-def]
    assert judge_count(row.limit, point=row.point, low=row.low, high=row.high).state == row.state


def test_a_point_under_the_limit_with_an_interval_over_it_is_never_a_pass() -> None:
    for point in (0.0, 1.0, 50.0, 126.0):
        assert judge_count("tea-e-coli", point=point, low=0.0, high=126.1).state == NOT_SHOWN
        assert judge_count("tea-e-coli", point=point, low=0.0, high=math.inf).state == NOT_SHOWN


def test_all_tubes_negative_or_all_positive() -> None:
    # FDA BAM App. 2 Table 1: 0-0-0 is < 3.0 with upper limit 9.5; 3-3-3 is > 1100 with lower limit 420 (recalled).
    assert judge_count("tea-e-coli", point=None, low=0.0, high=9.5).state == SHOWN
    assert judge_count("tea-e-coli", point=None, low=420.0, high=math.inf).state == FAILS


@pytest.mark.parametrize(
    ("point", "low", "high"), [(5.0, 6.0, 7.0), (8.0, 6.0, 7.0), (math.nan, 1.0, 2.0), (1.0, -1.0, 2.0), (1.0, 0.5, math.nan)]
)
def test_a_count_outside_its_interval_is_refused(point: float, low: float, high: float) -> None:
    with pytest.raises(UnusableReading):
        judge_count("tea-e-coli", point=point, low=low, high=high)


@pytest.mark.parametrize(
    ("detected", "method_finds", "state"),
    # 21 CFR 112.55: not detected by a method that can find 3 MPN Salmonella in 4 g.
    [
        (False, 3.0, SHOWN),
        (False, 3.1, NOT_SHOWN),
        (False, None, NOT_SHOWN),
        (None, 1.0, NOT_SHOWN),
        (True, 3.0, FAILS),
        (True, None, FAILS),
    ],
)
def test_absence_needs_a_method_that_is_sharp_enough(detected: bool | None, method_finds: float | None, state: str) -> None:
    assert judge_absence("compost-salmonella", detected=detected, method_finds=method_finds).state == state


@pytest.mark.parametrize(
    ("counts", "state"),
    # Regulation (EU) 142/2011 (recalled): n = 5, c = 1, m = 1000, M = 5000.
    [
        ([0, 10, 100, 1000, 1000], SHOWN),
        ([0, 10, 100, 1000, 1001], SHOWN),
        ([0, 10, 100, 1001, 1001], FAILS),
        ([0, 0, 0, 0, 5000], SHOWN),
        ([0, 0, 0, 0, 5001], FAILS),
        ([0, 0, 0, 0], NOT_SHOWN),
        ([5001], FAILS),
        ([], NOT_SHOWN),
    ],
)
def test_portions_against_two_limits(counts: list[float], state: str) -> None:
    assert judge_portions("compost-eu-e-coli", counts).state == state


def test_salmonella_in_one_of_five_portions_fails() -> None:
    assert judge_portions("compost-eu-salmonella", [0, 0, 0, 0, 0]).state == SHOWN
    assert judge_portions("compost-eu-salmonella", [0, 0, 0, 0, 1]).state == FAILS


def test_the_wrong_kind_of_question_is_refused() -> None:
    with pytest.raises(NotFound):
        judge_count("compost-salmonella", point=1, low=0, high=2)
    with pytest.raises(NotFound):
        judge_absence("tea-e-coli", detected=False, method_finds=1)
    with pytest.raises(NotFound):
        judge_portions("tea-e-coli", [1])


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_the_statement_on_molasses_is_what_duffy_and_others_reported() -> None:
    """Duffy et al. 2004, c02: growth in 72 h at 1 % molasses, none seen at 0 and 0.2 %."""
    fed = [row for row in rows("c02_pathogen_regrowth_vs_molasses.csv") if row["molasses_percent"] == "1.0"]
    start = {(row["organism"], row["compost"]): float(row["value"]) for row in fed if row["time_h"] == "0"}
    growth = [math.log10(float(row["value"]) / start[row["organism"], row["compost"]]) for row in fed if row["time_h"] == "72"]
    # 14 g/L is 1 % by volume at 1.4 kg/L.
    worst = regrowth_risk(molasses_g_per_l=14.0, other_additives=False)[0]
    assert worst.growth_log10 == (pytest.approx(min(growth), abs=0.05), pytest.approx(max(growth), abs=0.05))
    lean = [row for row in rows("c02_pathogen_regrowth_vs_molasses.csv") if row["molasses_percent"] in ("0.0", "0.2")]
    assert {row["qualifier"] for row in lean} == {"no regrowth observed"}
    assert regrowth_risk(molasses_g_per_l=2.8, other_additives=False)[0].growth_log10 is None


def test_the_statement_on_supplements_is_what_ingram_and_millner_reported() -> None:
    """Ingram & Millner 2007, c03: 1 to 4 log10 with supplements, with air and without; below detection without food."""
    table = rows("c03_pathogens_aerated_nonaerated_supplements.csv")
    growth = [float(row["value"]) for row in table if row["value"]]
    note = regrowth_risk(molasses_g_per_l=0.0, other_additives=True)[0]
    assert note.growth_log10 == (min(growth), max(growth))
    assert {row["process"] for row in table if row["value"]} == {"aerated", "non-aerated"}
    assert any("Without food" in note.text for note in regrowth_risk(molasses_g_per_l=0.0, other_additives=False))


@pytest.mark.parametrize(
    ("molasses", "other", "worst"), [(None, None, 5.5), (2.9, False, 5.5), (2.8, None, 4.0), (0.0, True, 4.0)]
)
def test_not_knowing_the_food_counts_as_the_worse(molasses: float | None, other: bool | None, worst: float) -> None:
    growth = regrowth_risk(molasses_g_per_l=molasses, other_additives=other)[0].growth_log10
    assert growth is not None and growth[1] == worst
