"""The notebook itself: opened, checked, copied; brews and readings in and out; what a person writes of time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.notebook import BrewHistory, Notebook, Receipt, Rescued
    from aerobe.usecases.notebook._care import (
        Cared,
        back_up_notebook,
        care_for_the_day,
        check_notebook,
        copies_of_notebook,
        copy_also_to,
        go_on_with_whole_part,
        read_whole_part,
        rescue_notebook,
        restore_notebook,
        second_folder,
    )
    from aerobe.usecases.notebook._demo import make_demo
    from aerobe.usecases.notebook._demo_alive import keep_demo_alive
    from aerobe.usecases.notebook._display import display_units_for, display_units_of, has_display_units, set_display_units
    from aerobe.usecases.notebook._doctor import NotebookFinding, look_over
    from aerobe.usecases.notebook._files import require_new, write_new, write_whole
    from aerobe.usecases.notebook._moments import clock_trouble, impossible, moment_of, on_clock, spoken
    from aerobe.usecases.notebook._photos import PHOTO_KINDS, keep_photo, photos_of, readings_with_photo
    from aerobe.usecases.notebook._records import (
        ReadingEntry,
        add_reading,
        brew_history,
        correct_reading,
        list_brews,
        new_brew,
        new_key,
        notebook_summary,
        open_notebook,
    )
    from aerobe.usecases.notebook._search import SearchHit, search_notebook
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_care": (
                "Cared",
                "back_up_notebook",
                "care_for_the_day",
                "check_notebook",
                "copies_of_notebook",
                "copy_also_to",
                "go_on_with_whole_part",
                "read_whole_part",
                "rescue_notebook",
                "restore_notebook",
                "second_folder",
            ),
            "_demo": ("make_demo",),
            "_demo_alive": ("keep_demo_alive",),
            "_display": ("display_units_for", "display_units_of", "has_display_units", "set_display_units"),
            "_doctor": ("NotebookFinding", "look_over"),
            "_files": ("require_new", "write_new", "write_whole"),
            "_moments": ("clock_trouble", "impossible", "moment_of", "on_clock", "spoken"),
            "_photos": ("PHOTO_KINDS", "keep_photo", "photos_of", "readings_with_photo"),
            "_records": (
                "ReadingEntry",
                "add_reading",
                "brew_history",
                "correct_reading",
                "list_brews",
                "new_brew",
                "new_key",
                "notebook_summary",
                "open_notebook",
            ),
            "_search": ("SearchHit", "search_notebook"),
            "aerobe.notebook": ("BrewHistory", "Notebook", "Receipt", "Rescued"),
        },
    )

__all__ = [
    "BrewHistory",
    "Cared",
    "Notebook",
    "NotebookFinding",
    "PHOTO_KINDS",
    "ReadingEntry",
    "Receipt",
    "Rescued",
    "SearchHit",
    "add_reading",
    "back_up_notebook",
    "brew_history",
    "care_for_the_day",
    "check_notebook",
    "clock_trouble",
    "copies_of_notebook",
    "copy_also_to",
    "correct_reading",
    "display_units_for",
    "display_units_of",
    "go_on_with_whole_part",
    "has_display_units",
    "impossible",
    "keep_demo_alive",
    "keep_photo",
    "list_brews",
    "look_over",
    "make_demo",
    "moment_of",
    "new_brew",
    "new_key",
    "notebook_summary",
    "on_clock",
    "open_notebook",
    "photos_of",
    "read_whole_part",
    "readings_with_photo",
    "require_new",
    "rescue_notebook",
    "restore_notebook",
    "search_notebook",
    "second_folder",
    "set_display_units",
    "spoken",
    "write_new",
    "write_whole",
]
