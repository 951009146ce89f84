"""Six lessons of five minutes: each one question, guesses to choose from, and a surprise computed when it is asked for."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from aerobe.errors import NotFound, OutsideValidity

FACTOR = 1.25  # the difference that two lessons ask about [-]
BY_THE_WORLDS = (
    "Simulated in three of the worlds of practice brews: their numbers are invented, of the order that the trade reports."
)
BY_SCATTER = (
    "Brews of one recipe are taken to differ as a newcomer's may: between what two published sets show (bottles of one "
    "water, weekly "
    "batches). Your own brews will say better."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """One lesson.

    Parameters
    ----------
    key, title
        A word for addresses, a line for lists that does not give the answer away.
    question, guesses
        What is asked, and answers to choose from, from the smallest to the largest.
    edges
        Where one guess ends and the next begins, in the unit of what is computed; one fewer than there are guesses.
    rests_on
        What the computation takes for granted, in a sentence or two.
    sources
        Keys of its sources.
    """

    key: str
    title: str
    question: str
    guesses: tuple[str, ...]
    edges: tuple[float, ...]
    rests_on: str
    sources: tuple[str, ...]

    def right_for(self, answer: float) -> int:
        """The place of the guess that an answer falls under, from 0."""
        return bisect_right(self.edges, answer)

    def require_guess(self, number: int) -> int:
        """The place of a guess from its number, from 1.

        Raises
        ------
        OutsideValidity
            If there is no such guess.
        """
        if not 1 <= number <= len(self.guesses):
            raise OutsideValidity(f"There is no guess {number}.", f"Choose a number from 1 to {len(self.guesses)}.")
        return number - 1


LESSONS = (
    Lesson(
        key="repeats",
        title="Repeats are not brews",
        question="Two recipes are truly alike. You brew each once and test each brew eight times. How often does a t test of the "
        "sixteen results claim a difference?",
        guesses=("In 5 % of trials, as it should", "In about 40 %", "In about 80 %", "Always"),
        edges=(0.2, 0.6, 0.95),
        rests_on=BY_SCATTER,
        sources=("hurlbert-1984",),
    ),
    Lesson(
        key="colour",
        title="A dark tea lies",
        question="Two teas hold the same: 60 ug C/mL of cells. One has 4 g/L of molasses, the other none. What does a colour "
        "test show "
        "of the dark one?",
        guesses=("About the same as of the pale one", "Half as much again, or more", "Three times as much, or more"),
        edges=(1.2, 2.5),
        rests_on="How much colour a gram of molasses lends a test is invented, of the order of the trade; a killed control "
        "of your own "
        "tea measures it. Common practice, no source.",
        sources=("rocke-lorenzato-1995",),
    ),
    Lesson(
        key="molasses",
        title="Twice the molasses",
        question="A brew with 1 g/L of molasses has some oxygen left at its lowest. With 2 g/L and the same air, how much of "
        "that is "
        "left?",
        guesses=("A third, or less", "About half", "Nearly all of it"),
        edges=(0.4, 0.75),
        rests_on=BY_THE_WORLDS,
        sources=("monod-1949", "levenspiel-1980"),
    ),
    Lesson(
        key="warmth",
        title="The best hour and the thermometer",
        question="A recipe is best at some hour in water of 20 degC. When is it best at 14 degC?",
        guesses=("At the same hour", "After one and a half times as long, or more", "After three times as long, or more"),
        edges=(1.2, 2.5),
        rests_on=BY_THE_WORLDS,
        sources=("rosso-1993", "arrhenius-1889"),
    ),
    Lesson(
        key="cannot-tell",
        title="Why \"can't tell\" is a finding",
        question=f"A recipe truly gives {FACTOR:g} times as much. You compare four brews of each, two tests a brew. How "
        "often is it found?",
        guesses=("In less than one trial of five", "In about every second trial", "Nearly always"),
        edges=(0.2, 0.75),
        rests_on=BY_SCATTER,
        sources=("cohen-1988",),
    ),
    Lesson(
        key="how-many",
        title=f"How many brews for a factor of {FACTOR:g}?",
        question=f"How many brews of each recipe find a true factor of {FACTOR:g} in four trials of five?",
        guesses=("About 6", "About 12", "About 25", "About 80", "More than 150"),
        edges=(9.0, 18.0, 45.0, 150.0),
        rests_on=BY_SCATTER,
        sources=("cohen-1988",),
    ),
)  # fmt: skip


def lesson_of(key: str) -> Lesson:
    """A lesson by its key.

    Raises
    ------
    NotFound
        If there is none.
    """
    found = next((item for item in LESSONS if item.key == key), None)
    if found is None:
        raise NotFound(f"There is no lesson '{key[:40]}'.", f"Lessons: {', '.join(item.key for item in LESSONS)}.")
    return found


def lesson_after(key: str) -> Lesson | None:
    """The next lesson; None after the last."""
    place = LESSONS.index(lesson_of(key)) + 1
    return LESSONS[place] if place < len(LESSONS) else None
