"""Safe use: what gates ask of a brew, advice before a use and the record after it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.assay import sampling_steps
    from aerobe.safety import (
        CERTIFICATES,
        DECIDES,
        MADE_OF,
        Caution,
        Gate,
        Hazard,
        RuleQuestion,
        dechlorinate,
        questions,
        sanitise,
        suggestions,
    )
    from aerobe.usecases.safety._air_and_smell import note_air, note_smell
    from aerobe.usecases.safety._entry import UseEntry
    from aerobe.usecases.safety._facts import brew_facts, gates_as_data, gates_of_brew
    from aerobe.usecases.safety._lookups import (
        cautions_for,
        check_compost,
        check_laboratory,
        hazards,
        mix_of,
        places,
        safety_limits,
    )
    from aerobe.usecases.safety._material import (
        GERM_FACTS,
        CompostNotes,
        germs_of,
        material_of,
        note_germ,
        note_material,
        own_rule_of,
        set_own_rule,
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
    from aerobe.usecases.safety._place_entry import FIELD_OF, NOTED_WITH, yes_or_no
    from aerobe.usecases.safety._tables import END_WORDS, RuleBook, edition_age, edition_title, rule_book
    from aerobe.usecases.safety._use import UseAnswer, ask_use, record_use, safety_section
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_air_and_smell": ("note_air", "note_smell"),
            "_entry": ("UseEntry",),
            "_facts": ("brew_facts", "gates_as_data", "gates_of_brew"),
            "_lookups": ("cautions_for", "check_compost", "check_laboratory", "hazards", "mix_of", "places", "safety_limits"),
            "_material": (
                "CompostNotes",
                "GERM_FACTS",
                "germs_of",
                "material_of",
                "note_germ",
                "note_material",
                "own_rule_of",
                "set_own_rule",
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
            "_place_entry": ("FIELD_OF", "NOTED_WITH", "yes_or_no"),
            "_tables": ("END_WORDS", "RuleBook", "edition_age", "edition_title", "rule_book"),
            "_use": ("UseAnswer", "ask_use", "record_use", "safety_section"),
            "aerobe.assay": ("sampling_steps",),
            "aerobe.safety": (
                "CERTIFICATES",
                "Caution",
                "DECIDES",
                "Gate",
                "Hazard",
                "MADE_OF",
                "RuleQuestion",
                "dechlorinate",
                "questions",
                "sanitise",
                "suggestions",
            ),
        },
    )

__all__ = [
    "CERTIFICATES",
    "Caution",
    "CompostNotes",
    "DECIDES",
    "END_WORDS",
    "FIELD_OF",
    "GERM_FACTS",
    "Gate",
    "Hazard",
    "IndicatorTest",
    "MADE_OF",
    "NOTED_WITH",
    "RuleBook",
    "RuleQuestion",
    "UseAnswer",
    "UseEntry",
    "ask_use",
    "brew_facts",
    "cautions_for",
    "check_compost",
    "check_laboratory",
    "choose_place",
    "dechlorinate",
    "edition_age",
    "edition_title",
    "gates_as_data",
    "gates_of_brew",
    "germs_of",
    "hazards",
    "material_of",
    "mix_of",
    "note_air",
    "note_compost_history",
    "note_germ",
    "note_indicator_test",
    "note_material",
    "note_pieces",
    "note_smell",
    "note_water_test",
    "own_rule_of",
    "place_of",
    "places",
    "questions",
    "record_use",
    "rule_book",
    "safety_limits",
    "safety_section",
    "sampling_steps",
    "sanitise",
    "set_own_rule",
    "suggestions",
    "yes_or_no",
]
