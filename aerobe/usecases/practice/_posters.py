"""What was played and learnt as a picture to show; the word practice is on every one."""

from __future__ import annotations

from datetime import datetime

from aerobe.charts import Poster, practice_course
from aerobe.practice import Practice, PracticeOutcome, outcome_of
from aerobe.usecases.practice._learning import Learnt

MARK = "practice"


def poster_of_practice(practice: Practice, *, now: datetime) -> Poster:
    """A harvested practice brew as a picture to show.

    Raises
    ------
    NotAllowed
        If it is not harvested yet.
    """
    return poster_of_outcome(
        outcome_of(practice), tuple((move.at_h, move.value) for move in practice.shown("test")), practice.seed, now
    )


def poster_of_outcome(out: PracticeOutcome, tests: tuple[tuple[float, float], ...], seed: int, now: datetime) -> Poster:
    """The same from what stands behind the curtain: what was caught, and no more than that."""
    headline = f"Harvested at hour {out.harvested_h:g}, a simulated brew gave {100 * out.caught:.0f} % of what it could."
    bought = f"{out.tests} test{'' if out.tests == 1 else 's'} and controls bought" if out.tests else "no test bought"
    return Poster(
        question="A practice brew: when would you harvest?",
        headline=headline,
        sure=f"One simulated brew, {bought}. A clock at hour {out.clock_h:g} would have caught {100 * out.clock_caught:.0f} "
        "%. It says "
        "nothing of any recipe.",
        date=f"{now:%Y-%m-%d}",
        source=f"Simulated by Aerobe, seed {seed}; nothing of it was measured",
        mark=MARK,
        pictures=(
            practice_course(
                out.times_h, out.biomass, tests, harvested_h=out.harvested_h, clock_h=out.clock_h, says=f"PRACTICE. {headline}"
            ),
        ),
    )


def poster_of_lesson(learnt: Learnt, *, now: datetime) -> Poster:
    """The surprise of a lesson as a picture to show.

    Parameters
    ----------
    learnt
        Of `learn`.
    """
    return Poster(
        question=learnt.lesson.title,
        headline=learnt.found.surprise,
        sure=f"Computed, not measured. {learnt.lesson.rests_on}",
        date=f"{now:%Y-%m-%d}",
        source=f"Computed by Aerobe: aerobe practise lesson {learnt.lesson.key}",
        mark=MARK,
        pictures=(learnt.picture,),
    )
