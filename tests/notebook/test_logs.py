"""Logs of probes: long ones, live ones, doubled ones."""

from __future__ import annotations

import numpy as np
import pytest

from aerobe.errors import NotFound, UnusableReading
from aerobe.notebook import Notebook, check, fingerprint
from aerobe.records import CHANNELS, SensorLog
from tests.notebook.conftest import NOW


def log_of(times: np.ndarray, values: np.ndarray, channel: str = "oxygen", brew: str = "b1", probe: str = "") -> SensorLog:
    return SensorLog(brew=brew, channel=channel, probe=probe, elapsed_h=tuple(times.tolist()), values=tuple(values.tolist()))


def test_a_reading_a_second_for_72_hours_on_four_channels_comes_back_whole_and_short(notebook: Notebook) -> None:
    hours = np.arange(72 * 3600) / 3600.0
    rng = np.random.default_rng(1)
    for number, channel in enumerate(CHANNELS):
        values = 8.0 + number + np.sin(hours) + rng.normal(0.0, 0.1, len(hours))
        values[123_456] = -5.0 if channel == "oxygen" else values[123_456]
        assert notebook.append_log(log_of(hours, values, channel), at=NOW).points == len(hours)
        times, back = notebook.log("b1", channel)
        assert np.array_equal(times, hours) and np.array_equal(back, values)
        short = notebook.log_envelope("b1", channel, buckets=600)
        assert short.points.sum() == len(hours)
        assert np.all((short.low <= short.mean) & (short.mean <= short.high))
        assert (short.low.min(), short.high.max()) == (values.min(), values.max())  # no spike is smoothed away


def test_an_envelope_is_what_a_plain_count_gives(notebook: Notebook) -> None:
    notebook.append_log(log_of(np.array([0.0, 0.5, 1.0, 3.0, 4.0]), np.array([5.0, 7.0, 6.0, 2.0, 4.0])), at=NOW)
    short = notebook.log_envelope("b1", "oxygen", buckets=2)  # 0 to 2 h and 2 to 4 h
    assert short.elapsed_h.tolist() == [1.0, 3.0]
    assert (short.low.tolist(), short.high.tolist(), short.mean.tolist(), short.points.tolist()) == (
        [5.0, 2.0],
        [7.0, 4.0],
        [6.0, 3.0],
        [3, 2],
    )


def test_a_gap_leaves_buckets_out_and_one_point_is_one_bucket(notebook: Notebook) -> None:
    notebook.append_log(log_of(np.array([0.0, 0.1, 10.0]), np.array([1.0, 2.0, 3.0])), at=NOW)
    assert notebook.log_envelope("b1", "oxygen", buckets=10).points.tolist() == [2, 1]
    notebook.append_log(log_of(np.array([5.0]), np.array([7.0]), "pH"), at=NOW)
    assert notebook.log_envelope("b1", "pH").elapsed_h.tolist() == [5.0]
    assert len(notebook.log_envelope("b1", "temperature").low) == 0


def test_the_same_logger_file_twice_adds_nothing_and_a_longer_one_its_tail(notebook: Notebook) -> None:
    hours = np.arange(1000) / 60.0
    values = np.cos(hours)
    notebook.append_log(log_of(hours[:600], values[:600]), at=NOW)
    assert notebook.append_log(log_of(hours[:600], values[:600]), at=NOW).points == 0
    assert notebook.append_log(log_of(hours, values), at=NOW).points == 400
    times, back = notebook.log("b1", "oxygen")
    assert np.array_equal(times, hours) and np.array_equal(back, values)


def test_a_live_probe_one_point_at_a_time_and_out_of_order_reads_in_order(notebook: Notebook) -> None:
    order = np.random.default_rng(3).permutation(200)
    for number in order:
        notebook.append_log(log_of(np.array([number / 3600.0]), np.array([float(number)])), at=NOW, token=f"point-{number}")
    times, values = notebook.log("b1", "oxygen")
    assert values.tolist() == list(range(200)) and np.all(np.diff(times) > 0)
    assert check(notebook) == []


def test_how_a_log_came_in_does_not_change_the_content(notebook: Notebook) -> None:
    hours = np.arange(300) / 60.0
    notebook.append_log(log_of(hours, np.sin(hours), "oxygen"), at=NOW)
    whole = fingerprint(notebook)
    for part in np.array_split(np.arange(300), 7)[::-1]:
        notebook.append_log(log_of(hours[part], np.sin(hours[part]), "oxygen"), at=NOW)
    assert fingerprint(notebook) == whole


def test_part_of_a_log_is_read_by_time_and_probe(notebook: Notebook) -> None:
    hours = np.arange(20_000) / 60.0
    notebook.append_log(log_of(hours, hours, probe="left"), at=NOW)
    notebook.append_log(log_of(hours[:10], -hours[:10], probe="right"), at=NOW)
    times, _ = notebook.log("b1", "oxygen", probe="left", from_h=100.0, to_h=101.0)
    assert times.min() >= 100.0 and times.max() <= 101.0 and len(times) == 61
    assert notebook.logged("b1") == [("b1", "oxygen", "left", 20_000), ("b1", "oxygen", "right", 10)]


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_value_that_is_no_number_is_refused(notebook: Notebook, bad: float) -> None:
    with pytest.raises(UnusableReading):
        notebook.append_log(log_of(np.array([0.0, 1.0]), np.array([8.0, bad])), at=NOW)
    assert notebook.logged() == []


def test_a_log_of_an_unknown_brew_is_refused(notebook: Notebook) -> None:
    with pytest.raises(NotFound):
        notebook.append_log(log_of(np.array([0.0]), np.array([8.0]), brew="nobody"), at=NOW)
