"""Odd files out of one truth: what comes out must be right, by itself or after one answer, and never wrong without a word."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

import pytest

from aerobe.tables import TableReading, read_table
from tests.tables._dialects import START, Course, Odd, odd_files
from tests.tables._strangers import stranger_files

FILES = [*odd_files(), *stranger_files()]


def courses_of(reading: TableReading, *, controls: bool) -> frozenset[Course]:
    found: dict[object, set[tuple[float, float]]] = defaultdict(set)
    assert reading.rows is not None
    for row in reading.rows.results:
        if row.is_mean or (row.role != "sample") != controls:
            continue
        hour = row.elapsed_h if row.elapsed_h is not None else (row.clock - START).total_seconds() / 3600.0
        found[row.label, row.variable, row.measured].add((round(hour, 6), float(f"{row.value:.6g}")))
    return frozenset(frozenset(course) for course in found.values())


def since_start(hour: float | None, clock: datetime | None) -> float:
    """Hours since the start of the truth, from either way of saying when."""
    assert hour is not None or clock is not None
    return hour if hour is not None else (clock - START).total_seconds() / 3600.0 if clock is not None else 0.0


def is_right(odd: Odd, reading: TableReading) -> bool:
    if not reading.ready or reading.rows is None:
        return False
    logs = frozenset(
        (
            probe.channel,
            frozenset(
                (round(since_start(hour, clock), 6), float(f"{value:.6g}"))
                for hour, clock, value in zip(probe.elapsed_h, probe.clocks, probe.values, strict=True)
            ),
        )
        for probe in reading.rows.probes
        if probe.channel != "pH"
    )
    said = " ".join([*reading.ignored, *reading.noted, *reading.rows.left_out])
    return (
        courses_of(reading, controls=False) == odd.courses
        and courses_of(reading, controls=True) == odd.role_courses
        and {row.unit for row in reading.rows.results if not row.is_mean} <= {odd.unit}
        and logs == odd.logs
        and odd.says.lower() in said.lower()
        and (not odd.sds or all(row.uncertainty for row in reading.rows.results))
    )


@pytest.mark.parametrize("odd", FILES, ids=lambda odd: odd.id)
def test_it_comes_out_right_and_without_its_answer_never_wrong_in_silence(odd: Odd) -> None:
    answered = read_table(odd.content, odd.name, odd.reply)
    assert is_right(odd, answered), (answered.open_questions, answered.rows)
    unanswered = read_table(odd.content, odd.name)
    if unanswered.ready:
        assert is_right(odd, unanswered)
    else:
        open_keys = {question.key for question in unanswered.open_questions}
        assert open_keys <= odd.reply.keys()


def test_there_are_sixty_of_them_and_nearly_all_need_no_more_than_one_answer() -> None:
    assert len(FILES) >= 60 and len({odd.id for odd in FILES}) == len(FILES)
    assert sum(len(odd.reply) > 1 for odd in FILES) <= 3


def test_the_check_notices_a_wrong_reading() -> None:
    odd = next(odd for odd in FILES if odd.id == "killed controls")
    as_tea = read_table(odd.content, odd.name, {"role:kelp killed": "a tea of its own"})
    assert not is_right(odd, as_tea)
