"""Practice brews: to learn the craft of testing without spending a test. Kept apart from the notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING

from aerobe.usecases._door import lazy_door

if TYPE_CHECKING:
    from aerobe.practice import (
        CLOCK_H,
        LESSONS,
        LIMITS,
        MOST_TESTS,
        PRICE,
        TROUBLES,
        CallThen,
        Lesson,
        OtherPlayer,
        Practice,
        PracticeChoices,
        PracticeOutcome,
        Rivals,
        Series,
        lesson_of,
    )
    from aerobe.usecases.practice._learning import Learnt, learn
    from aerobe.usecases.practice._playing import (
        Curtain,
        LearnersView,
        begin_practice,
        curtain_of,
        move_in_practice,
        practice_series,
        rivals_in_practice,
        running_practice,
        seen_in_practice,
        seen_of,
        think_ahead,
        wait_in_practice,
    )
    from aerobe.usecases.practice._posters import poster_of_lesson, poster_of_practice
    from aerobe.usecases.practice._shelf import PracticeShelf
    from aerobe.worlds import END_H
else:
    __getattr__, __dir__ = lazy_door(
        __name__,
        {
            "_learning": ("Learnt", "learn"),
            "_playing": (
                "Curtain",
                "LearnersView",
                "begin_practice",
                "curtain_of",
                "move_in_practice",
                "practice_series",
                "rivals_in_practice",
                "running_practice",
                "seen_in_practice",
                "seen_of",
                "think_ahead",
                "wait_in_practice",
            ),
            "_posters": ("poster_of_lesson", "poster_of_practice"),
            "_shelf": ("PracticeShelf",),
            "aerobe.practice": (
                "CLOCK_H",
                "CallThen",
                "LESSONS",
                "LIMITS",
                "Lesson",
                "MOST_TESTS",
                "OtherPlayer",
                "PRICE",
                "Practice",
                "PracticeChoices",
                "PracticeOutcome",
                "Rivals",
                "Series",
                "TROUBLES",
                "lesson_of",
            ),
            "aerobe.worlds": ("END_H",),
        },
    )

__all__ = [
    "CLOCK_H",
    "CallThen",
    "Curtain",
    "END_H",
    "LESSONS",
    "LIMITS",
    "LearnersView",
    "Learnt",
    "Lesson",
    "MOST_TESTS",
    "OtherPlayer",
    "PRICE",
    "Practice",
    "PracticeChoices",
    "PracticeOutcome",
    "PracticeShelf",
    "Rivals",
    "Series",
    "TROUBLES",
    "begin_practice",
    "curtain_of",
    "learn",
    "lesson_of",
    "move_in_practice",
    "poster_of_lesson",
    "poster_of_practice",
    "practice_series",
    "rivals_in_practice",
    "running_practice",
    "seen_in_practice",
    "seen_of",
    "think_ahead",
    "wait_in_practice",
]
