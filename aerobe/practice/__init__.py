"""Practice brews: a brew from a foreign world to be played, who else plays it, and the score. Nothing of it is a record."""

from aerobe.practice._brew import KINDS, MOST_TESTS, PRICE, Hidden, begun, hidden_of, moved, waited, world_of
from aerobe.practice._caller import CallPlayed, call_at, call_plays, kit_for, story_for, with_log_until
from aerobe.practice._choices import LIMITS, TROUBLES, Move, Practice, PracticeChoices, drawn_choices, expected_colour
from aerobe.practice._curtain import CLOCK_H, PracticeOutcome, outcome_of, points_of
from aerobe.practice._lessons import LESSONS, Lesson, lesson_after, lesson_of
from aerobe.practice._players import Played
from aerobe.practice._rivals import CallThen, OtherPlayer, Rivals, call_alone, call_then, knowing_agent, moments_of, rivals_of
from aerobe.practice._series import LENGTH, Score, Series, series_of
from aerobe.practice._worked import Bar, Found, work_out

__all__ = [
    "CLOCK_H",
    "LESSONS",
    "Bar",
    "Found",
    "Lesson",
    "lesson_after",
    "lesson_of",
    "work_out",
    "KINDS",
    "LENGTH",
    "LIMITS",
    "MOST_TESTS",
    "PRICE",
    "TROUBLES",
    "CallPlayed",
    "CallThen",
    "PracticeChoices",
    "Hidden",
    "Move",
    "PracticeOutcome",
    "Played",
    "Practice",
    "OtherPlayer",
    "Rivals",
    "Score",
    "Series",
    "begun",
    "call_alone",
    "call_at",
    "call_plays",
    "call_then",
    "drawn_choices",
    "expected_colour",
    "hidden_of",
    "kit_for",
    "knowing_agent",
    "moments_of",
    "moved",
    "outcome_of",
    "points_of",
    "rivals_of",
    "series_of",
    "story_for",
    "waited",
    "with_log_until",
    "world_of",
]
