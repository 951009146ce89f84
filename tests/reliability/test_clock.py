"""A clock that jumps: what is impossible is said, the order of entries holds, and nothing falls silent."""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.cli import run
from aerobe.errors import UnusableReading, UnusableRecord
from aerobe.notebook import check, open_notebook
from aerobe.records import Brew, SensorLog
from aerobe.web._alarms import Alarm, AlarmSettings, Dispatch
from aerobe.web._https import local_certificate
from aerobe.web._live import Live
from aerobe.web._thinker import Thinker
from tests.fewer import fewer_courses
from tests.notebook.conftest import NOW, furnish, reading
from tests.reliability.forms import Form
from tests.reliability.world import World

YEAR_1970 = datetime(1970, 1, 1, 0, 0, tzinfo=UTC)  # where a machine with a flat battery wakes up
READING = Form(address="/brews/kelp-5/readings", fields={"what": "assay:colour-test", "signal": "120"})
OXYGEN = Form(address="/brews/kelp-5/readings", fields={"what": "oxygen", "signal": "1.5", "signal_unit": "mg/L"})
HARVEST = Form(address="/brews/kelp-5/harvest", fields={"smell": "earthy"})


def test_entries_keep_the_order_in_which_they_were_made_whatever_the_clock_said(tmp_path: Path) -> None:
    hours = (0.0, 5.0, -3.0, 30.0, -1.0)
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        furnish(book)
        for number, hour in enumerate(hours):
            at = NOW + timedelta(hours=hour)
            book.add_reading(reading(f"r{number}", hour=float(number)), at=at)
            book.keep("advice", "b1", {"number": number}, at=at)
        assert [line.key for line in book.audit() if line.noun == "readings"] == [f"r{number}" for number in range(5)]
        assert [item.payload["number"] for item in book.kept("advice", "b1")] == [0, 1, 2, 3, 4]
        latest = book.latest("advice", "b1")
        assert latest is not None and latest.payload == {"number": 4}
        assert [item.key for item in book.readings("b1")] == [f"r{number}" for number in range(5)]
        assert check(book) == []


def test_a_clock_behind_the_newest_entry_is_said_on_every_page_and_not_when_it_is_right(world: World) -> None:
    world.clock.turn(hours=2)
    assert world.send(READING).status_code == 303
    world.app.state.watch.look()
    assert "clock shows" not in world.client.get("/").text
    world.clock.turn(hours=-30)
    world.app.state.watch.look()
    for path in ("/", "/brews/kelp-5", "/menu", "/parts/alarms"):
        page = world.client.get(path)
        assert page.status_code == 200 and "clock shows" in page.text, path
    world.clock.turn(hours=30)
    world.app.state.watch.look()
    assert "clock shows" not in world.client.get("/").text


@pytest.mark.parametrize(("when", "words"), [("30", "ahead"), ("2026-05-02 20:00", "ahead"), ("-40", "before")])
@pytest.mark.parametrize("form", [READING, OXYGEN], ids=["test", "meter"])
def test_an_impossible_time_is_refused_with_what_to_do(world: World, form: Form, when: str, words: str) -> None:
    before = world.holds()
    if words == "before":
        when = "-60"
    told = world.send(form, json_answer=True, when=when)
    assert told.status_code == 422 and words in told.json()["problem"] and "clock" in told.json()["remedy"]
    assert world.holds() == before
    # A little fast is no fault.
    soon = (world.clock() + timedelta(minutes=5)).isoformat()
    assert world.send(form, json_answer=True, when=soon).status_code == 200


def test_a_harvest_ahead_of_the_clock_is_refused(world: World) -> None:
    answer = world.send(HARVEST, when="40")
    assert answer.status_code == 422 and "ahead of the clock" in answer.text
    assert world.send(HARVEST).status_code == 303


