"""Tests at work: two side by side, additions, what a reading means, and how many tests to make."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from aerobe import assay as room
from aerobe.errors import NotEnoughData
from aerobe.records import Assay, AssayError
from aerobe.usecases.assay._counts import numbers_typed

if TYPE_CHECKING:
    from aerobe.charts import Picture
    from aerobe.notebook import Notebook


def compare_tests(first: str, second: str) -> tuple[room.Line, room.Line | None, room.Agreement]:
    """Deming, Passing-Bablok (from ten pairs on) and limits of agreement of typed pairs."""
    x, y = numbers_typed(first, "results of the first test"), numbers_typed(second, "results of the second test")
    robust = room.passing_bablok(x, y) if len(x) >= 10 else None
    return room.deming(x, y), robust, room.limits_of_agreement(x, y)


def picture_of_tests(first: str, second: str, line: room.Line, *, names: tuple[str, str], unit: str) -> Picture:
    """The pairs with their line."""
    from aerobe.charts import two_tests

    return two_tests(
        numbers_typed(first, "results"),
        numbers_typed(second, "results"),
        slope=line.slope,
        intercept=line.intercept,
        names=names,
        unit=unit,
    )


def compare_by_phase(first: str, second: str, foods: Sequence[str], phases: Sequence[str]) -> room.PhaseBias:
    """Whether the ratio of two tests moves with food and phase of growth."""
    return room.phase_bias(
        numbers_typed(first, "results of the first test"),
        numbers_typed(second, "results of the second test"),
        foods,
        phases,
    )


def picture_of_phases(found: room.PhaseBias, names: tuple[str, str]) -> Picture:
    """The ratios by food and phase."""
    from aerobe.charts import ratio_by_phase

    return ratio_by_phase(found, names=names)


def content_by_addition(added: str, signals: str, *, background: float = 0.0) -> room.StandardAddition:
    """Content of a sample from known additions to it, free of a matrix that changes the slope."""
    return room.standard_addition(numbers_typed(added, "additions"), numbers_typed(signals, "signals"), background=background)


def assays_with_error(notebook: Notebook) -> list[Assay]:
    """Assays of the notebook whose error is known or assumed."""
    return [item for item in notebook.find(Assay) if item.error is not None]


def error_of_assay(kept: Assay) -> AssayError:
    """The error of an assay of the notebook.

    Raises
    ------
    NotEnoughData
        If it has none.
    """
    if kept.error is None:
        raise NotEnoughData(
            f"The assay '{kept.name}' has no known error.",
            "Characterise it first: enter a study and keep its certificate.",
        )
    return kept.error
