"""The pages on food and air, and the command: words, status and exit codes."""

from __future__ import annotations

import html
import json
import re
import warnings
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from aerobe import cli, usecases
from aerobe.records import VESSEL_GUESSES, AirSupply, Vessel
from aerobe.web import create_app
from tests.oxygen._runs import runs_of_2019
from tests.oxygen.test_questions import as_text
from tests.oxygen.test_steps_and_uptake import stepped_brew

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[TestClient]:
    with usecases.notebook.open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        vessel = Vessel(key="barrel", name="Barrel", volume_l=60.0, depth_m=0.6, air=AirSupply(flow_l_per_min=30.0))
        book.add(vessel, at=NOW)
        yield TestClient(create_app(book, clock=lambda: NOW), base_url="http://localhost")


def send(browser: TestClient, path: str, **values: str):
    page = browser.get(path).text
    token = page.split('name="aerobe-form" content="')[1].split('"')[0]
    return browser.post(path, data={"form_token": token, "entry": "e1", **values})


def test_the_page_answers_with_sliders_charts_and_the_caution(browser: TestClient) -> None:
    page = browser.get("/oxygen", params={"dose": "0.1", "kla": "40 /h"})
    assert page.status_code == 200
    assert "The air carries 0.1" in page.text and page.text.count('type="range"') == 7 and page.text.count('class="chart"') == 3
    assert "pathogens" in page.text and "what brewers call aerobic" in page.text
    too_much = browser.get("/parts/oxygen/answer", params={"dose": "10", "kla": "40 /h"}).text
    assert "is more than the air carries" in too_much and "<html" not in too_much
    assert 'id="oxygen-more"' in too_much and "hx-swap-oob" in too_much  # what explains it changes with the answer


def test_a_vessel_of_the_notebook_is_taken_over(browser: TestClient) -> None:
    page = browser.get("/oxygen", params={"vessel": "barrel"}).text
    assert 'value="60 L"' in page and 'value="0.6 m"' in page


def test_a_measured_kla_keeps_its_certainty_on_the_way_through_the_page(browser: TestClient) -> None:
    air = AirSupply(flow_l_per_min=30.0, kla_per_h=40.0, kla_log_sd=0.05)
    book = browser.app.state.notebook
    book.add(Vessel(key="tank", name="Tank", volume_l=60.0, depth_m=0.6, air=air), at=NOW)
    asked = {"vessel": "tank", "compost": "20"}
    data = browser.get("/api/oxygen/ceiling", params=asked).json()
    assert data["kla20_per_h"] == 40.0 and data["kla_log_sd"] == pytest.approx(0.05, rel=1e-3)
    assert 'value="5.127 %"' in browser.get("/oxygen", params=asked).text
    unsure = browser.get("/api/oxygen/ceiling", params={**asked, "kla_error": ""}).json()
    assert unsure["kla_log_sd"] == 0.2 and unsure["ceiling"]["dose_g_per_l"] < data["ceiling"]["dose_g_per_l"]
    typed = usecases.oxygen.FoodForm(volume="60 L", depth="0.6 m", flow="30 L/min", kla="40 /h", compost="20 g/L")
    question = replace(typed.question(draws=300), vessel=book.get(Vessel, "tank"))
    assert usecases.oxygen.ask_food_ceiling(question, tolerance=0.05).ceiling.dose_g_per_l == data["ceiling"]["dose_g_per_l"]


def test_what_was_guessed_of_a_vessel_stays_a_guess_on_the_way_through_the_page(browser: TestClient) -> None:
    air = AirSupply(flow_l_per_min=30.0)
    book = browser.app.state.notebook
    guessed = VESSEL_GUESSES[:2]
    book.add(Vessel(key="told", name="Told", volume_l=60.0, depth_m=0.6, air=air), at=NOW)
    book.add(Vessel(key="loose", name="Loose", volume_l=60.0, depth_m=0.6, air=air, guessed=guessed), at=NOW)
    told, loose = (browser.get("/api/oxygen/ceiling", params={"vessel": key}).json() for key in ("told", "loose"))
    assert loose["kla_log_sd"] > told["kla_log_sd"]
    assert loose["kla_log_sd"] == usecases.oxygen.vessel_kla(book.get(Vessel, "loose"))[1]
    assert f'name="guessed" value="{" ".join(guessed)}"' in browser.get("/oxygen", params={"vessel": "loose"}).text


def test_three_sliders_are_in_the_open_and_the_answer_stands_beside_them(browser: TestClient) -> None:
    page = browser.get("/oxygen").text
    bench = page[page.index('class="bench"') : page.index('id="oxygen-more"')]
    assert bench.split("<details>")[0].count('type="range"') == 3
    assert 'id="oxygen-answer"' in bench and "data-by-dose" in bench
    told = json.loads(html.unescape(re.search(r'data-by-dose="([^"]*)"', bench)[1]))
    assert told["ceiling"] == pytest.approx(browser.get("/api/oxygen/ceiling").json()["ceiling"]["dose_g_per_l"])
    assert len(told["dose"]) == len(told["chance"]) == len(told["oxygen"]) and told["dose"] == sorted(told["dose"])
    # Where the ceiling lies, the chance that is read out has just reached what is asked for.
    at = max(place for place, dose in enumerate(told["dose"]) if dose <= told["ceiling"])
    assert told["chance"][at] >= told["asked"] > told["chance"][at + 1]


def test_a_slip_comes_back_with_its_remedy(browser: TestClient) -> None:
    page = browser.get("/oxygen", params={"volume": "20"})
    assert page.status_code == 422 and "is no volume with a unit" in page.text and 'value="20"' in page.text
    part = browser.get("/parts/oxygen/answer", params={"food": "mollases"}).text
    assert "Did you mean: molasses" in part


