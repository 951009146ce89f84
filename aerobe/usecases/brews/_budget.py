"""How many tests a brew has left: one count for its card, its call and the replay of its call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aerobe.records import Brew, Reading, RunSheet
from aerobe.usecases.trials._sheet import planned_of, steps_of


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewTests:
    """Tests of a brew: bought, made, and kept for what its run sheet still asks."""

    tests: int
    made: int  # every reading uses one, controls too
    kept: int

    @property
    def left(self) -> int:
        """Tests that are free to be spent, by the brewer or on the advice of the call."""
        return max(0, self.tests - self.made - self.kept)


def budget_of(brew: Brew, readings: Sequence[Reading], sheet: RunSheet | None, *, until_h: float | None = None) -> BrewTests:
    """The tests of a brew, now or as they stood at an hour of the past.

    Parameters
    ----------
    brew
        For its budget and its place on the sheet.
    readings
        All of the brew.
    sheet
        Of its trial, where it has one.
    until_h
        Readings after this hour were not yet made. [h]
    """
    seen = [item for item in readings if until_h is None or item.elapsed_h <= until_h]
    steps = steps_of(planned_of(sheet, brew.key), seen, brew.started_at)
    return BrewTests(tests=brew.tests_in_budget, made=len(seen), kept=sum(not step.done for step in steps))
