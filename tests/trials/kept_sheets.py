"""Kept answers on run sheets, calendars and controls."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from aerobe.records import Arm, RunSheet, Trial
from aerobe.trials import Controls, Starts, calendar_of, controls_for, draw_run_sheet, plots_of, weighted_plots, with_controls
from tests.kept_answers.parts import end_of, numbers_of

CONTROLS = Controls(roles=("killed control",), round_roles=("blank",), tests_per_brew=1, tests_per_round=1, reasons=())
START = datetime(2026, 5, 1, 8, 30, tzinfo=UTC)


def trial(question: str, *arms: Arm) -> Trial:
    return Trial(key="t", name="t", question=question, arms=arms)


def sheet(question: str = "several against a standard", **more: object) -> RunSheet:
    arms = tuple(Arm(key=key, recipe=key, is_standard=key == "plain") for key in ("plain", "kelp", "fish"))
    made: dict[str, object] = {"controls": CONTROLS, "sample_times_h": (30.0, 12.5), "tests_per_brew": 2, "seed": 7}
    made |= {"starts": Starts(first=START, days_per_round=2.5, minutes_between=20.0), "plots": plots_of(3, 2, 3), **more}
    plots = made.pop("plots")
    return draw_run_sheet(trial(question, *arms), plots, **made)  # type: ignore[arg-type]


def _lines(found: RunSheet) -> object:
    return [
        (one.brew, one.arm, one.block, one.vessel, str(one.starts_at), [(s.elapsed_h, s.tests, s.controls) for s in one.samples])
        for one in found.brews
    ]


def sheets() -> dict[str, Callable[[], object]]:
    plain, dosed = Arm(key="plain", recipe="plain", is_standard=True), Arm(key="low", recipe="low", dose=0.5)
    return {
        "a run sheet": lambda: _lines(sheet()),
        "a run sheet of vessels, and one of uneven rounds with named vessels": lambda: [
            _lines(sheet("vessels")),
            _lines(
                sheet(plots=weighted_plots((3, 2, 2), 4), vessels=("red", "blue", "green", "grey"), starts=Starts(first=START))
            ),
        ],
        "sheets that cannot be drawn": lambda: [
            end_of(lambda: sheet(starts=Starts(first=START.replace(tzinfo=None)))),
            end_of(lambda: sheet(sample_times_h=())),
            end_of(lambda: sheet(vessels=("red", "blue"))),
            len(sheet(vessels=("red", "blue", "green")).brews),
        ],
        "the calendar of a run sheet": lambda: [
            line
            for line in calendar_of(sheet(plots=plots_of(3, 1, 3)), made_at=START - timedelta(days=1)).decode().splitlines()
            if line.split(":")[0].split(";")[0] in ("DTSTART", "DTEND", "DTSTAMP", "TRIGGER", "UID", "VERSION", "X-WR-CALNAME")
        ],
        "controls that a question needs": lambda: [
            numbers_of(controls_for(trial(question, plain), colour_sensitive=colour), leaving=("reasons",))
            for question in ("field response", "two recipes")
            for colour in (True, False)
        ],
        "arms that a trial is given": lambda: [
            [(arm.key, arm.recipe, arm.dose, arm.is_standard) for arm in with_controls(trial(question, *arms)).arms]
            for question in ("field response", "dose series", "several against a standard", "two recipes")
            for arms in (
                (plain,),
                (dosed,),
                (Arm(key="water"), Arm(key="no-food", dose=0.0)),
                (Arm(key="compost-solids"), plain, dosed),
            )
        ],
    }
