"""One function for each thing a person wants done: the only room that holds notebook and science together.

The door is lazy: a name is imported from its file when it is first used, so that `aerobe --help` stays quick.
Add a name by one line in `_WHERE`, and the same name under `TYPE_CHECKING` if editors should know it.
"""

from __future__ import annotations

import importlib
from typing import Any

# name -> file behind the door; keep each subject's lines together.
_WHERE: dict[str, str] = {
    # records and the notebook (_records, _intake, _packages, _demo)
    "Preview": "_intake",
    "TakenIn": "_intake",
    "Wishes": "_intake",
    "BrewHistory": "_records",
    "Notebook": "_records",
    "ReadingEntry": "_records",
    "Receipt": "_records",
    "add_reading": "_records",
    "brew_history": "_records",
    "back_up_notebook": "_care",
    "check_notebook": "_care",
    "copies_of_notebook": "_care",
    "correct_reading": "_records",
    "export_package": "_packages",
    "import_package": "_packages",
    "make_demo": "_demo",
    "preview_table": "_intake",
    "restore_notebook": "_care",
    "take_in": "_intake",
    "list_brews": "_records",
    "new_brew": "_records",
    "new_key": "_records",
    "notebook_summary": "_records",
    "open_notebook": "_records",
    # the call (_advice)
    "advice_payload": "_advice",
    "advise_brew": "_advice",
    "infer_history": "_advice",
    "past_of": "_advice",
    "record_and_advise": "_advice",
    "replay_brew": "_advice",
    "story_of_history": "_advice",
    # the brews at a glance and at the vessel (_under_way, _starting, _vessel_side, _sensors, _call, _reminders)
    "BrewStart": "_starting",
    "COLUMN_MEANINGS": "_starting",
    "Call": "_call",
    "FoodTyped": "_starting",
    "KINDS_OF_CHANNELS": "_sensors",
    "Point": "_sensors",
    "Reminder": "_reminders",
    "SMELLS": "_vessel_side",
    "brew_at": "_sensors",
    "brew_pictures": "_brew_pictures",
    "brew_view": "_under_way",
    "brews_overview": "_under_way",
    "brews_under_way": "_under_way",
    "calendar_of": "_reminders",
    "call_in_words": "_call",
    "end_brew": "_vessel_side",
    "live_troubles": "_sensors",
    "moment_of": "_starting",
    "record_probe": "_vessel_side",
    "record_reading": "_vessel_side",
    "reminders_of": "_call",
    "start_brew": "_starting",
    "start_choices": "_starting",
    "take_points": "_sensors",
    "trial_names": "_under_way",
    # reports, publishing, the evidence of many (_reports, _site, _evidence)
    "Wanted": "_reports",
    "check_package": "_reports",
    "report_as_html": "_reports",
    "report_as_pdf": "_reports",
    "report_of_assay": "_reports",
    "report_of_brew": "_reports",
    "report_of_trial": "_reports",
    # safe use (_safety, _safety_facts, _safety_notes)
    "IndicatorTest": "_safety_notes",
    "UseAnswer": "_safety",
    "UseEntry": "_safety",
    "ask_use": "_safety",
    "brew_facts": "_safety_facts",
    "cautions_for": "_safety_notes",
    "check_compost": "_safety_notes",
    "choose_place": "_safety_notes",
    "gates_of_brew": "_safety_facts",
    "note_compost_history": "_safety_notes",
    "note_indicator_test": "_safety_notes",
    "note_pieces": "_safety_notes",
    "note_smell": "_safety_notes",
    "note_water_test": "_safety_notes",
    "place_of": "_safety_notes",
    "places": "_safety",
    "record_use": "_safety",
    "safety_limits": "_safety_notes",
    "safety_section": "_safety",
    "sanitising_bath": "_safety_notes",
    "take_out_chlorine": "_safety_notes",
    # food and air (_oxygen, _oxygen_form, _oxygen_runs, _oxygen_tools)
    "air_for_recipe": "_oxygen",
    "air_or_food": "_oxygen",
    "ask_food_ceiling": "_oxygen",
    "brew_uptake": "_oxygen_runs",
    "compare_splits": "_oxygen",
    "FOOD_CAUTION": "_oxygen",
    "food_trade_off": "_oxygen",
    "FoodAnswer": "_oxygen",
    "FoodForm": "_oxygen_form",
    "FoodQuestion": "_oxygen",
    "keep_kla": "_oxygen_runs",
    "measure_kla": "_oxygen_runs",
    "measure_steps": "_oxygen_runs",
    "read_run": "_oxygen_runs",
    "RunLog": "_oxygen_runs",
    "simulated_courses": "_oxygen",
    "check_probe": "_oxygen_tools",
    "COBALT_CAUTION": "_oxygen_tools",
    "DosePreview": "_oxygen_tools",
    "first_guess_kla": "_oxygen_tools",
    "floor_lines": "_oxygen_tools",
    "FLOORS": "_oxygen_tools",
    "food_balance": "_oxygen_tools",
    "food_page": "_oxygen_tools",
    "food_pictures": "_oxygen_tools",
    "FoodPage": "_oxygen_tools",
    "FOODS": "_oxygen_tools",
    "holding_time": "_oxygen_tools",
    "kla_picture": "_oxygen_tools",
    "oxygen_from_percent": "_oxygen_tools",
    "percent_of_saturation": "_oxygen_tools",
    "preview_dose": "_oxygen_tools",
    "salinity_from_conductivity": "_oxygen_tools",
    "saturation_mg_per_l": "_oxygen_tools",
    "scale_vessel": "_oxygen_tools",
    "size_air": "_oxygen_tools",
    "SULPHITE_CAUTION": "_oxygen_tools",
    "sulphite_dose": "_oxygen_tools",
    "typed_vessel": "_oxygen_tools",
    "uptake_picture": "_oxygen_tools",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(importlib.import_module(f"aerobe.desk.{_WHERE[name]}"), name)
    raise AttributeError(f"module 'aerobe.desk' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *_WHERE])