def test_a_machine_that_wakes_up_in_1970_takes_nothing_and_says_why(world: World) -> None:
    before = world.holds()
    world.clock.now = YEAR_1970
    for form in (READING, OXYGEN, HARVEST):
        told = world.send(form, json_answer=True)
        assert told.status_code == 422 and "clock" in told.text, form.address
    brew = world.send(
        Form(
            address="/brews",
            fields={
                "name": "X",
                "vessel": "bucket-a",
                "recipe": "plain",
                "tests": "4",
                "temperature": "20",
                "temperature_unit": "degC",
                "assay": "colour-test",
            },
        )
    )
    assert brew.status_code == 422 and "1970" in brew.text
    assert world.holds() == before
    for entry in world.app.state.menu:
        assert world.client.get(entry.href).status_code == 200, entry.href


@pytest.mark.parametrize("years", [-60, -1, 1, 40, 900])
def test_every_page_opens_under_a_clock_that_is_years_wrong(world: World, years: int) -> None:
    world.clock.now = world.clock.now.replace(year=world.clock.now.year + years)
    world.app.state.watch.look()
    for path in (
        "/brews/kelp-5",
        "/brews/kelp-1",
        "/brews/kelp-5/record",
        "/safety/brews/kelp-5",
        "/reminders.ics",
        "/trials/drawn",
        *(entry.href for entry in world.app.state.menu),
    ):
        assert world.client.get(path).status_code == 200, path


def test_values_logged_while_a_clock_was_ahead_are_not_the_oxygen_of_now(world: World) -> None:
    book, brew = world.notebook, world.notebook.get(Brew, "kelp-5")
    card = usecases.brews.brew_view(book, "kelp-5", now=world.clock()).card
    assert card.oxygen is not None
    elapsed_h = brew.hours_at(world.clock())
    book.append_log(SensorLog(brew="kelp-5", channel="oxygen", elapsed_h=(elapsed_h + 20.0,), values=(0.2,)), at=world.clock())
    now = usecases.brews.brew_view(book, "kelp-5", now=world.clock()).card.oxygen
    assert now is not None and now.mg_per_l == card.oxygen.mg_per_l
    world.clock.turn(hours=21)
    later = usecases.brews.brew_view(book, "kelp-5", now=world.clock()).card.oxygen
    assert later is not None and later.mg_per_l == 0.2 and later.minutes_ago == pytest.approx(60.0, abs=1.0)


def test_no_gate_opens_because_the_clock_went_back(world: World) -> None:
    usecases.safety.note_smell(world.notebook, "kelp-5", "putrid", now=world.clock())
    shut = {gate.name for gate in usecases.safety.gates_of_brew(world.notebook, "kelp-5", now=world.clock()) if not gate.is_open}
    for hours in (-1, -24, -1000):
        gates = usecases.safety.gates_of_brew(world.notebook, "kelp-5", now=world.clock() + timedelta(hours=hours))
        assert shut <= {gate.name for gate in gates if not gate.is_open}, hours


def test_points_of_a_probe_with_a_wrong_clock_are_refused(world: World) -> None:
    for at, words in ((world.clock() + timedelta(hours=3), "ahead"), (YEAR_1970, "clock")):
        with pytest.raises(UnusableReading) as found:
            usecases.brews.take_points(
                world.notebook,
                place="kelp-5",
                channel="oxygen",
                unit="mg/L",
                points=[usecases.brews.Point(value=7.0, at=at)],
                now=world.clock(),
            )
        assert words in str(found.value)


@pytest.mark.parametrize("year", [1, 1970, 2500, 9998])
def test_a_brew_of_an_impossible_year_is_refused(tmp_path: Path, year: int) -> None:
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        furnish(book)
        with pytest.raises(UnusableRecord, match="year"):
            draft = Brew(key="draft", name="Old", recipe="plain", vessel="barrel", started_at=NOW.replace(year=year))
            usecases.notebook.new_brew(book, draft, now=NOW)


def test_a_phone_with_a_wrong_clock_moves_no_reading(world: World) -> None:
    # The phone tells how old an entry is, by its own clock, and no hour: that its clock is years wrong does not show.
    world.send(READING, entry="old", age_s="3600")
    brew = world.notebook.get(Brew, "kelp-5")
    assert world.notebook.reading("r-old").elapsed_h == pytest.approx(brew.hours_at(world.clock()) - 1.0)
    # Its clock went back while the entry waited, or forward by years.
    for age, status in (("-5", 422), ("99999999", 422)):
        assert world.send(READING, json_answer=True, age_s=age).status_code == status


