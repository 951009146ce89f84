"""Reports and evidence on the page: files to take along, packages of others taken in and weighed, faults that say why."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from aerobe import usecases
from aerobe.errors import ImportFault
from aerobe.records import Arm, Brew, Compost, Recipe, Trial
from aerobe.web._kept_reports import KeptReports
from tests.reports.world import NOW, invented, read_by_microscope


@pytest.fixture(scope="module")
def packages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[bytes]]:
    found = []
    folder: Path = tmp_path_factory.mktemp("far")
    for seed in (1, 2, 3):
        with invented(folder / f"{seed}.notebook", seed=seed) as book:
            found.append(usecases.reports.report_of_trial(book, "kelp", now=NOW).package)
    yield found


def send(shed: Any, path: str, content: bytes, name: str, **fields: str) -> Any:
    return shed.post(path, file=(name, content, "application/octet-stream"), **fields)


def test_a_trial_comes_out_as_page_pdf_and_data(shed: Any, packages: list[bytes]) -> None:
    usecases.exchange.import_package(shed.notebook, packages[0], now=shed.clock.now)
    assert "Kelp or not" in shed.client.get("/reports").text
    for form, start in (("html", b"<!doctype html>"), ("pdf", b"%PDF"), ("zip", b"PK")):
        answer = shed.client.get(f"/reports/trial/kelp.{form}")
        assert answer.status_code == 200 and answer.content.startswith(start)
        assert answer.headers["content-disposition"].startswith("attachment")


def test_a_verdict_names_its_test_and_leads_to_the_other(shed: Any, packages: list[bytes]) -> None:
    usecases.exchange.import_package(shed.notebook, packages[0], now=shed.clock.now)
    assert shed.post("/trials/kelp/judge").status_code == 303
    assert "read by" not in shed.client.get("/trials/kelp/verdict").text
    read_by_microscope(shed.notebook)
    page = shed.client.get("/trials/kelp/verdict").text
    assert "one test: &#39;Colour test (invented)&#39;" in page and "Judge by Stain (invented)" in page
    other = shed.client.get("/trials/kelp/verdict?assay=scope").text  # another test is another question: it is asked
    assert "Not judged yet" in other and "90 % interval" not in other
    asked = {"outcome": "biomass", "assay": "scope"}
    assert shed.post("/trials/kelp/judge", **asked).status_code == 303
    other = shed.client.get("/trials/kelp/verdict?outcome=biomass&assay=scope").text
    assert "one test: &#39;Stain (invented)&#39;" in other and "/reports/trial/kelp.pdf?assay=scope" in other
    report = shed.client.get("/reports/trial/kelp.html?assay=scope").text
    assert "one test: &#39;Stain (invented)&#39;" in report
    assert shed.client.get("/api/trials/kelp/verdict?assay=scope").json()["rests_on"].startswith("The verdict rests on one")


def test_an_unknown_report_says_where_to_look(shed: Any) -> None:
    for path in ("/reports/trial/none.html", "/reports/secret/kelp.html", "/reports/trial/kelp.exe"):
        answer = shed.client.get(path)
        assert answer.status_code in (404, 422), path
        assert "Traceback" not in answer.text


def test_a_package_is_computed_anew_on_the_page(shed: Any, packages: list[bytes]) -> None:
    answer = send(shed, "/reports/check", packages[0], "kelp.zip")
    assert "numbers were found again" in answer.text
    refused = send(shed, "/reports/check", b"not a zip", "kelp.zip")
    assert refused.status_code == 422 and "Export it again" in refused.text


@pytest.mark.usefixtures("tried_here")
def test_trials_of_others_are_taken_in_and_weighed(shed: Any, packages: list[bytes]) -> None:
    shed.clock.turn(days=60)  # a trial comes in after it was brewed
    for number, content in enumerate(packages):
        answer = send(shed, "/evidence", content, f"{number}.zip", site=f"garden <b>{number}</b>")
        assert answer.status_code == 303
    assert "0+new%2C+1+known" in send(shed, "/evidence", packages[0], "again.zip", site="posing").headers["location"]
    hub = shed.client.get("/evidence").text
    assert "3 trials" in hub
    page = shed.client.get("/evidence/weigh", params={"recipe": "kelp (invented)", "against": "plain (invented)"}).text
    assert "3 trials: kelp (invented) gives" in page
    assert "garden <b>" not in page  # a name given to a place is never markup
    assert "In your own hands" in page and "What weakens these trials" in page


@pytest.mark.parametrize("path", ["/evidence", "/reports/check", "/data/import", "/trials/kelp/site"])
def test_a_package_that_costs_too_much_is_refused_wherever_one_can_be_sent(
    shed: Any, packages: list[bytes], monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    def refused(content: bytes, name: str, *, package: bool) -> None:
        assert content == packages[0] and package
        raise ImportFault("It costs too much.", "Nothing was taken in.")

    monkeypatch.setattr("aerobe.usecases.exchange.require_harmless", refused)
    shed.notebook.add(Compost(key="heap", name="Heap"), at=NOW)
    shed.notebook.add(Recipe(key="plain", name="Plain", compost="heap", compost_g_per_l=30.0), at=NOW)
    arms = (Arm(key="a", recipe="plain", is_standard=True), Arm(key="b", recipe="plain"))
    shed.notebook.add(Trial(key="kelp", name="Kelp", question="two recipes", arms=arms), at=NOW)
    answer = send(shed, path, packages[0], "kelp.zip", site="river")
    assert answer.status_code == 422 and "It costs too much." in answer.text
    assert usecases.evidence.kept_evidence(shed.notebook) == ()
    assert shed.notebook.find(Brew) == []


def test_faults_of_evidence_come_back_with_their_remedy(shed: Any) -> None:
    answer = send(shed, "/evidence", b"key,recipe\n1,2\n", "t.csv")
    assert answer.status_code == 422 and "Missing columns" in answer.text
    answer = shed.client.get("/evidence/weigh", params={"recipe": "moon", "against": "sun"})
    assert answer.status_code == 422 and "No trial is about" in answer.text


def test_a_report_is_read_on_the_screen_first_and_its_files_are_buttons(shed: Any, packages: list[bytes]) -> None:
    usecases.exchange.import_package(shed.notebook, packages[0], now=shed.clock.now)
    assert 'href="/reports/trial/kelp"' in shed.client.get("/reports").text
    answer = shed.client.get("/reports/trial/kelp")
    assert answer.status_code == 200 and "content-disposition" not in answer.headers
    html, made = answer.text, usecases.reports.report_of_trial(shed.notebook, "kelp", now=shed.clock.now)
    rest = f"<summary>{made.sections[0].title}"
    shown = (made.title, made.headline, "90 % interval", 'class="plot', "/reports/trial/kelp.pdf", rest)
    places = [html.index(part) for part in shown]
    assert places == sorted(places)  # question, answer, ratio with interval, one chart; then files; then the rest, folded
    for section in made.sections:
        assert f"<summary>{section.title}</summary>" in html
    assert "/reports/trial/kelp.zip?people=true" in shed.client.get("/reports/trial/kelp?people=true").text
    for path in ("/reports/trial/none", "/reports/secret/kelp"):
        assert shed.client.get(path).status_code == 404


def test_a_report_is_worked_out_once_until_something_is_written_or_time_goes_by() -> None:
    made: list[int] = []
    kept = KeptReports()

    def get(name: str, version: int, minutes: float) -> object:
        at = NOW + timedelta(minutes=minutes)
        return kept.get(name, version=version, now=at, make=lambda: made.append(version) or object())  # type: ignore[return-value]

    first = get("a", 1, 0)
    assert get("a", 1, 10) is first and len(made) == 1
    assert get("a", 2, 10) is not first  # something was written
    second = get("a", 2, 12)
    assert get("a", 2, 30) is not second  # a brew under air is another after a while
    for name in "bcdefg":
        get(name, 2, 30)
    get("a", 2, 30)
    assert len(made) == 10  # only the last few are kept
