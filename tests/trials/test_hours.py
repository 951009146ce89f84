"""At which hour the brews of a trial are compared: one rule, for pages, commands and reports. The rule is the program's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from aerobe import usecases
from aerobe.records import (
    Arm,
    Assay,
    AssayError,
    Brew,
    Compost,
    PlannedBrew,
    PlannedSample,
    Reading,
    Recipe,
    RunSheet,
    Trial,
)
from aerobe.usecases.trials._results import judged
from aerobe.usecases.trials._values import hour_to_compare
from tests.notebook.conftest import NOW

ARMS = (Arm(key="plain", recipe="plain", is_standard=True), Arm(key="kelp", recipe="kelp"))
SIGNALS = {"p1": 20.0, "p2": 22.0, "k1": 40.0, "k2": 44.0}


@pytest.fixture
def book(tmp_path: Path):
    from aerobe.records import AirSupply, Vessel

    with usecases.notebook.open_notebook(tmp_path / "t.notebook", at=NOW) as made:
        made.add(Compost(key="leaf", name="Leaf mould"), at=NOW)
        made.add(Vessel(key="north", name="North", volume_l=20.0, depth_m=0.3, air=AirSupply(flow_l_per_min=10.0)), at=NOW)
        error = AssayError(constant_sd=0.3, proportional_cv=0.05)
        for key in ("card", "scope"):
            made.add(Assay(key=key, name=key, method="direct microscopy", error=error), at=NOW)
        for arm in ARMS:
            made.add(Recipe(key=arm.recipe, name=arm.recipe, compost="leaf", compost_g_per_l=30.0), at=NOW)
        made.add(Trial(key="t", name="Kelp?", question="two recipes", arms=ARMS, margin_ratio=1.5, planned_at=NOW), at=NOW)
        samples = (PlannedSample(elapsed_h=24.0), PlannedSample(elapsed_h=36.0))
        made.add(
            RunSheet(
                trial="t",
                seed=1,
                brews=tuple(
                    PlannedBrew(
                        brew=key,
                        arm=_arm(key),
                        vessel="north",
                        block="",
                        blind_code="",
                        starts_at=None,
                        samples=samples,
                    )
                    for key in SIGNALS
                ),
            ),
            at=NOW,
        )
        for key in SIGNALS:
            made.add(
                Brew(key=key, name=key, recipe=_arm(key), vessel="north", started_at=NOW, trial="t", arm=_arm(key)),
                at=NOW,
            )
            _read(made, key, "card", 24.0)
        yield made


def _arm(brew: str) -> str:
    return "plain" if brew.startswith("p") else "kelp"


def _read(book, brew: str, assay: str, hour: float) -> None:
    book.add(
        Reading(
            key=f"{brew}-{assay}-{hour:g}",
            brew=brew,
            assay=assay,
            role="sample",
            elapsed_h=hour,
            signal=SIGNALS[brew],
            unit="ug C/mL",
            typed_as="x",
        ),
        at=NOW,
    )


def _hour(book, **how: str) -> float | None:
    return hour_to_compare(book, book.find(Brew, of="t"), how.pop("outcome", "biomass"), book.get(RunSheet, "t"), **how)


def test_brews_are_compared_at_the_last_planned_hour_that_every_arm_has_reached(book) -> None:
    assert _hour(book) == 24.0
    _read(book, "k1", "card", 36.2)
    assert _hour(book) == 24.0
    _read(book, "p1", "card", 35.9)
    assert _hour(book) == 36.0


def test_a_sample_of_another_test_does_not_move_the_hour(book) -> None:
    _read(book, "k1", "card", 36.0)
    _read(book, "p1", "scope", 36.0)  # the arm was sampled then, but not by the test that is judged
    assert _hour(book) == 24.0
    assert {result.elapsed_h for result in usecases.trials.verdict_of_trial(book, "t", now=NOW).results} == {24.0}


def test_page_command_and_report_compare_at_the_same_hour_and_say_it(book) -> None:
    verdict, brews, notes = judged(book, "t", at_h=None, now=NOW)
    page = usecases.trials.verdict_of_trial(book, "t", now=NOW)
    assert verdict.results == page.results and len(brews) == 4
    said = "Brews are compared at 24 h; what they were at other hours may differ."
    assert said in notes and said in usecases.trials.verdict_lines(page)


def test_without_a_sheet_or_for_what_no_hour_is_asked_there_is_none(book) -> None:
    assert hour_to_compare(book, book.find(Brew, of="t"), "biomass", None) is None
    assert _hour(book, outcome="oxygen") is None and _hour(book, outcome="peak time") is None
