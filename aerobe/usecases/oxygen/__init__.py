"""Questions of food and air: how much the air can carry, what a run measured, tools for probes and pumps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.oxygen import AirPlan, DoseRow
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
        food_trade_off,
    )
    from aerobe.usecases.oxygen._runs import RunLog, brew_uptake, keep_kla, measure_kla, measure_steps, read_run
    from aerobe.usecases.oxygen._series import RunSeries, SeriesRun, measure_series
    from aerobe.usecases.oxygen._tools import (
        COBALT_CAUTION,
        FLOORS,
        FOODS,
        SULPHITE_CAUTION,
        DosePreview,
        FoodPage,
        check_probe,
        floor_lines,
        food_balance,
        food_page,
        food_pictures,
        holding_time,
        kla_picture,
        oxygen_from_percent,
        percent_of_saturation,
        preview_dose,
        salinity_from_conductivity,
        saturation_mg_per_l,
        scale_vessel,
        size_air,
        sulphite_dose,
        uptake_picture,
        vessel_kla,
    )
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_forecast": ("FoodQuestion", "simulated_courses"),
            "_form": ("FoodForm",),
            "_now": ("feed_now",),
            "_questions": (
                "FOOD_CAUTION",
                "FoodAnswer",
                "air_for_recipe",
                "air_or_food",
                "ask_food_ceiling",
                "compare_splits",
                "food_trade_off",
            ),
            "_runs": ("RunLog", "brew_uptake", "keep_kla", "measure_kla", "measure_steps", "read_run"),
            "_series": ("RunSeries", "SeriesRun", "measure_series"),
            "_tools": (
                "COBALT_CAUTION",
                "DosePreview",
                "FLOORS",
                "FOODS",
                "FoodPage",
                "SULPHITE_CAUTION",
                "check_probe",
                "floor_lines",
                "food_balance",
                "food_page",
                "food_pictures",
                "holding_time",
                "kla_picture",
                "oxygen_from_percent",
                "percent_of_saturation",
                "preview_dose",
                "salinity_from_conductivity",
                "saturation_mg_per_l",
                "scale_vessel",
                "size_air",
                "sulphite_dose",
                "uptake_picture",
                "vessel_kla",
            ),
            "aerobe.oxygen": ("AirPlan", "DoseRow"),
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
    "food_trade_off",
    "holding_time",
    "keep_kla",
    "kla_picture",
    "measure_kla",
    "measure_series",
    "measure_steps",
    "oxygen_from_percent",
    "percent_of_saturation",
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
