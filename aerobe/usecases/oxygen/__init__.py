"""Questions of food and air: how much the air can carry, what a run measured, tools for probes and pumps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.oxygen import (
        COBALT_CAUTION,
        FLOORS,
        FOODS,
        SULPHITE_CAUTION,
        AirPlan,
        DoseRow,
        check_probe,
        food_balance,
        holding_time,
        oxygen_from_percent,
        salinity_from_conductivity,
        saturation_mg_per_l,
        scale_vessel,
        size_air,
        sulphite_dose,
        vessel_kla,
    )
    from aerobe.usecases.oxygen._forecast import FoodQuestion, simulated_courses
    from aerobe.usecases.oxygen._form import FoodForm
    from aerobe.usecases.oxygen._now import feed_now
    from aerobe.usecases.oxygen._questions import (
        FOOD_CAUTION,
        FoodAnswer,
        air_for_recipe,
        air_or_food,
        ask_food_ceiling,
        compare_splits,
    )
    from aerobe.usecases.oxygen._run_table import RunLog, read_run
    from aerobe.usecases.oxygen._runs import brew_uptake, keep_kla, measure_kla, measure_steps
    from aerobe.usecases.oxygen._series import RunSeries, SeriesRun, measure_series
    from aerobe.usecases.oxygen._tools import (
        DosePreview,
        FoodPage,
        floor_lines,
        food_page,
        food_pictures,
        kla_picture,
        preview_dose,
        uptake_picture,
    )
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_forecast": ("FoodQuestion", "simulated_courses"),
            "_form": ("FoodForm",),
            "_now": ("feed_now",),
            "_questions": ("FOOD_CAUTION", "FoodAnswer", "air_for_recipe", "air_or_food", "ask_food_ceiling", "compare_splits"),
            "_run_table": ("RunLog", "read_run"),
            "_runs": ("brew_uptake", "keep_kla", "measure_kla", "measure_steps"),
            "_series": ("RunSeries", "SeriesRun", "measure_series"),
            "_tools": (
                "DosePreview",
                "FoodPage",
                "floor_lines",
                "food_page",
                "food_pictures",
                "kla_picture",
                "preview_dose",
                "uptake_picture",
            ),
            "aerobe.oxygen": (
                "AirPlan",
                "COBALT_CAUTION",
                "DoseRow",
                "FLOORS",
                "FOODS",
                "SULPHITE_CAUTION",
                "check_probe",
                "food_balance",
                "holding_time",
                "oxygen_from_percent",
                "salinity_from_conductivity",
                "saturation_mg_per_l",
                "scale_vessel",
                "size_air",
                "sulphite_dose",
                "vessel_kla",
            ),
        },
    )

__all__ = [
    "AirPlan",
    "COBALT_CAUTION",
    "DosePreview",
    "DoseRow",
    "FLOORS",
    "FOODS",
    "FOOD_CAUTION",
    "FoodAnswer",
    "FoodForm",
    "FoodPage",
    "FoodQuestion",
    "RunLog",
    "RunSeries",
    "SULPHITE_CAUTION",
    "SeriesRun",
    "air_for_recipe",
    "air_or_food",
    "ask_food_ceiling",
    "brew_uptake",
    "check_probe",
    "compare_splits",
    "feed_now",
    "floor_lines",
    "food_balance",
    "food_page",
    "food_pictures",
    "holding_time",
    "keep_kla",
    "kla_picture",
    "measure_kla",
    "measure_series",
    "measure_steps",
    "oxygen_from_percent",
    "preview_dose",
    "read_run",
    "salinity_from_conductivity",
    "saturation_mg_per_l",
    "scale_vessel",
    "simulated_courses",
    "size_air",
    "sulphite_dose",
    "uptake_picture",
    "vessel_kla",
]
