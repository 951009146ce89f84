"""From readings and their controls to one result a brew."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest

from aerobe.errors import NotEnoughData, UnusableReading
from aerobe.records import Arm, Assay, AssayError, Brew, Reading, Trial
from aerobe.verdicts import (
    brew_results,
    judge,
)

COLOUR = Assay(
    key="c",
    name="home colour test",
    method="colour test",
    error=AssayError(constant_sd=0.5, proportional_cv=0.05, bias=2.0),
)


def brew(key: str, arm: str) -> Brew:
    return Brew(key=key, name=key, recipe=arm, vessel="v", started_at=datetime(2026, 5, 1, tzinfo=UTC), arm=arm)


def reading(key: str, of: str, role: str, signal: float, hours: float = 24.0, **more) -> Reading:
    return Reading(
        key=key,
        brew=of,
        assay="c",
        role=role,
        elapsed_h=hours,
        signal=signal,
        unit="ug C/mL",
        typed_as=str(signal),
        **more,
    )


def test_the_killed_control_of_the_brew_is_subtracted() -> None:
    found = brew_results(
        [brew("b", "kelp")],
        [
            reading("1", "b", "sample", 12.0),
            reading("2", "b", "sample", 14.0),
            reading("3", "b", "killed control", 5.0),
        ],
        {"c": COLOUR},
    )[0]
    assert found.value == pytest.approx(8.0) and found.tests == 2 and found.colour_checked
    variance = (0.25 + (0.05 * 13) ** 2) / 2 + 0.25 + (0.05 * 5) ** 2
    assert found.test_log_sd == pytest.approx(math.sqrt(variance) / 8.0)


def test_without_control_the_characterised_bias_is_taken_off_and_the_brew_is_marked() -> None:
    found = brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 12.0)], {"c": COLOUR})[0]
    assert found.value == pytest.approx(10.0) and not found.colour_checked and found.bias_log_sd is None


def test_a_corrected_reading_is_left_out() -> None:
    rows = [reading("1", "b", "sample", 120.0), reading("2", "b", "sample", 12.0, replaces="1")]
    assert brew_results([brew("b", "kelp")], rows, {"c": COLOUR})[0].tests == 1


def test_doubling_dilution_and_halving_signal_changes_nothing() -> None:
    one = brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 12.0)], {"c": COLOUR})[0]
    two = brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 6.0, dilution=2.0)], {"c": COLOUR})[0]
    assert one.value == two.value


def test_a_brew_below_its_control_is_set_to_the_limit_and_marked() -> None:
    limited = Assay(
        key="c",
        name="c",
        method="colour test",
        error=AssayError(constant_sd=0.5, proportional_cv=0.05, detection_limit=1.5),
    )
    rows = [reading("1", "b", "sample", 4.0), reading("2", "b", "killed control", 5.0)]
    found = brew_results([brew("b", "kelp")], rows, {"c": limited})[0]
    assert found.at_limit and found.value == pytest.approx(1.5)


def test_two_assays_are_not_averaged() -> None:
    other = Reading(key="9", brew="b", assay="d", role="sample", elapsed_h=24.0, signal=3.0, unit="x", typed_as="3")
    with pytest.raises(UnusableReading, match="several assays"):
        brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 4.0), other], {"c": COLOUR, "d": COLOUR})


def test_a_brew_without_reading_at_the_time_is_named() -> None:
    with pytest.raises(NotEnoughData, match="within 1 h of 30 h"):
        brew_results([brew("b", "kelp")], [reading("1", "b", "sample", 4.0)], {"c": COLOUR}, at_h=30.0)


def test_brews_are_compared_at_the_latest_hour_they_share() -> None:
    rows = [
        reading("1", "b", "sample", 4.0, 12.0),
        reading("2", "b", "sample", 9.0, 24.0),
        reading("3", "c", "sample", 5.0, 12.0),
    ]
    found = brew_results([brew("b", "kelp"), brew("c", "plain")], rows, {"c": COLOUR})
    assert [result.elapsed_h for result in found] == [12.0, 12.0]


def test_brews_sampled_at_different_hours_are_named_as_a_rival() -> None:
    rows = [reading("1", "b", "sample", 40.0, 24.0), reading("3", "c", "sample", 5.0, 12.0)]
    found = brew_results([brew("b", "kelp"), brew("c", "plain")], rows, {"c": COLOUR})
    arms = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
    verdict = judge(Trial(key="t1", name="Kelp or plain", question="two recipes", arms=arms, margin_ratio=1.25), found)
    assert any(rival.name == "hours" and "12 to 24 h" in rival.words for rival in verdict.rivals)
