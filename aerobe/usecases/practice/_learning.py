"""Lessons: a question, a guess, and the surprise with its picture and its sources."""

from __future__ import annotations

from dataclasses import dataclass

from aerobe.charts import Picture, named_bars
from aerobe.inference import on_one_core
from aerobe.practice import Found, Lesson, lesson_after, lesson_of, work_out
from aerobe.sources import cite


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """A lesson after the guess.

    Parameters
    ----------
    lesson, found
        What was asked, and what the computation gives.
    guessed, right
        Places of the guess that was made and of the one that is right, from 0; a guess of None was not made.
    said
        What to say of the guess.
    picture
        The numbers behind it.
    sources
        Lines of reference.
    after
        The next lesson; None after the last.
    """

    lesson: Lesson
    found: Found
    guessed: int | None
    right: int
    said: str
    picture: Picture
    sources: tuple[str, ...]
    after: Lesson | None


def learn(key: str, guess: int | None) -> Learnt:
    """The answer of a lesson, computed now; the first time takes a second or two.

    Parameters
    ----------
    key
        Of the lesson.
    guess
        Number of the guess, from 1; None if none was made.

    Raises
    ------
    NotFound
        If there is no such lesson.
    OutsideValidity
        If there is no such guess.
    """
    lesson = lesson_of(key)
    guessed = None if guess is None else lesson.require_guess(guess)
    with on_one_core():
        found = work_out(key)
    right = lesson.right_for(found.answer)
    said = ""
    if guessed is not None:
        said = "You guessed it." if guessed == right else f"You guessed: {_small(lesson.guesses[guessed])}."
    return Learnt(
        lesson=lesson,
        found=found,
        guessed=guessed,
        right=right,
        said=said,
        picture=_picture(lesson, found),
        sources=tuple(cite(*lesson.sources)),
        after=lesson_after(key),
    )


def _small(words: str) -> str:
    return words[0].lower() + words[1:]


def _picture(lesson: Lesson, found: Found) -> Picture:
    ends = [None if bar.low is None or bar.high is None else (bar.low, bar.high) for bar in found.bars]
    return named_bars(
        [bar.name for bar in found.bars],
        [bar.value for bar in found.bars],
        varied=found.varied,
        measured=found.measured,
        unit=found.unit,
        title=f"PRACTICE: {lesson.title[0].lower() + lesson.title[1:]}",
        says=f"Computed: {found.measured}, {found.varied} "
        + "; ".join(f"{bar.name}: {bar.value:.3g} {found.unit}" for bar in found.bars)
        + ".",
        spread=ends,
    )
