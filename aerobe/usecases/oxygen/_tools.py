"""Small tools of the oxygen room for page and command, and the pictures of their answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from aerobe.oxygen import (
    FLOORS,
    FOODS,
    DoseRow,
    dose_row,
)
from aerobe.sources import cite
from aerobe.usecases.oxygen._forecast import FoodQuestion, SimulatedBrews, simulated_courses
from aerobe.usecases.oxygen._questions import FoodAnswer
from aerobe.usecases.oxygen._runs import BrewUptake, KlaReport

if TYPE_CHECKING:
    from aerobe.charts import Picture


@dataclass(frozen=True, slots=True, kw_only=True)
class DosePreview:
    """One dose in a vessel: what it comes to, and its oxygen over time."""

    dose_g_per_l: float  # [g/L]
    whole_g: float  # in the whole vessel [g]
    row: DoseRow
    courses: SimulatedBrews


@dataclass(frozen=True, slots=True, kw_only=True)
class FoodPage:
    """A food of the library with its references as lines."""

    food: str
    lines: tuple[tuple[str, str], ...]
    notes: str
    references: tuple[str, ...]


def preview_dose(question: FoodQuestion, dose_g_per_l: float) -> DosePreview:
    """What one dose comes to: the numbers beside the slider, and the courses for its chart."""
    courses = simulated_courses(question, question.with_dose(dose_g_per_l), question.vessel)
    row = dose_row(dose_g_per_l, courses.outcome(question.from_h), question.floor_mg_per_l)
    return DosePreview(dose_g_per_l=dose_g_per_l, whole_g=dose_g_per_l * question.vessel.volume_l, row=row, courses=courses)


def food_pictures(answer: FoodAnswer, preview: DosePreview | None = None) -> tuple[Picture, ...]:
    """Oxygen over time at the dose, then lowest oxygen and peak biomass by dose."""
    from aerobe.charts import Expected, biomass_by_dose, lowest_oxygen_by_dose, oxygen_curve

    question, name = answer.question, FOODS.find(answer.question.food).name
    dose = preview.dose_g_per_l if preview is not None else None
    made: list[Picture] = []
    if preview is not None:
        low, middle, high = np.quantile(preview.courses.oxygen_mg_per_l, [0.05, 0.5, 0.95], axis=0)
        made.append(
            oxygen_curve(
                forecast=Expected(
                    elapsed_h=preview.courses.times_h.tolist(), low=low.tolist(), middle=middle.tolist(), high=high.tolist()
                ),
                floor_mg_per_l=question.floor_mg_per_l,
                saturation_mg_per_l=answer.saturation_mg_per_l,
                name=f"{preview.dose_g_per_l:g} g/L of {name}",
            )
        )
    made.append(
        lowest_oxygen_by_dose(
            answer.ceiling.rows,
            food=name,
            floor_mg_per_l=question.floor_mg_per_l,
            ceiling_g_per_l=answer.ceiling.dose_g_per_l,
            dose_g_per_l=dose,
        )
    )
    made.append(biomass_by_dose(answer.ceiling.rows, food=name, ceiling_g_per_l=answer.ceiling.dose_g_per_l, dose_g_per_l=dose))
    return tuple(made)


def kla_picture(report: KlaReport) -> Picture:
    """The run and its fit."""
    from aerobe.charts import reaeration_run

    return reaeration_run(report.log.times_h.tolist(), report.log.oxygen_mg_per_l.tolist(), report.estimate)


def uptake_picture(uptake: BrewUptake, name: str) -> Picture:
    """Uptake through a brew."""
    from aerobe.charts import uptake_curve

    return uptake_curve(uptake.track, name=name)


def food_page(name: str) -> FoodPage:
    """One food, with ranges as text and its references."""
    food = FOODS.find(name)
    named = (
        ("carbon [g C/g]", food.carbon),
        ("readily used, share of the carbon", food.readily),
        ("slowly used, share of the carbon", food.slow),
        ("nitrogen [g N/g]", food.nitrogen),
        ("oxygen demand [g O2/g]", food.oxygen_demand),
        ("density [kg/L]", food.density_kg_per_l),
    )
    return FoodPage(
        food=food.name,
        notes=food.notes,
        references=tuple(cite(*food.sources)),
        lines=tuple((label, f"{part.mid:g} ({part.low:g} to {part.high:g})") for label, part in named),
    )


def floor_lines() -> tuple[tuple[float, str, str], ...]:
    """Floors that people work with: level, meaning, reference."""
    return tuple((floor.mg_per_l, floor.meaning, cite(floor.source)[0]) for floor in FLOORS)
