"""A test in three lines, from a study typed step by step: nothing promised that the study has not shown."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from aerobe import usecases
from aerobe.assay import smallest_change
from aerobe.errors import NotEnoughData
from aerobe.usecases.assay import StudyForm, StudySteps, certify, table_of_steps

STEPS = StudySteps(water="5 6 4 7", again="140 150 161", killed="22 25 20", filtered="19;21", half="71 78", quarter="40 36")


def answer(steps: StudySteps) -> usecases.assay.AssayAnswer:
    return certify(StudyForm(table=table_of_steps(steps)))


def test_steps_become_a_study_in_which_the_killed_sample_counts() -> None:
    found = answer(STEPS)
    controls = np.mean([22.0, 25.0, 20.0, 19.0, 21.0])
    assert found.error.bias == approx(controls, rel=0.02)  # what is left without life is taken off, not called life
    assert "adds about 16" in dict(found.lines)["Colour"]  # 21.4 less the 5.5 of water
    assert "teas of another colour" in found.plainly.not_for
    assert "Test at least four" in found.plainly.what_next


def test_without_a_control_the_answer_says_that_colour_may_pass_for_microbes() -> None:
    found = answer(replace(STEPS, killed="", filtered=""))
    assert "microbes from colour" in found.plainly.not_for
    assert found.plainly.what_next.startswith("No coloured reading without cells. Filter some tea")


def test_the_change_that_is_promised_is_the_repeatability_limit_of_the_safe_side() -> None:
    """ISO 5725-6: two results of one laboratory differ by more than 2.8 sd in one case of twenty."""
    found = answer(STEPS)
    assert smallest_change(found.certificate) == approx(2.8 * found.certificate.scatter.proportional_high)
    rng = np.random.default_rng(3)
    pairs = rng.normal(0.0, 1.0, (200_000, 2))
    assert np.mean(np.abs(pairs[:, 0] - pairs[:, 1]) > 2.8) == approx(0.05, abs=0.003)
    assert "more than 52 % at 27.7 ug C/mL, or 43 % at 177" in found.plainly.good_for
    # A tea that stays as it is, weak or strong: the promise is broken once in twenty at most, by the scatter's upper ends.
    scatter = found.certificate.scatter
    for reading in (27.7, 177.0):
        sd = math.hypot(scatter.constant_high, scatter.proportional_high * reading)
        apart = np.abs(pairs[:, 0] - pairs[:, 1]) * sd / reading
        assert np.mean(apart > smallest_change(found.certificate, reading)) == approx(0.05, abs=0.003)
    assert (
        "at 27.7 ug" not in answer(replace(STEPS, killed="52 55 50", filtered="49;51")).plainly.good_for
    )  # colour lifts what is read


def test_where_no_blank_bounds_the_range_below_no_change_is_promised_down_to_nothing() -> None:
    rows = [f"sample,{value},cells/mL,tea,,{part}" for part, value in ((1, 40), (1, 55), (1, 47), (4, 11), (4, 14), (4, 9))]
    found = certify(StudyForm(table="role,signal,unit,what,colour,dilution\n" + "\n".join(rows)))
    assert "at 0 " not in found.plainly.good_for and "inf" not in found.plainly.good_for


def test_a_test_that_scatters_as_much_as_it_reads_is_not_called_good() -> None:
    found = answer(replace(STEPS, again="40 150 290", half="20 140", quarter="90 10"))
    assert "too much to follow a change" in found.plainly.good_for


@pytest.mark.parametrize(
    ("slip", "says"),
    [
        ({"water": "5 6"}, "Clean water: 2 readings"),
        ({"again": ""}, "This sample again: 0 readings"),
        ({"killed": "22 dark"}, "'dark' is no reading"),
    ],
)
def test_a_slip_says_which_step_and_what_to_do(slip: dict[str, str], says: str) -> None:
    with pytest.raises(NotEnoughData, match=says):
        table_of_steps(replace(STEPS, **slip))


def test_readings_beyond_the_scale_and_decimal_commas_stay_what_they_are() -> None:
    table = table_of_steps(replace(STEPS, water="<5 6,5 < 4 7", tea='my, "tea"'))
    assert "water blank,<5," in table and "water blank,6.5," in table and "water blank,<4," in table
    assert all(line.count(",") == 5 for line in table.splitlines())
    assert math.isfinite(certify(StudyForm(table=table)).error.bias)
