"""A table of many runs, read and judged in one go: the runs of 2019 as published, and tables that cannot be read."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from pytest import approx

from aerobe.cli import run
from aerobe.errors import ImportFault, NotEnoughData, NotFound
from aerobe.oxygen import flow_exponent, linear_window_kla, saturation_mg_per_l
from aerobe.usecases.oxygen import measure_series
from tests.conftest import DATA, truth
from tests.oxygen._runs import runs_of_2019

FILE = DATA / "s03_reaeration_DO_vs_airflow_2019.csv"


@pytest.fixture(scope="module")
def series():
    return measure_series(FILE.read_bytes(), FILE.name, temperature_degc=22.0)


def test_every_run_of_the_published_file_is_read(series) -> None:
    assert [int(item.run) for item in series.runs] == sorted(runs_of_2019())
    full = saturation_mg_per_l(22.0)
    for item in series.runs:
        times, oxygen = runs_of_2019()[int(item.run)]
        assert item.textbook_per_h == approx(linear_window_kla(times, oxygen, saturation_mg_per_l=full), nan_ok=True)


def test_the_faulty_runs_named_beside_the_data_are_in_doubt(series) -> None:
    # CEE 4530 teaching data of 2019: faults listed in tests/truth/reaeration_2019.csv by another program. Our own additions: 475
    # heads for an odd saturation, 725 is slower than 700 at less air, 800 gives 26 an hour where its neighbours give 30 to 42.
    listed = {f"{row.run:.0f}" for row in truth("reaeration_2019.csv") if row.faulty}
    doubted = {item.run for item in series.runs if not item.sound}
    assert listed == {"550", "200", "925", "825"} and doubted == listed | {"475", "725", "800"}
    assert "no usable window" in series.run("550").doubts


def test_transfer_grows_with_flow_as_bubble_columns_do(series) -> None:
    # Textbooks on bubble columns give kLa ~ (gas velocity)^0.7 to 0.8 (from memory); small jars with stones scatter around it.
    assert 0.5 < series.exponent < 0.9
    assert flow_exponent([1.0, 2.0, 4.0], [3.0, 3.0 * 2**0.7, 3.0 * 4**0.7]) == approx(0.7)
    with pytest.raises(NotEnoughData):
        flow_exponent([2.0, 2.0], [3.0, 4.0])


def test_each_interval_holds_what_reasonable_readings_of_the_run_disagree_in(series) -> None:
    for item in series.runs:
        estimate = item.report.estimate
        assert all(estimate.kla_low_per_h <= model.kla_per_h <= estimate.kla_high_per_h for model in estimate.models), item.run
        assert len(estimate.models) >= 2
        if item.sound:  # the recipe of the course is another reasonable reading
            assert estimate.kla_low_per_h * 0.97 <= item.textbook_per_h <= estimate.kla_high_per_h * 1.03, item.run


def test_a_run_slower_than_its_neighbour_at_less_air_is_doubted_and_one_that_gives_nothing_says_why(series) -> None:
    assert any("at less air" in doubt for doubt in series.run("725").doubts)
    assert "odd saturation" in series.run("475").doubts
    flat = FILE.read_text() + "".join(f"2019,42,420,{5 * place},0.1,dissolved_oxygen,mg/L\n" for place in range(30))
    found = measure_series(flat.encode(), FILE.name, temperature_degc=22.0).run("42")
    assert found.report is None and "rises" in found.reason and found.doubts[0].startswith("cannot be judged")


def test_the_temperature_is_asked_and_never_taken(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["oxygen", "series", str(FILE)]) == 3
    assert "temperature" in capsys.readouterr().err


def test_the_picture_keeps_doubtful_runs_in_their_place(series) -> None:
    shown = series.picture()
    assert len(shown.figures.rows) == len(series.runs) and "550" in shown.says
    assert "kLa 24" in series.picture_of("350").says
    with pytest.raises(NotFound):
        series.picture_of("351")


def test_a_table_without_runs_flows_or_oxygen_says_so() -> None:
    for content, words in (
        (b"time_s,value,variable,units\n0,1,dissolved_oxygen,mg/L\n", "the run"),
        (b"run,time_s,value,variable,units\n1,0,1,dissolved_oxygen,mg/L\n", "the air flow"),
        (b"run,flow,time_s,value,units\n1,2,0,1,cells/mL\n", "no oxygen"),
    ):
        with pytest.raises(ImportFault, match=words):
            measure_series(content, "x.csv", temperature_degc=20.0)


def test_columns_of_other_names_can_be_named() -> None:
    renamed = FILE.read_bytes().replace(b"year,run,airflow_umol_per_s", b"year,label,gas", 1)
    with pytest.raises(ImportFault):
        measure_series(renamed, FILE.name, temperature_degc=22.0)
    found = measure_series(renamed, FILE.name, temperature_degc=22.0, run_column="label", flow_column="gas")
    assert len(found.runs) == 24 and math.isfinite(found.exponent)


def test_the_command_prints_every_run_and_draws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "series.svg"
    assert run(["oxygen", "series", str(FILE), "--temperature", "22 degC", "--picture", str(picture)]) == 0
    said = capsys.readouterr().out
    assert "24 runs, 17 of them sound" in said and "no usable window" in said
    assert picture.read_text().startswith("<svg")
    assert run(["oxygen", "series", str(FILE), "--temperature", "22 degC", "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    assert [item["run"] for item in plain["runs"] if not item["sound"]] == ["200", "475", "550", "725", "800", "825", "925"]
    assert plain["runs"][0]["estimate"]["kla_per_h"] == approx(9.9, rel=0.1)
    assert run(["oxygen", "series", str(FILE), "--temperature", "22 degC", "--run", "925"]) == 0
    assert "residual sulphite" in capsys.readouterr().out
    assert run(["oxygen", "series", str(FILE), "--picture", str(tmp_path / "series.doc")]) == 3