def test_the_ways_are_compared(browser: TestClient) -> None:
    part = browser.get("/parts/oxygen/ways", params={"dose": "1", "kla": "40 /h"}).text
    for words in ("three thirds", "double the air", "half the food", "Least power"):
        assert words in part


def test_the_same_answer_is_there_as_data(browser: TestClient) -> None:
    data = browser.get("/api/oxygen/ceiling", params={"kla": "40 /h"}).json()
    assert data["ceiling"]["dose_g_per_l"] > 0.0 and data["says"] and data["cautions"]


def test_a_run_is_judged_and_kept_and_what_was_typed_comes_back(browser: TestClient) -> None:
    run = as_text(*runs_of_2019()[700])
    page = send(browser, "/oxygen/measure", run=run, temperature="22", temperature_unit="degC", vessel="barrel", keep="yes")
    assert page.status_code == 200 and "an hour at 20 °C" in page.text and "Kept with Barrel" in page.text
    bad = send(browser, "/oxygen/measure", run="1 2\n2 3\n3 4", temperature="22", temperature_unit="degC")
    assert bad.status_code == 422 and "units of the run" in bad.text and "1 2" in bad.text
    faulty = send(browser, "/oxygen/measure", run=as_text(*runs_of_2019()[550]), temperature="22", temperature_unit="degC")
    assert "This run gives no number" in faulty.text and "no usable window" in faulty.text


def test_air_off_and_on_in_a_live_brew_gives_transfer_and_uptake(browser: TestClient) -> None:
    times, values, switches, _, _ = stepped_brew(np.random.default_rng(8))
    run = {"run": as_text(times, values), "temperature": "20", "temperature_unit": "degC"}
    off, on = (f"{3600 * at:.1f}" for at, _ in switches[1:])
    page = send(browser, "/oxygen/measure", **run, off=off, off_unit="s", on=on, on_unit="s", vessel="barrel", keep="yes")
    assert page.status_code == 200 and "uptake" in page.text and "Kept with Barrel" in page.text
    half = send(browser, "/oxygen/measure", **run, off="3", off_unit="min")
    assert half.status_code == 422


def test_chemicals_come_with_their_cautions(browser: TestClient) -> None:
    assert "Cobalt salts are toxic" in browser.get("/oxygen/measure").text
    assert "asthma" in browser.get("/oxygen/probe").text


def test_probe_size_and_foods_answer(browser: TestClient) -> None:
    probe = send(browser, "/oxygen/probe", reading="10.5", reading_unit="mg/L", temperature="20", temperature_unit="degC")
    assert "The probe is off" in probe.text
    vessel = {"volume": "20", "volume_unit": "L", "depth": "30", "depth_unit": "cm", "flow": "10", "flow_unit": "L/min"}
    sized = send(browser, "/oxygen/size", **vessel, need="20", need_unit="/h", diffuser="fine bubble")
    assert "open pipe" in sized.text and "pressure [kPa]" in sized.text
    scaled = send(browser, "/oxygen/size", **vessel, to_volume="1000", to_volume_unit="L", diffuser="coarse bubble")
    assert "L/min for 1000 L" in scaled.text and "Measure kLa in the other vessel" in scaled.text
    assert "Large tanks" in scaled.text
    smaller = send(browser, "/oxygen/size", **vessel, to_volume="2", to_volume_unit="L", diffuser="coarse bubble")
    assert "L/min for 2" in smaller.text and "arge" not in smaller.text.split("<h2>The other vessel")[1].split("</section>")[0]
    foods = browser.get("/oxygen/foods").text
    assert "Molasses (cane, blackstrap)" in foods and "from memory" in foods


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["saturation", "--temperature", "20 degC"], "9.09 mg/L"),
        (["hold", "7 mg/L", "10"], "42.0 min"),
        (["hold", "7 mg/L", "0"], "7 mg/L stays"),
        (["hold", "1 mg/L", "10", "--floor", "2 mg/L"], "under it already"),
        (["sulphite", "4 L", "7.558 mg/L"], "Cobalt"),
        (["foods"], "kelp-meal"),
        (["foods", "molasses"], "carbon [g C/g]: 0.25"),
        (["size", "--need", "20 /h"], "fine bubble"),
        (["scale", "1000 L"], "1000 L, 1.11 m deep"),
        (["ceiling", "--kla", "30 /h", "--draws", "100"], "The air carries"),
        (["splits", "1 g/L", "--kla", "30 /h", "--draws", "50"], "four quarters"),
        (["air-or-food", "2 g/L", "--kla", "30 /h", "--draws", "100"], "half the food"),
        (["size", "1 g/L", "--draws", "100"], "This recipe needs a kLa"),
    ],
)
def test_commands_answer(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["oxygen", *words]) == 0
    assert said in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["saturation", "--temperature", "20 degC"],
        ["hold", "7 mg/L", "10"],
        ["foods"],
        ["scale", "1000 L"],
        ["ceiling", "--kla", "30 /h", "--draws", "100"],
    ],
)
def test_every_answer_is_there_as_json(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["oxygen", *words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)


def test_a_run_from_a_file_and_the_exit_code_of_a_faulty_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    good.write_text(as_text(*runs_of_2019()[700]))
    bad.write_text(as_text(*runs_of_2019()[550]))
    assert cli.run(["oxygen", "kla", str(good), "--temperature", "22 degC", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["estimate"]["kla_per_h"] == pytest.approx(43.3, rel=0.02)
    assert cli.run(["oxygen", "kla", str(bad), "--temperature", "22 degC"]) == 4
    assert cli.run(["oxygen", "kla", str(tmp_path / "none.csv")]) == 3
    assert cli.run(["oxygen", "probe", "10.5 mg/L", "--temperature", "20 degC"]) == 4
