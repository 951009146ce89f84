"""A form that is sent again with something else in it: what is not kept is never said to be."""

from __future__ import annotations

import pytest

from tests.web.conftest import Shed

OTHERS = [
    ({"what": "pH", "signal": "7.1"}, {"what": "pH", "signal": "6.2"}, "6.2"),
    ({"what": "oxygen", "signal": "7.1"}, {"what": "oxygen", "signal": "6.2"}, "6.2"),
    ({"what": "smell", "signal": "earthy"}, {"what": "smell", "signal": "sour"}, "sour"),
    ({"what": "assay:home-colour-test", "signal": "50"}, {"what": "assay:home-colour-test", "signal": "66"}, "66"),
]


@pytest.mark.parametrize(("first", "second", "typed"), OTHERS, ids=[str(first["what"]) for first, *_ in OTHERS])
def test_another_value_in_a_form_that_was_taken_is_not_said_to_be_kept(
    brewing: Shed, first: dict[str, str], second: dict[str, str], typed: str
) -> None:
    one = brewing.post("/brews/barrel-1/readings", json_answer=True, entry="e1", **first)
    assert one.json()["says"].startswith("Kept: ")
    before = brewing.notebook.last_change()
    for sent in (first, second):
        again = brewing.post("/brews/barrel-1/readings", json_answer=True, entry="e1", **sent)
        assert again.status_code == 200 and again.json()["says"].startswith("Kept before")
        assert "Nothing was added" in again.json()["says"]
    assert typed not in again.json()["says"] and brewing.notebook.last_change() == before


def test_an_event_sent_again_as_another_is_not_said_to_be_kept(brewing: Shed) -> None:
    sent = {"event": "water added", "when": "1 h"}
    one = brewing.post("/brews/barrel-1/events", json_answer=True, entry="e1", amount="1 L", **sent)
    assert one.json()["says"].startswith("Kept: ")
    again = brewing.post("/brews/barrel-1/events", json_answer=True, entry="e1", amount="2 L", **sent)
    assert again.json()["says"].startswith("Kept before") and "2 L" not in again.json()["says"]


def test_a_correction_sent_again_with_another_value_is_not_said_to_be_made(brewing: Shed) -> None:
    brewing.post("/brews/barrel-1/readings", what="assay:home-colour-test", signal="50", entry="e1")
    address = f"/brews/barrel-1/readings/{brewing.notebook.readings('barrel-1')[0].key}/correct"
    first = brewing.post(address, signal="60", why="a slip", entry="c1")
    assert "Corrected" in first.headers["location"]
    again = brewing.post(address, signal="70", why="a slip", entry="c1")
    assert again.status_code == 422 or "Corrected" not in again.headers["location"]
    assert [item.signal for item in brewing.notebook.readings("barrel-1")] == [60.0]


def test_an_entry_of_another_kind_under_a_name_that_was_taken_is_refused(brewing: Shed) -> None:
    brewing.post("/brews/barrel-1/readings", what="pH", signal="7.1", entry="e1")
    before = brewing.notebook.last_change()
    answer = brewing.post("/brews/barrel-1/readings", json_answer=True, what="smell", signal="earthy", entry="e1")
    assert answer.status_code == 422 and "another kind" in answer.json()["problem"] and answer.json()["remedy"]
    assert brewing.notebook.last_change() == before