class Turned:
    """A clock that a test turns."""

    now = NOW

    def __call__(self) -> datetime:
        return self.now


def test_calls_are_worked_out_anew_when_the_clock_went_back_or_forward() -> None:
    clock, made = Turned(), []
    thinker = Thinker(lambda brew, now: made.append(now) or "advice", version=lambda brew: (1, 1), clock=clock, live=Live())
    for number, hours in enumerate((0, -5, 300), start=1):
        clock.now = NOW + timedelta(hours=hours)
        thinker.look("b1")
        end = time.monotonic() + 240.0
        while len(made) < number:
            assert time.monotonic() < end
            time.sleep(0.01)
        assert len(made) == number
        while thinker.look("b1").working:
            time.sleep(0.01)


def test_an_alarm_is_sent_again_after_the_clock_went_back() -> None:
    dispatch, alarm = Dispatch(), Alarm(brew="b1", brew_name="B", kind="oxygen low", says="low", at=NOW, urgent=True)
    assert dispatch.due((alarm,), AlarmSettings(), now=NOW) == ()  # no way to send it by
    settings = AlarmSettings(webhook="https://alarms.example/shed")
    assert dispatch.due((alarm,), settings, now=NOW) == (alarm,)
    dispatch._sent = {("webhook", "b1", "oxygen low"): NOW}
    assert dispatch.due((alarm,), settings, now=NOW + timedelta(minutes=5)) == ()
    assert dispatch.due((alarm,), settings, now=NOW - timedelta(days=30)) == (alarm,)


def test_a_certificate_made_under_a_fast_clock_is_made_anew(tmp_path: Path) -> None:
    made = [
        local_certificate(
            tmp_path, now=NOW + timedelta(days=days), addresses=("192.168.1.5",), names=("shed",)
        ).chain.read_bytes()
        for days in (400, 0, 1)
    ]
    assert made[0] != made[1] and made[1] == made[2]


def test_copies_of_one_moment_and_of_a_clock_set_back_do_not_overwrite_each_other(tmp_path: Path) -> None:
    with open_notebook(tmp_path / "tea.notebook", at=NOW) as book:
        furnish(book)
        copies = {usecases.notebook.back_up_notebook(book, now=NOW + timedelta(hours=hours)) for hours in (0, 5, 0, -5, 0)}
        assert len(copies) == 5 == len(usecases.notebook.copies_of_notebook(book))


@pytest.mark.slow
def test_a_call_under_any_clock_ends_soon_and_stays_within_the_brew(world: World) -> None:
    for hours in (0, -24 * 30, -24 * 365 * 50, 24 * 8, 24 * 3000):
        now = world.clock() + timedelta(hours=hours)
        began = time.process_time()
        with fewer_courses():  # a clock moves the hours that are looked at, and not how many courses
            advice = usecases.brews.advise_brew(world.notebook, "kelp-5", now)
        words = usecases.brews.call_in_words(world.notebook.get(Brew, "kelp-5"), advice, now=now)
        assert 0.0 <= advice.now_h <= 24 * 365 and words.say
        assert time.process_time() - began < 20.0


def test_a_reading_ahead_of_the_clock_by_command_is_kept_and_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = str(tmp_path / "tea.notebook")
    monkeypatch.setattr("aerobe.cli._readings.now", lambda: NOW + timedelta(hours=8))
    with open_notebook(path, at=NOW) as book:
        furnish(book)
    words = ["reading", "add", "b1", "12", "--assay", "card", "--notebook", path]
    assert run([*words, "--when", "30"]) == 0
    assert re.search(r"22 h ahead of the clock", capsys.readouterr().out)
    assert run([*words, "--when", "7"]) == 0
    assert "ahead" not in capsys.readouterr().out
    assert run([*words, "--when", "99999999"]) == 3
