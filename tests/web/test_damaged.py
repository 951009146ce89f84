"""A notebook that is damaged under the app: pages show what is whole and say what is lost, and nothing is written."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from aerobe.web._roles import READER
from aerobe.web._watch import Watch
from tests.web.conftest import Shed
from tests.web.test_roles import device


@pytest.fixture
def spoilt(brewing: Shed) -> Shed:
    """The brew under way has two readings, one of which is no text any more; a second brew is whole."""
    for number in ("11", "12"):
        sent = {"what": "assay:home-colour-test", "signal": number, "when": "2 h", "entry": f"e{number}"}
        assert brewing.post("/brews/barrel-1/readings", **sent).status_code == 303
    path = brewing.notebook.store.path
    with sqlite3.connect(path) as raw:
        raw.execute("update readings set payload = substr(payload, 2) where key = 'r-e11'")
    raw.close()
    return brewing


def test_pages_show_what_is_whole_and_say_what_is_lost(spoilt: Shed) -> None:
    page = spoilt.client.get("/brews/barrel-1", follow_redirects=True)
    assert page.status_code == 200 and "This notebook is damaged" in page.text
    assert "r-e11" in page.text and "/readings/r-e12" in page.text and "/readings/r-e11" not in page.text
    for address in ("/", "/record", "/menu", "/settings", "/data", "/brews/barrel-1/record"):
        assert spoilt.client.get(address, follow_redirects=True).status_code == 200, address


def test_an_entry_is_refused_so_that_the_phone_keeps_it(spoilt: Shed) -> None:
    spoilt.client.get("/brews/barrel-1")
    sent = {"what": "assay:home-colour-test", "signal": "13", "entry": "e13"}
    answer = spoilt.post("/brews/barrel-1/readings", json_answer=True, **sent)
    assert answer.status_code == 503 and "damaged" in answer.json()["problem"] and "rescue" in answer.json()["remedy"]


@pytest.mark.parametrize("address", ["/reports/brew/barrel-1.html", "/data/export"])
def test_nothing_goes_out_that_rests_on_what_is_left(spoilt: Shed, address: str) -> None:
    spoilt.client.get("/brews/barrel-1")
    answer = spoilt.client.get(address)
    assert answer.status_code == 503 and "rest on what is left" in answer.text


def test_a_blind_reader_is_told_of_the_damage_and_of_no_key(spoilt: Shed) -> None:
    spoilt.client.get("/brews/barrel-1")
    page = device(spoilt, READER).get("/blind").text
    assert "This notebook is damaged" in page and "r-e11" not in page


def test_the_look_at_a_start_finds_a_row_that_was_changed_although_it_can_be_read(brewing: Shed) -> None:
    watch: Watch = brewing.app.state.watch
    watch.care()
    assert not brewing.notebook.damaged
    with sqlite3.connect(brewing.notebook.store.path) as raw:
        raw.execute("update brews set payload = replace(payload, 'Barrel 1', 'Barrel 7')")
    raw.close()
    watch._cared = False  # another start, on the day of the copy
    watch.care()
    assert brewing.notebook.damaged and any("barrel-1" in line for line in brewing.notebook.lost)


def test_a_server_goes_on_where_another_file_is_the_damaged_one(brewing: Shed, tmp_path: Path) -> None:
    brewing.app.state.watch.show_whole_part()
    assert not brewing.notebook.damaged
    assert brewing.post("/brews/barrel-1/readings", what="pH", signal="7").status_code == 303
