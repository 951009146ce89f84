"""What a person types becomes a reading, unchanged beside what was typed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from aerobe.errors import AerobeError, NotAQuantity, NotFound, UnusableReading
from aerobe.notebook import Notebook, open_notebook
from aerobe.records import Brew, Harvest
from aerobe.usecases.notebook import (
    ReadingEntry,
    add_reading,
    brew_history,
    correct_reading,
    list_brews,
    new_brew,
    new_key,
    notebook_summary,
)
from tests.notebook.conftest import NOW, furnish


@pytest.fixture
def book(where: str) -> Iterator[Notebook]:
    with open_notebook(where, at=NOW) as notebook:
        furnish(notebook)
        yield notebook


def draft(name: str, started_at: datetime = NOW) -> Brew:
    return Brew(key="draft", name=name, recipe="plain", vessel="barrel", started_at=started_at)


def entry(signal: str = "12,5", **rest: str) -> ReadingEntry:
    return ReadingEntry(**{"brew": "b1", "assay": "card", "signal": signal, **rest})


@pytest.mark.parametrize(
    ("typed", "signal", "below", "above"),
    [
        ("12,5", 12.5, False, False),
        ("12.5 ug C/mL", 12.5, False, False),
        ("<3", 3.0, True, False),
        ("> 500", 500.0, False, True),
        ("\u22640,1", 0.1, True, False),
        ("1e3", 1000.0, False, False),
    ],
)
def test_a_result_is_read_as_it_is_typed(book: Notebook, typed: str, signal: float, below: bool, above: bool) -> None:
    kept = book.reading(add_reading(book, entry(typed, when="4"), now=NOW).key)
    assert (kept.signal, kept.below_detection, kept.above_range) == (signal, below, above)
    assert (kept.typed_as, kept.unit) == (typed, "ug C/mL")


@pytest.mark.parametrize(
    ("when", "hours"),
    [
        ("", 5.0),
        ("8", 8.0),
        ("8,5", 8.5),
        ("8.5 h", 8.5),
        ("90 min", 1.5),
        ("2026-05-01T10:00+02:00", 0.0),
        ("2026-05-01 11:30", 3.5),
    ],
)
def test_time_may_be_hours_a_clock_or_now(book: Notebook, when: str, hours: float) -> None:
    kept = book.reading(add_reading(book, entry(when=when), now=NOW + timedelta(hours=5)).key)
    assert kept.elapsed_h == pytest.approx(hours)


@pytest.mark.parametrize(("dilution", "factor"), [("", 1.0), ("10", 10.0), ("1:10", 10.0), ("1 in 20", 20.0), ("2,5", 2.5)])
def test_a_dilution_is_read_as_people_write_it(book: Notebook, dilution: str, factor: float) -> None:
    assert book.reading(add_reading(book, entry(dilution=dilution, when="1"), now=NOW).key).dilution == factor


@pytest.mark.parametrize(
    "wrong",
    [
        {"signal": ""},
        {"signal": "a lot"},
        {"signal": "12 mg/kg"},
        {"when": "yesterday"},
        {"dilution": "0.1"},
        {"role": "witch"},
        {"replicate": "1.5"},
        {"replicate": "0"},
        {"brew": "nobody"},
        {"assay": "none"},
        {"token": "a b"},
        {"token": "x" * 81},
    ],
    ids=str,
)
def test_what_cannot_be_read_is_refused_with_a_remedy_and_nothing_is_kept(book: Notebook, wrong: dict[str, str]) -> None:
    with pytest.raises(AerobeError) as caught:
        add_reading(book, entry(**{"when": "1", **wrong}), now=NOW)
    assert caught.value.remedy
    assert book.readings() == []


def test_a_form_sent_twice_is_kept_once(book: Notebook) -> None:
    first = add_reading(book, entry(token="abc", when="1"), now=NOW)
    again = add_reading(book, entry(token="abc", when="1"), now=NOW + timedelta(minutes=3))
    assert (first.was_new, again.was_new, first.key) == (True, False, again.key)


def test_a_form_brings_only_known_fields() -> None:
    made = ReadingEntry.from_form({"brew": "b1", "signal": 3, "assay": "card", "evil": "x", "notes": None})
    assert (made.brew, made.signal, made.notes) == ("b1", "3", "")


def test_a_correction_keeps_its_time_unless_a_new_one_is_given(book: Notebook) -> None:
    key = add_reading(book, entry("125", when="4"), now=NOW).key
    newer = correct_reading(book, key, entry("12.5"), now=NOW + timedelta(hours=9), why="decimal").key
    kept = book.reading(newer)
    assert (kept.elapsed_h, kept.signal, kept.replaces) == (4.0, 12.5, key)
    last = correct_reading(book, newer, entry("12.5", when="5"), now=NOW).key
    assert [(item.key, item.elapsed_h) for item in brew_history(book, "b1").readings] == [(last, 5.0)]


def test_keys_are_made_of_names_and_never_taken_twice(book: Notebook) -> None:
    assert new_key(book, Brew, "Old barrel, 3rd") == "old-barrel-3rd"
    assert new_key(book, Brew, "Großer Kübel") == "groer-kubel"
    assert new_key(book, Brew, "!!!") == "brew"
    made = [new_brew(book, draft("Same"), now=NOW).key for _ in range(3)]
    assert made == ["same", "same-2", "same-3"]


def test_a_brew_of_an_arm_that_the_trial_lacks_is_refused(book: Notebook) -> None:
    with pytest.raises(NotFound):
        new_brew(book, replace(draft("x"), trial="none", arm="a"), now=NOW)


def test_brews_are_listed_newest_first_with_hours_and_state(book: Notebook) -> None:
    new_brew(book, draft("Later", NOW + timedelta(hours=2)), now=NOW + timedelta(hours=2))
    book.add(Harvest(brew="b1", elapsed_h=24.0), at=NOW)
    add_reading(book, entry(when="1"), now=NOW)
    listed = list_brews(book, now=NOW + timedelta(hours=5))
    assert [(item["key"], item["elapsed_h"], item["brewing"], item["readings"]) for item in listed] == [
        ("later", 3.0, True, 0),
        ("b1", 24.0, False, 1),
    ]
    assert notebook_summary(book)["brew"] == 2


def test_words_that_are_no_number_are_no_reading() -> None:
    with pytest.raises((UnusableReading, NotAQuantity)):
        entry("full").to_reading(None, _assay(), key="k", now=NOW)


def _assay():
    from aerobe.records import Assay

    return Assay(key="card", name="Card", method="colour test")
