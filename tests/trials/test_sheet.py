"""The run sheet: drawn with a kept seed, printable, blind, and in the calendar."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

import pytest

from aerobe.errors import UnusableRecord
from aerobe.records import Arm, Trial, as_plain, from_plain
from aerobe.reports import sheet_page
from aerobe.trials import Starts, calendar_of, controls_for, draw_run_sheet, plots_of

TRIAL = Trial(
    key="k1",
    name="Kelp <or> plain",
    question="two recipes",
    arms=(Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp")),
)
START = datetime(2026, 5, 4, 8, 0, tzinfo=timezone(timedelta(hours=2)))


def drawn(seed: int = 3, **more):
    given = {
        "controls": controls_for(TRIAL, colour_sensitive=True),
        "sample_times_h": [24.0, 36.0],
        "tests_per_brew": 2,
        "seed": seed,
        "starts": Starts(first=START),
        "vessels": ["north", "south"],
        **more,
    }
    return draw_run_sheet(TRIAL, plots_of(2, 4, 2), **given)


def test_the_same_seed_draws_the_same_sheet() -> None:
    assert drawn() == drawn()
    assert drawn(4) != drawn()
    assert from_plain(type(drawn()), as_plain(drawn())) == drawn()


def test_every_arm_has_its_brews_and_each_round_both_arms() -> None:
    sheet = drawn()
    assert [brew.arm for brew in sheet.brews].count("kelp") == 4
    for block in {brew.block for brew in sheet.brews}:
        assert {brew.arm for brew in sheet.brews if brew.block == block} == {"plain", "kelp"}
    assert len({brew.blind_code for brew in sheet.brews}) == 8


def test_codes_tell_nothing_and_cannot_be_misread() -> None:
    for brew in drawn().brews:
        assert re.fullmatch(r"[ACDEFHJKMNPRTWXY]{2}[34679]", brew.blind_code)
        assert brew.arm not in brew.brew


def test_rounds_follow_the_days_and_brews_the_minutes() -> None:
    starts = sorted(brew.starts_at for brew in drawn().brews)
    assert starts[0] == START and starts[1] == START + timedelta(minutes=15) and starts[2] == START + timedelta(days=3)


def test_a_start_without_zone_and_missing_vessels_are_sent_back() -> None:
    with pytest.raises(UnusableRecord, match="time zone"):
        drawn(starts=Starts(first=datetime(2026, 5, 4, 8, 0)))
    with pytest.raises(UnusableRecord, match="vessels"):
        drawn(vessels=["one"])
    with pytest.raises(UnusableRecord, match="sampling time"):
        drawn(sample_times_h=[])


def test_the_printed_page_is_one_page_a_brew_and_hides_the_arms() -> None:
    sheet = drawn()
    page = sheet_page(sheet, TRIAL)
    assert page.count('<section class="page">') == 8
    assert "Kelp &lt;or&gt; plain" in page and "<or>" not in page
    assert not re.search(r">\s*kelp\s*<", page)
    assert "Tue 05 May 08:00" in page  # 24 h after Monday 8:00
    # A code a brew, labels for two samples and their killed controls, and a water blank in each of four rounds.
    assert page.count("<svg") == 8 * (1 + 2 * 2) + 4
    assert "killed control" in page and "&#9744;" in page
    assert "http" not in re.sub(r'xmlns="[^"]*"', "", page)  # nothing is loaded from elsewhere
    assert "gloves" in page.lower()


def test_the_key_is_printed_only_when_asked_for() -> None:
    page = sheet_page(drawn(), TRIAL, with_arms=True)
    assert page.count('<section class="page">') == 9 and re.search(r"<td>kelp</td>", page)


def test_the_calendar_holds_every_start_and_sample_in_its_time() -> None:
    from icalendar import Calendar

    sheet = drawn()
    raw = calendar_of(sheet, made_at=datetime(2026, 4, 1, tzinfo=UTC))
    events = [item for item in Calendar.from_ical(raw).walk() if item.name == "VEVENT"]
    assert len(events) == 8 * 3
    assert len({str(event["uid"]) for event in events}) == len(events)
    first = min(event["dtstart"].dt for event in events)
    assert first == START
    assert all("kelp" not in str(event["summary"]) + str(event["description"]) for event in events)
    assert all(line <= 75 for line in map(len, raw.split(b"\r\n")))  # RFC 5545, 3.1: lines of at most 75 octets
    assert sum(item.name == "VALARM" for item in Calendar.from_ical(raw).walk()) == 24
