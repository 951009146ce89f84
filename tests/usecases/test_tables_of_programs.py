"""A table with commas between its columns has decimal points, whichever sign its person types; so has what a probe sends."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp
from pathlib import Path

import pytest
from pytest import approx

from aerobe.assay import study_from_table
from aerobe.cli._verdicts import _rows_of, judge_file
from aerobe.evidence import contrasts_from_table
from aerobe.units import DisplayUnits, numbers_of_table, parse_number, shown_in
from aerobe.web._points import batches_from


@pytest.fixture(params=[".", ","], autouse=True)
def sign(request: pytest.FixtureRequest) -> Iterator[str]:
    with shown_in(DisplayUnits().with_choices({"decimal": request.param})):
        yield request.param


def test_contrasts_of_others() -> None:
    (told,) = contrasts_from_table("key,recipe,against,ratio,low,high\nt1,kelp,plain,1.250,1.125,1.375\n")
    assert exp(told.effect) == approx(1.25)
    (same,) = contrasts_from_table("key;recipe;against;ratio;low;high\nt1;kelp;plain;1,25;1,1;1,4\n")
    assert exp(same.effect) == approx(1.25)


def test_a_study_of_a_test() -> None:
    study = study_from_table("role,signal,unit,what,colour\ntea,12.125,ug C/mL,brew,0.375\n", name="s", method="colour test")
    assert (study.readings[0].signal, study.readings[0].colour) == (12.125, 0.375)


@pytest.mark.parametrize(("separator", "point"), [(",", "."), (";", ","), ("\t", ",")])
def test_a_table_to_be_judged(tmp_path: Path, separator: str, point: str, capsys: pytest.CaptureFixture[str]) -> None:
    rows = [("plain", "p1", "10.5"), ("plain", "p2", "11.5"), ("plain", "p3", "12"), ("kelp", "k1", "40.5"), ("kelp", "k2", "41")]
    lines = [separator.join(("arm", "unit", "value")), *(separator.join((a, u, v.replace(".", point))) for a, u, v in rows)]
    file = tmp_path / "table.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    read, found = _rows_of(file)
    assert found == separator
    with numbers_of_table(found):
        assert [parse_number(row["value"]) for row in read] == [10.5, 11.5, 12.0, 40.5, 41.0]
    assert judge_file(file) in (0, 4)
    assert "kelp" in capsys.readouterr().out


@pytest.mark.parametrize("body", [b'{"value": "8.487"}', b"value\n8.487\n", b'{"points": [[null, "8.487"]]}'])
def test_what_a_probe_sends(body: bytes) -> None:
    (batch,) = batches_from(body, "text/csv" if body[:1] == b"v" else "application/json", channel="oxygen", unit="mg/L")
    assert [point.value for point in batch.points] == [8.487]


def test_a_table_of_persons_keeps_their_sign(sign: str) -> None:
    with numbers_of_table(";"):
        assert parse_number("1,5") == 1.5
