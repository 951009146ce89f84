"""A brew from its start to its harvest: what stands ready, what probes say, what is believed, the call and the look back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.decisions import Advice
    from aerobe.inference import AirStop
    from aerobe.oxygen import ProbeTrouble
    from aerobe.usecases.brews._advice import (
        advice_payload,
        advise_brew,
        plain_advice,
        replay_brew,
        replay_hours,
    )
    from aerobe.usecases.brews._behind_code import stand_in_words
    from aerobe.usecases.brews._beliefs import beliefs_of_brew, infer_history, past_of, story_of_history
    from aerobe.usecases.brews._call import Call, call_in_words, reminders_of
    from aerobe.usecases.brews._codes import brew_of_code, codes_to_read
    from aerobe.usecases.brews._events import (
        EVENTS_OF_A_FORM,
        EventEntry,
        EventsTakenIn,
        Noted,
        air_is_off_since,
        events_of_brew,
        note_event,
        standing_events_of,
        stops_noticed,
        take_in_events,
    )
    from aerobe.usecases.brews._guessed import Guessed, guesses_of_brew
    from aerobe.usecases.brews._held import WORKED_OUT, one_look
    from aerobe.usecases.brews._hindsight import Hindsight, look_back_at
    from aerobe.usecases.brews._mending import Mend, copy_recipe, give_test, mend, to_mend
    from aerobe.usecases.brews._overlay import Overlaid, overlaid_brews
    from aerobe.usecases.brews._pictures import DrawnPicture, Glance, brew_glance, brew_pictures, replay_picture
    from aerobe.usecases.brews._put_away import CAN_BE_PUT_AWAY, put_away, put_away_or_back, things_put_away
    from aerobe.usecases.brews._reminders import Reminder, calendar_of
    from aerobe.usecases.brews._sensors import KINDS_OF_CHANNELS, Point, brew_at, evidence_count, live_troubles, take_points
    from aerobe.usecases.brews._shelf import add_compost, add_recipe, add_test, add_vessels
    from aerobe.usecases.brews._starting import brew_to_repeat, latest_choices, start_brew, start_choices
    from aerobe.usecases.brews._typed import BrewStart, FoodTyped, VesselTyped
    from aerobe.usecases.brews._under_way import (
        OxygenNow,
        brew_version,
        brew_view,
        brews_overview,
        brews_under_way,
        trial_names,
    )
    from aerobe.usecases.brews._vessel import kla_as_typed, read_vessel
    from aerobe.usecases.brews._vessel_side import SMELLS, HarvestTyped, ProbeTyped, end_brew, record_probe
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_advice": ("advice_payload", "advise_brew", "plain_advice", "replay_brew", "replay_hours"),
            "_behind_code": ("stand_in_words",),
            "_beliefs": ("beliefs_of_brew", "infer_history", "past_of", "story_of_history"),
            "_call": ("Call", "call_in_words", "reminders_of"),
            "_codes": ("brew_of_code", "codes_to_read"),
            "_events": (
                "EVENTS_OF_A_FORM",
                "EventEntry",
                "EventsTakenIn",
                "Noted",
                "air_is_off_since",
                "events_of_brew",
                "note_event",
                "standing_events_of",
                "stops_noticed",
                "take_in_events",
            ),
            "_guessed": ("Guessed", "guesses_of_brew"),
            "_held": ("WORKED_OUT", "one_look"),
            "_hindsight": ("Hindsight", "look_back_at"),
            "_mending": ("Mend", "copy_recipe", "give_test", "mend", "to_mend"),
            "_overlay": ("Overlaid", "overlaid_brews"),
            "_pictures": ("DrawnPicture", "Glance", "brew_glance", "brew_pictures", "replay_picture"),
            "_put_away": ("CAN_BE_PUT_AWAY", "put_away", "put_away_or_back", "things_put_away"),
            "_reminders": ("Reminder", "calendar_of"),
            "_sensors": ("KINDS_OF_CHANNELS", "Point", "brew_at", "evidence_count", "live_troubles", "take_points"),
            "_shelf": ("add_compost", "add_recipe", "add_test", "add_vessels"),
            "_starting": ("brew_to_repeat", "latest_choices", "start_brew", "start_choices"),
            "_typed": ("BrewStart", "FoodTyped", "VesselTyped"),
            "_under_way": ("OxygenNow", "brew_version", "brew_view", "brews_overview", "brews_under_way", "trial_names"),
            "_vessel": ("kla_as_typed", "read_vessel"),
            "_vessel_side": ("HarvestTyped", "ProbeTyped", "SMELLS", "end_brew", "record_probe"),
            "aerobe.decisions": ("Advice",),
            "aerobe.inference": ("AirStop",),
            "aerobe.oxygen": ("ProbeTrouble",),
        },
    )

__all__ = [
    "Advice",
    "AirStop",
    "BrewStart",
    "CAN_BE_PUT_AWAY",
    "Call",
    "DrawnPicture",
    "EVENTS_OF_A_FORM",
    "EventEntry",
    "EventsTakenIn",
    "FoodTyped",
    "Glance",
    "Guessed",
    "HarvestTyped",
    "Hindsight",
    "KINDS_OF_CHANNELS",
    "Mend",
    "Noted",
    "Overlaid",
    "OxygenNow",
    "Point",
    "ProbeTrouble",
    "ProbeTyped",
    "Reminder",
    "SMELLS",
    "VesselTyped",
    "WORKED_OUT",
    "add_compost",
    "add_recipe",
    "add_test",
    "add_vessels",
    "advice_payload",
    "advise_brew",
    "air_is_off_since",
    "beliefs_of_brew",
    "brew_at",
    "brew_glance",
    "brew_of_code",
    "brew_pictures",
    "brew_to_repeat",
    "brew_version",
    "brew_view",
    "brews_overview",
    "brews_under_way",
    "calendar_of",
    "call_in_words",
    "codes_to_read",
    "copy_recipe",
    "end_brew",
    "events_of_brew",
    "evidence_count",
    "give_test",
    "guesses_of_brew",
    "infer_history",
    "kla_as_typed",
    "latest_choices",
    "live_troubles",
    "look_back_at",
    "mend",
    "note_event",
    "one_look",
    "overlaid_brews",
    "past_of",
    "plain_advice",
    "put_away",
    "put_away_or_back",
    "read_vessel",
    "record_probe",
    "reminders_of",
    "replay_brew",
    "replay_hours",
    "replay_picture",
    "stand_in_words",
    "standing_events_of",
    "start_brew",
    "start_choices",
    "stops_noticed",
    "story_of_history",
    "take_in_events",
    "take_points",
    "things_put_away",
    "to_mend",
    "trial_names",
]
