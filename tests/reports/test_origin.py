"""What a report says of data that came from a table: whose the licence is, and how its clock is known."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import Brew, Recipe
from aerobe.reports import Report, as_html
from tests.reports.world import NOW, unpacked

CLOCKLESS = b"treatment,bottle,hours,biomass (ug C/mL)\n" + b"".join(
    f"{food},{bottle},{hour},{level * (1 + 0.1 * bottle) * (1 + hour / 8)}\n".encode()
    for food, level in (("plain", 20.0), ("kelp", 30.0))
    for bottle in (1, 2, 3)
    for hour in (0, 8, 16)
)
CLOCKED = b"treatment,bottle,sampled at,biomass (ug C/mL)\n" + b"".join(
    f"{food},{bottle},2026-04-01T{10 + hour:02d}:00+00:00,{level * (1 + 0.1 * bottle) * (1 + hour / 8)}\n".encode()
    for food, level in (("plain", 20.0), ("kelp", 30.0))
    for bottle in (1, 2, 3)
    for hour in (0, 8)
)


def taken(path: Path, content: bytes, name: str, **wishes: object) -> tuple[Notebook, str]:
    book = open_notebook(path, at=NOW)
    found = usecases.exchange.take_in(book, content, name, usecases.exchange.Wishes(columns={}, **wishes), now=NOW)  # type: ignore[arg-type]
    assert not found.faults and found.readings
    return book, found.trial


def test_a_report_of_a_table_names_it_and_says_whose_the_licence_is(tmp_path: Path) -> None:
    mark = hashlib.sha256(CLOCKLESS).hexdigest()
    book, key = taken(tmp_path / "t.notebook", CLOCKLESS, "folder/far away.csv")
    with book:
        report = usecases.reports.report_of_trial(book, key, now=NOW)
    page = as_html(report)
    # A file's own name may be a person's: without people it is numbered, and its hash tells which it is.
    assert f"Data of 6 brews came from the table table-1.csv, taken in on {NOW:%Y-%m-%d}; SHA-256 {mark}." in page
    assert "only yours to give if the data are yours" in page and "if the data are yours to license" in page
    files = unpacked(report.package)
    described, crate = json.loads(files["datapackage.json"]), json.loads(files["ro-crate-metadata.json"])
    assert described["sources"] == [{"title": f"table-1.csv (SHA-256 {mark})"}]
    about = next(item for item in crate["@graph"] if item["@id"] == "./")
    for says in (described["description"], about["description"]):
        assert mark in says and "only yours to give if the data are yours" in says
    # Whoever takes the package in and reports on it says the same: the table is not theirs either.
    with open_notebook(tmp_path / "second.notebook", at=NOW) as second:
        usecases.exchange.import_package(second, report.package, now=NOW + timedelta(days=3))
        assert mark in as_html(usecases.reports.report_of_trial(second, key, now=NOW + timedelta(days=3)))
    assert all(again.is_same for again in usecases.reports.check_package(report.package, now=NOW))


def test_what_was_entered_by_hand_says_nothing_of_tables(trial: Report) -> None:
    assert "from a table" not in as_html(trial) and "yours to license" not in as_html(trial)
    assert "sources" not in json.loads(unpacked(trial.package)["datapackage.json"])


def test_a_start_that_nobody_knows_is_not_shown_as_a_date(tmp_path: Path) -> None:
    """The table has hours and no clock: the day of the import is not the day of the brew."""
    book, key = taken(tmp_path / "a.notebook", CLOCKLESS, "far.csv")
    with book:
        began = [brew.started_at for brew in book.find(Brew)]
        page = as_html(usecases.reports.report_of_trial(book, key, now=NOW + timedelta(days=40)))
        assert page.count("<td>assumed at import</td>") == 6
        assert "of one day" not in page  # nor is it a day that the brews shared
        assert not any(f"<td>{at:%Y-%m-%d}</td>" in page for at in began)
        # Mended by somebody who knows, it is a date again.
        brew = book.find(Brew)[0]
        book.change(replace(brew, started_at=brew.started_at - timedelta(days=300)), at=NOW)
        page = as_html(usecases.reports.report_of_trial(book, key, now=NOW))
        assert page.count("<td>assumed at import</td>") == 5 and f"<td>{began[0] - timedelta(days=300):%Y-%m-%d}</td>" in page


@pytest.mark.parametrize(
    ("content", "wishes", "cell"),
    [
        (CLOCKED, {}, "2026-04-01 10:00 +0000, first clock time of the table"),
        (CLOCKLESS, {"started_at": NOW - timedelta(days=90)}, f"{NOW - timedelta(days=90):%Y-%m-%d}"),
    ],
)
def test_a_start_is_told_as_it_is_known(tmp_path: Path, content: bytes, wishes: dict[str, object], cell: str) -> None:
    book, key = taken(tmp_path / "a.notebook", content, "far.csv", **wishes)
    with book:
        assert as_html(usecases.reports.report_of_trial(book, key, now=NOW)).count(f"<td>{cell}") == 6


def test_a_brew_of_a_table_says_so_too(tmp_path: Path) -> None:
    book, _ = taken(tmp_path / "a.notebook", CLOCKLESS, "far.csv")
    with book:
        brew = book.find(Brew)[0]
        recipe = book.get(Recipe, brew.recipe)
        book.change(replace(recipe, compost_g_per_l=40.0), at=NOW)
        page = as_html(usecases.reports.report_of_brew(book, brew.key, now=NOW))
    assert "<dd>assumed at import</dd>" in page and "Data of 1 brew came from the table table-1.csv" in page


def test_a_table_taken_in_before_names_were_kept_is_still_a_table(tmp_path: Path) -> None:
    book, key = taken(tmp_path / "a.notebook", CLOCKLESS, "far.csv")
    with book, book.writing() as pen:
        pen.connection.exec_driver_sql("delete from kept where kind = 'taken in'")
    with open_notebook(tmp_path / "a.notebook", at=NOW) as book:
        assert "Readings of 6 brews came in from a table whose name was not kept." in as_html(
            usecases.reports.report_of_trial(book, key, now=NOW)
        )
