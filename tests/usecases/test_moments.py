"""What a person may write about time, whichever way it comes in. The rules are the program's own; no outside source."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from aerobe.errors import AerobeError, UnusableReading, UnusableRecord
from aerobe.records import Brew
from aerobe.units import DisplayUnits, shown_in
from aerobe.usecases.notebook import moment_of, spoken
from aerobe.usecases.notebook._moments import elapsed_from, on_clock

EAST = timezone(timedelta(hours=2))
NOW = datetime(2026, 5, 2, 15, 30, tzinfo=EAST)
BREW = Brew(key="b", name="b", recipe="r", vessel="v", started_at=datetime(2026, 5, 2, 8, 0, tzinfo=EAST))


@pytest.mark.parametrize(
    ("when", "hours"),
    [
        ("", 7.5),
        ("6", 6.0),
        ("6,25", 6.25),
        ("6.25", 6.25),  # a point never makes a clock time of hours
        ("90 min", 1.5),
        ("14:10", 6.0 + 10.0 / 60.0),
        ("23:00", -9.0),  # the last time a clock showed that was yesterday
        ("2026-05-02 10:00", 2.0),
        ("2026-05-02T08:00+00:00", 2.0),
    ],
)
def test_hours_of_a_brew_from_what_was_written(when: str, hours: float) -> None:
    assert elapsed_from(when, BREW, now=NOW) == pytest.approx(hours)


@pytest.mark.parametrize("decimal", [",", "."])
@pytest.mark.parametrize("age", ["1.500", "12.345", "123.400", "987.001"])
def test_the_age_that_a_phone_writes_is_read_whichever_decimal_sign_its_person_types(age: str, decimal: str) -> None:
    with shown_in(DisplayUnits().with_choices({"decimal": decimal})):
        assert elapsed_from("", BREW, now=NOW, age_s=age) == pytest.approx(7.5 - float(age) / 3600.0)


def test_an_entry_that_waited_on_a_phone_keeps_its_own_time() -> None:
    assert elapsed_from("", BREW, now=NOW, age_s="3600") == pytest.approx(6.5)
    assert elapsed_from("6", BREW, now=NOW, age_s="3600") == 6.0
    late = NOW + timedelta(hours=12)  # 14:10 typed at 15:30 is not 14:10 of the day the connection came back
    assert elapsed_from("14:10", BREW, now=late, age_s=str(12 * 3600)) == pytest.approx(6.0 + 10.0 / 60.0)


@pytest.mark.parametrize("age", ["-5", "soon", str(61 * 24 * 3600)])
def test_an_age_that_cannot_be_used_is_said(age: str) -> None:
    with pytest.raises(UnusableReading):
        elapsed_from("", BREW, now=NOW, age_s=age)


def test_a_reading_of_no_brew_has_hours_only() -> None:
    assert elapsed_from("", None, now=NOW) == 0.0
    assert elapsed_from("2 h", None, now=NOW) == 2.0
    with pytest.raises(AerobeError):
        elapsed_from("14:10", None, now=NOW)


def test_a_moment_is_on_the_clock_of_now_unless_it_says_otherwise() -> None:
    assert moment_of("", now=NOW) == NOW
    assert moment_of("08:30", now=NOW) == datetime(2026, 5, 2, 8, 30, tzinfo=EAST)
    assert moment_of("2026-05-01 08:30", now=NOW) == datetime(2026, 5, 1, 8, 30, tzinfo=EAST)
    assert moment_of("2026-05-01T08:30+00:00", now=NOW).utcoffset() == timedelta(0)
    with pytest.raises(AerobeError):
        moment_of("25:99", now=NOW)


@pytest.mark.parametrize(
    ("days", "said"),
    [(0, "15:30"), (1, "15:30 tomorrow"), (-1, "15:30 yesterday"), (3, "15:30 on Tuesday"), (9, "15:30 on 11 May")],
)
def test_a_moment_is_spoken_with_its_day_where_that_is_not_today(days: int, said: str) -> None:
    assert spoken(NOW + timedelta(days=days), NOW) == said


@pytest.mark.parametrize(
    ("order", "typed", "read"),
    [
        ("m/d/y", "5/1/2026 8:30 am", datetime(2026, 5, 1, 8, 30)),
        ("d/m/y", "5/1/2026 8:30 pm", datetime(2026, 1, 5, 20, 30)),
        ("d.m.y", "1.5.2026 08:30", datetime(2026, 5, 1, 8, 30)),
        ("m/d/y", "5/1/2026 6 pm", datetime(2026, 5, 1, 18, 0)),
        ("y-m-d", "2026-05-01 12:30 am", datetime(2026, 5, 1, 0, 30)),
        ("m/d/y", "2026-05-01 12:30 pm", datetime(2026, 5, 1, 12, 30)),
    ],
)
def test_a_date_is_read_in_the_order_that_was_chosen(order: str, typed: str, read: datetime) -> None:
    with shown_in(DisplayUnits().with_choices({"date": order})):
        assert moment_of(typed, now=datetime(2026, 5, 2, 9, 0, tzinfo=UTC)) == read.replace(tzinfo=UTC)


def test_a_date_whose_order_nobody_chose_is_asked_about() -> None:
    with pytest.raises(UnusableRecord):
        moment_of("5/1/2026 08:30", now=datetime(2026, 5, 2, 9, 0, tzinfo=UTC))


@pytest.fixture
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """This machine stands in Berlin: in 2026 it is summer from 29 March, 2:00, to 25 October, 3:00 (EU directive 2000/84)."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="this system has no zones to set for one program")
@pytest.mark.usefixtures("berlin")
def test_the_night_on_which_clocks_are_changed_is_no_hour_longer_or_shorter_than_it_was() -> None:
    winter, summer = timezone(timedelta(hours=1)), timezone(timedelta(hours=2))
    brew = replace(BREW, started_at=datetime(2026, 3, 28, 20, 0, tzinfo=winter))
    now = datetime(2026, 3, 29, 10, 0, tzinfo=summer)  # 13 h later, not 14
    for when, hours in (("", 13.0), ("01:30", 5.5), ("03:30", 6.5), ("23:00", 3.0), ("2026-03-29 09:00", 12.0)):
        assert elapsed_from(when, brew, now=now) == pytest.approx(hours), when
    assert spoken(now, brew.started_at) == "10:00 tomorrow" and spoken(brew.started_at, now) == "20:00 yesterday"
    assert moment_of("2026-03-28 20:00", now=now) == brew.started_at and moment_of(
        "01:30", now=now
    ).utcoffset() == winter.utcoffset(None)
    brew = replace(BREW, started_at=datetime(2026, 10, 24, 20, 0, tzinfo=summer))
    now = datetime(2026, 10, 25, 10, 0, tzinfo=winter)  # 15 h later
    for when, hours in (("", 15.0), ("01:30", 5.5), ("02:30", 7.5), ("03:30", 8.5), ("23:00", 3.0)):
        assert elapsed_from(when, brew, now=now) == pytest.approx(hours), when
    first = datetime(2026, 10, 25, 2, 40, tzinfo=summer)
    assert elapsed_from("02:30", brew, now=first) == pytest.approx(6.5)  # the second 2:30 has not been yet
    assert on_clock(brew.started_at, now).hour == 20


def test_a_clock_of_another_place_keeps_its_own_offset() -> None:
    far = timezone(timedelta(hours=13, minutes=45))
    now = datetime(2026, 3, 29, 10, 0, tzinfo=far)
    assert moment_of("08:00", now=now).utcoffset() == far.utcoffset(None) and on_clock(NOW, now).utcoffset() == far.utcoffset(
        None
    )
