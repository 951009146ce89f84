"""Logs that are read piece by piece come out as the same rows read one by one: brews by name, clocks, dropouts, restarts."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import numpy as np
import pytest

from aerobe.errors import ImportFault
from aerobe.tables import LongLog, Questions, head_of, plain_stream, read_long_log, read_table


def thin(content: str | bytes, zone: str = "Europe/Berlin", **replies: str) -> tuple[LongLog, Questions]:
    said = {key.replace("_", " "): value for key, value in replies.items()}
    stream = plain_stream(io.BytesIO(content.encode() if isinstance(content, str) else content), "long.csv")
    reading = read_table(head_of(stream), "long.csv", said, zone=zone)
    questions = Questions(said)
    return read_long_log(stream, reading, questions), questions


def moments(found: LongLog, place: int = 0) -> list[str]:
    return [f"{datetime.fromtimestamp(round(moment), tz=UTC):%d %H:%M}" for moment in found.logs[place].times]


def test_each_brew_of_a_log_gets_its_own_and_no_row_is_lost() -> None:
    rng = np.random.default_rng(1)
    rows = [
        (name, hour / 60.0, round(8.0 + rng.normal(), 3)) for hour in range(600) for name in ("north", "south tank", "c\u00fcve")
    ]
    content = "tank,hours,DO (mg/L),Temp (C)\n" + "".join(f"{name},{hour:.5f},{value},20\n" for name, hour, value in rows)
    found, _ = thin(content)
    got = {(log.labels.brew, log.channel): (int(log.count.sum()), float((log.mean * log.count).sum())) for log in found.logs}
    for name in ("north", "south tank", "c\u00fcve"):
        mine = [value for other, _, value in rows if other == name]
        assert got[name, "oxygen"] == (600, pytest.approx(sum(mine)))
    assert found.rows == 1800 and found.bad_rows == 0


@pytest.mark.parametrize(
    ("first", "second", "came"),
    [
        ("2026-06-01T08:00:00+02:00", "2026-06-01T09:00:00+02:00", ["01 06:00", "01 07:00"]),
        ("2026-06-01T08:00:00Z", "2026-06-01T09:00:00Z", ["01 08:00", "01 09:00"]),
        ("06/13/2026 08:00:00 AM", "06/13/2026 08:00:00 PM", ["13 06:00", "13 18:00"]),
        ("1772438400", "1772442000", ["02 08:00", "02 09:00"]),
        ("1772438400000", "1772442000000", ["02 08:00", "02 09:00"]),
        ("46083.5", "46083.75", ["02 11:00", "02 17:00"]),
        ("2026-06-01 23:00", "2026-06-01 24:00", ["01 21:00", "01 22:00"]),
    ],
)
def test_clocks(first: str, second: str, came: list[str]) -> None:
    found, _ = thin(f"timestamp,DO mg/L\n{first},8\n{second},7\n")
    assert moments(found) == came


def test_hours_that_came_twice_or_never() -> None:
    autumn = "".join(f"2026-10-25 0{hour}:{minute:02d},{hour}\n" for hour in (1, 2, 2, 3) for minute in range(0, 60, 10))
    found, _ = thin("timestamp,DO mg/L\n" + autumn)
    assert len(moments(found)) == 24 and moments(found)[6:13:6] == ["25 00:00", "25 01:00"]
    assert "6 rows of the hour that came twice" in " ".join(found.said)
    spring = "".join(f"2026-03-29 0{hour}:{minute:02d},{hour}\n" for hour in (1, 2, 3) for minute in range(0, 60, 10))
    found, _ = thin("timestamp,DO mg/L\n" + spring, no_such_hour="it kept the time of the winter")
    assert moments(found)[::6] == ["29 00:00", "29 01:00", "29 02:00"]
    found, _ = thin("timestamp,DO mg/L\n" + spring, no_such_hour="leave out")
    assert len(moments(found)) == 12 and "6 rows" in " ".join(found.said)


def test_two_bytes_a_letter_and_old_ends_of_lines() -> None:
    text = "hours;DO mg/L\n" + "".join(f"{hour};{8 - hour / 10:.1f}\n".replace(".", ",") for hour in range(10))
    for content in (text.encode("utf-16"), text.encode("utf-16-le"), text.replace("\n", "\r").encode()):
        found, _ = thin(content)
        assert (int(found.logs[0].count.sum()), float(found.logs[0].mean[-1])) == (10, pytest.approx(7.1))


def test_dropouts_beyond_the_head_and_a_logger_that_begins_anew() -> None:
    # The head of 300 kB shows none of it: only the whole file does.
    rows = [f"{at / 60:.6f},{8.0 + 0.001 * (at % 7):.3f},20.{at % 5}\n" for at in range(18_000)]
    body = "hours,DO mg/L,Temp C\n" + "".join(rows)
    loose = "300.5,-999,85\n300.6,0,20.1\n300.7,7.9,65535\n"
    _, questions = thin(body + loose)
    asked = {question.key: question.default for question in questions.asked}
    assert asked == {"no reading:DO mg/L:0": "", "no reading:Temp C:85": "yes"}
    found, _ = thin(body + loose, **{"no reading:DO mg/L:0": "yes"})
    assert int(found.logs[0].count.sum()) == 18_001 and found.bad_cells == 4
    found, _ = thin(body + loose, **{"no reading:DO mg/L:0": "no"})
    assert float(found.logs[0].low.min()) == 0.0
    _, questions = thin(body + "0,8,20\n0.5,8,20\n")
    assert [question.key for question in questions.asked if question.open] == ["runs:log"]


def test_columns_that_change_on_the_way_are_refused() -> None:
    body = "hours,DO mg/L,Temp C\n" + "".join(f"{at / 60:.6f},8.0,20.{at % 5}\n" for at in range(18_000))
    assert thin(body + "hours,DO mg/L,Temp C\n301,8,20\n")[0].bad_rows == 1
    with pytest.raises(ImportFault, match="change at the line"):
        thin(body + "hours,Temp C,DO mg/L\n301,20,8\n")
