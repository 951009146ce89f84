"""What happened to a brew: kept as typed, never changed, taken back by name, read back into the call."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import numpy as np
import pytest

from aerobe.errors import AerobeError, ImportFault, NotFound, UnusableRecord
from aerobe.notebook import Notebook, open_notebook, read_package, write_package
from aerobe.records import SensorLog
from aerobe.usecases.brews import (
    EventEntry,
    air_is_off_since,
    events_of_brew,
    note_event,
    standing_events_of,
    stops_noticed,
    story_of_history,
    take_in_events,
)
from aerobe.usecases.notebook import brew_history
from tests.inference.test_air import balance
from tests.notebook.conftest import NOW, furnish

LATER = NOW + timedelta(hours=6)


@pytest.fixture
def book(where: str) -> Iterator[Notebook]:
    with open_notebook(where, at=NOW) as notebook:
        furnish(notebook)
        yield notebook


def note(book: Notebook, what: str, **rest: str):
    return note_event(book, "b1", EventEntry(what=what, **rest), now=LATER)


def test_air_off_and_on_reach_the_story_and_the_state_of_the_air(book: Notebook) -> None:
    note(book, "air off", when="2")
    assert air_is_off_since(standing_events_of(book, "b1")) == 2.0
    note(book, "air on", when="3.5 h")
    assert air_is_off_since(standing_events_of(book, "b1")) is None
    story, _ = story_of_history(brew_history(book, "b1"))
    assert [(item.what, item.elapsed_h) for item in story.events] == [("air off", 2.0), ("air on", 3.5)]


@pytest.mark.parametrize(
    ("what", "amount", "value", "words"),
    [
        ("water added", "2 US gal", 7.5708, "water added: 7.57082 L"),
        ("drawn off", "500 mL", 0.5, "drawn off: 0.5 L"),
        ("air flow", "5 L/min", 5.0, "air flow set to 5 L/min"),
        ("temperature", "68 degF", 20.0, "temperature 20 degC"),
    ],
)
def test_amounts_are_read_with_their_units(book: Notebook, what: str, amount: str, value: float, words: str) -> None:
    event = note(book, what, amount=amount, when="2").event
    assert event.amount == pytest.approx(value, rel=1e-4) and event.says() == words and amount in event.typed_as


def test_food_is_looked_up_and_a_slip_is_kept_out_with_a_remedy(book: Notebook) -> None:
    assert note(book, "food", amount="1 g/L", food="molasses", when="3").event.food == "molasses"
    for entry in (
        EventEntry(what="food", amount="1 g/L", food="moonshine", when="3"),
        EventEntry(what="food", food="molasses", when="3"),
        EventEntry(what="air off", when="900 h"),
        EventEntry(what="pump sang", when="3"),
        EventEntry(what="air kept running", when="3"),
        EventEntry(what="taken back", takes_back="e-nothing"),
    ):
        with pytest.raises(AerobeError) as fault:
            note_event(book, "b1", entry, now=LATER)
        assert fault.value.remedy
    assert len(events_of_brew(book, "b1")) == 1


def test_a_mistake_is_taken_back_and_both_stay_in_the_history(book: Notebook) -> None:
    wrong = note(book, "air off", when="2").event
    note(book, "taken back", takes_back=wrong.key)
    assert standing_events_of(book, "b1") == () and len(events_of_brew(book, "b1")) == 2


def test_the_same_entry_sent_twice_is_kept_once(book: Notebook) -> None:
    for new in (True, False):
        assert note_event(book, "b1", EventEntry(what="air off", when="2"), now=LATER, token="t1").was_new is new
    assert len(events_of_brew(book, "b1")) == 1


def test_what_is_odd_is_said_and_kept(book: Notebook) -> None:
    assert "since when" in note(book, "air on", when="2").look_again
    note(book, "air off", when="3")
    assert "off since 3.0 h already" in note(book, "air off", when="4").look_again


def test_a_file_of_events_is_taken_in_once_and_bad_rows_are_said(book: Notebook) -> None:
    table = b"Time;Event;Amount;Food\n2;air off;;\n3,5;air on;;\n4;food;1 g/L;molasses\n4.5;dance;;\n;air off;;\n"
    first = take_in_events(book, "b1", table, now=LATER)
    assert (first.kept, first.known) == (3, 0)
    assert len(first.faults) == 2 and first.faults[0].startswith("Line 5") and "no time" in first.faults[1]
    again = take_in_events(book, "b1", table, now=LATER + timedelta(hours=1))
    assert (again.kept, again.known) == (0, 3)
    for broken in (b"\xff\xfe\x00", b"a,b\n1,2\n"):
        with pytest.raises(ImportFault):
            take_in_events(book, "b1", broken, now=LATER)


def test_events_go_out_and_come_in_with_a_package(book: Notebook, tmp_path) -> None:
    note(book, "air off", when="2")
    content = write_package(book, at=NOW)
    with open_notebook(tmp_path / "other.notebook", at=NOW) as other:
        read_package(other, content, at=NOW)
        assert events_of_brew(other, "b1") == events_of_brew(book, "b1")


def test_a_stop_seen_in_the_log_is_asked_about_until_it_is_answered(book: Notebook) -> None:
    times, values = balance(2.6, 4.1, until=5.0)
    log = SensorLog(brew="b1", channel="oxygen", elapsed_h=tuple(times.tolist()), values=tuple(np.round(values, 3).tolist()))
    book.append_log(log, at=NOW)
    (stop,) = stops_noticed(book, "b1")
    assert stop.off_h == pytest.approx(2.6, abs=0.3) and stop.on_h == pytest.approx(4.1, abs=0.3)
    note(book, "air kept running", when=f"{stop.off_h:.2f}", until=f"{stop.on_h:.2f}")
    assert stops_noticed(book, "b1") == ()


def test_an_event_of_no_brew_is_refused(book: Notebook) -> None:
    with pytest.raises(NotFound):
        note_event(book, "nothing", EventEntry(what="air off"), now=LATER)
    with pytest.raises(UnusableRecord, match="no event"):
        note_event(book, "b1", EventEntry(what=""), now=LATER)
