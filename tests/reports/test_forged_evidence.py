"""Packages as a forger would send them: dates, hours, controls, plans and places that the records themselves contradict."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.errors import ImportFault
from aerobe.evidence import TrialContrast, contrasts_from_table, notes_of, weigh
from aerobe.notebook import Notebook, open_notebook
from aerobe.reports import Report
from aerobe.usecases.evidence import TakenEvidence
from tests.evidence.test_headline import trial as contrast
from tests.reports.world import BEGAN, NOW, with_table

Row = dict[str, str]


def taken(tmp_path: Path, package: bytes, *, site: str = "") -> TakenEvidence:
    with open_notebook(tmp_path / "mine.notebook", at=NOW) as book:
        return usecases.evidence.take_evidence(book, package, "x.zip", now=NOW, site=site)


def changed(package: bytes, name: str, change: Callable[[dict[str, Any]], object]) -> bytes:
    def each(table: bytes) -> bytes:
        records = json.loads(table)
        for record in records:
            change(record)
        return json.dumps(records).encode()

    return with_table(package, f"data/{name}.json", each)


def with_readings(package: bytes, change: Callable[[Row], Row]) -> bytes:
    def each(table: bytes) -> bytes:
        rows = csv.DictReader(io.StringIO(table.decode()))
        out = io.StringIO()
        writer = csv.DictWriter(out, rows.fieldnames or [])
        writer.writeheader()
        writer.writerows(change(row) for row in rows)
        return out.getvalue().encode()

    return with_table(package, "data/readings.csv", each)


def next_year(brew: dict[str, Any]) -> None:
    brew["started_at"] = (datetime.fromisoformat(brew["started_at"]) + timedelta(days=365)).isoformat()


def test_dates_in_the_future_are_refused_with_the_brew(trial: Report, tmp_path: Path) -> None:
    found = taken(tmp_path, changed(trial.package, "brews", next_year))
    assert not found.new and "date in the future" in found.silent[0]


def test_readings_entered_before_their_hour_keep_a_trial_out(trial: Report, tmp_path: Path) -> None:
    early = (BEGAN + timedelta(hours=3)).isoformat()
    found = taken(tmp_path, with_readings(trial.package, lambda row: {**row, "entered_at": early}))
    assert not found.new and "held back" in found.silent[0] and "before the hour" in found.silent[0]


def test_arms_read_at_different_hours_are_not_pooled_and_it_is_said(trial: Report, tmp_path: Path) -> None:
    later = with_readings(trial.package, lambda row: {**row, "elapsed_h": "36"} if row["brew"].startswith("kelp") else row)
    found = taken(tmp_path, later)
    assert not found.new and "held back" in found.silent[0] and "hours" in found.silent[0]


def test_a_control_of_another_hour_does_not_rule_out_colour(trial: Report, tmp_path: Path) -> None:
    at_start = with_readings(trial.package, lambda row: {**row, "elapsed_h": "0"} if row["role"] == "killed control" else row)
    (item,) = taken(tmp_path, at_start).new
    assert item.killed_control is False
    (sound,) = taken(tmp_path, trial.package).new
    assert sound.killed_control is True and len(sound.results) == 3 and sound.grain > 0.0


def test_a_plan_dated_after_its_brews_is_no_plan_whatever_its_history_says(trial: Report, tmp_path: Path) -> None:
    def boast(item: dict[str, Any]) -> None:
        if item["kind"] == "plan history":
            before = (BEGAN - timedelta(days=3)).isoformat()
            item["payload"] |= {"planned": True, "came_first": True, "blinded": True, "written_at": before}

    package = changed(trial.package, "results", boast)
    late = changed(package, "trials", lambda item: item.update(planned_at=(BEGAN + timedelta(days=1)).isoformat()))
    (item,) = taken(tmp_path, late).new
    assert item.planned is False


def test_an_export_that_does_not_tell_the_order_of_writing_counts_as_not_told(book: Notebook, tmp_path: Path) -> None:
    def of_earlier_releases(table: bytes) -> bytes:
        return json.dumps([item for item in json.loads(table) if item["kind"] != "plan history"]).encode()

    raw = usecases.exchange.export_package(book, now=NOW, trial="kelp", with_codes=True)
    (item,) = taken(tmp_path, with_table(raw, "data/results.json", of_earlier_releases)).new
    assert (item.planned, item.blinded) == (None, None)


def test_packages_of_one_notebook_are_one_place(book: Notebook, trial: Report, tmp_path: Path) -> None:
    (one,) = taken(tmp_path, trial.package, site="shed").new
    (tmp_path / "b").mkdir()
    (other,) = taken(tmp_path / "b", trial.package, site="barn").new
    assert one.origin == other.origin == book.origin != ""
    sent = [replace(contrast(f"t{i}", 0.7 + 0.1 * i, 0.01 + 0.003 * i), origin=one.origin) for i in range(3)]
    assert "one place" in weigh(sent, "kelp", "plain").says
    (tmp_path / "c").mkdir()
    (unnamed,) = taken(tmp_path / "c", trial.package).new
    assert unnamed.site == f"notebook-{book.origin[:8]}"


def test_practice_is_not_pooled_with_real_trials() -> None:
    real = [contrast(f"t{i}", 0.1 * i, 0.01 + 0.003 * i) for i in range(2)]
    practice = [contrast(f"p{i}", 0.9 + 0.1 * i, 0.01 + 0.003 * i, invented=True) for i in range(3)]
    found = weigh([*practice, *real], "kelp", "plain")
    assert [item.key for item in found.left_out] == ["p0", "p1", "p2"]
    assert any("made up" in line for line in notes_of(found))
    assert len(weigh(practice, "kelp", "plain").contrasts) == 3


def test_hours_that_differ_between_trials_are_told() -> None:
    def at(key: str, effect: float, hour: float) -> TrialContrast:
        return contrast(key, effect, 0.02 + abs(effect) / 50.0, moderators={"hour_h": hour, "temperature_degc": 20.0})

    notes = notes_of(weigh([at("a", 0.1, 20.0), at("b", 0.4, 36.0)], "kelp", "plain"))
    assert any("from 20 to 36" in line for line in notes)
    assert not any("degC" in line for line in notes)
    assert not any("hours from" in line for line in notes_of(weigh([at("a", 0.1, 20.0), at("b", 0.4, 24.0)], "kelp", "plain")))


def test_a_ratio_far_from_the_middle_of_its_interval_is_refused() -> None:
    head = "key,recipe,against,ratio,low,high\n"
    with pytest.raises(ImportFault, match="far from the middle"):
        contrasts_from_table(head + "a,kelp,plain,2.9,1,3\n")
    (item,) = contrasts_from_table(head + "a,kelp,plain,1.5,0.5,2.5\n")  # made by plus and minus
    assert item.effect == pytest.approx(math.log(1.5))
