"""Safe use: what gates ask of a brew, advice before a use and the record after it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.safety import DECIDES, Caution, Gate, Hazard
    from aerobe.usecases.safety._air_and_smell import note_air, note_smell
    from aerobe.usecases.safety._entry import UseEntry, yes_or_no
    from aerobe.usecases.safety._facts import brew_facts, gates_as_data, gates_of_brew
    from aerobe.usecases.safety._lookups import (
        cautions_for,
        check_compost,
        check_laboratory,
        hazards,
        how_to_sample,
        mix_of,
        places,
        safety_limits,
        sanitising_bath,
        take_out_chlorine,
    )
    from aerobe.usecases.safety._notes import (
        IndicatorTest,
        choose_place,
        note_compost_history,
        note_indicator_test,
        note_pieces,
        note_water_test,
        place_of,
    )
    from aerobe.usecases.safety._use import UseAnswer, ask_use, record_use, safety_section
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_air_and_smell": ("note_air", "note_smell"),
            "_entry": ("UseEntry", "yes_or_no"),
            "_facts": ("brew_facts", "gates_as_data", "gates_of_brew"),
            "_lookups": (
                "cautions_for",
                "check_compost",
                "check_laboratory",
                "hazards",
                "how_to_sample",
                "mix_of",
                "places",
                "safety_limits",
                "sanitising_bath",
                "take_out_chlorine",
            ),
            "_notes": (
                "IndicatorTest",
                "choose_place",
                "note_compost_history",
                "note_indicator_test",
                "note_pieces",
                "note_water_test",
                "place_of",
            ),
            "_use": ("UseAnswer", "ask_use", "record_use", "safety_section"),
            "aerobe.safety": ("Caution", "DECIDES", "Gate", "Hazard"),
        },
    )

__all__ = [
    "DECIDES",
    "Caution",
    "Gate",
    "Hazard",
    "IndicatorTest",
    "UseAnswer",
    "UseEntry",
    "ask_use",
    "brew_facts",
    "cautions_for",
    "check_compost",
    "check_laboratory",
    "choose_place",
    "gates_as_data",
    "gates_of_brew",
    "hazards",
    "how_to_sample",
    "mix_of",
    "note_air",
    "note_compost_history",
    "note_indicator_test",
    "note_pieces",
    "note_smell",
    "note_water_test",
    "place_of",
    "places",
    "record_use",
    "safety_limits",
    "safety_section",
    "sanitising_bath",
    "take_out_chlorine",
    "yes_or_no",
]
