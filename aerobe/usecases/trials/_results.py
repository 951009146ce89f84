"""What a report or a pool needs to know of a judged trial: the verdict, its brews, and a word on those that are missing."""

from __future__ import annotations

from datetime import datetime

from aerobe.charts import Picture
from aerobe.errors import NotEnoughData
from aerobe.notebook import Notebook
from aerobe.records import Assay, Brew, Trial
from aerobe.reports import course_pictures
from aerobe.usecases.trials._blinding import refuse_while_hidden
from aerobe.usecases.trials._judging import JudgedBy, verdict_of_trial
from aerobe.usecases.trials._values import hour_in_words
from aerobe.verdicts import Verdict


def judged(
    notebook: Notebook,
    key: str,
    *,
    at_h: float | None,
    now: datetime,
    assay: str = "",
    asks: bool = True,
) -> tuple[Verdict, list[Brew], tuple[str, ...]]:
    """The verdict of a trial as the page of verdicts gives it, the brews in it, and notes: hours must not pose as recipes."""
    brews = notebook.find(Brew, of=key)
    verdict = verdict_of_trial(notebook, key, by=JudgedBy(assay=assay, at_h=at_h), now=now, asks=asks)
    inside = {result.brew for result in verdict.results} | {result.source_brew for result in verdict.results}
    left_out = [brew.key for brew in brews if brew.key not in inside]
    notes = [hour_in_words(verdict.results)]
    if left_out:
        notes.append(f"Left out for want of a result at that hour: {', '.join(left_out)}.")
    return verdict, [brew for brew in brews if brew.key in inside], tuple(note for note in notes if note)


def course_picture(notebook: Notebook, key: str) -> Picture:
    """The readings of a trial's brews over time, by the assay that comes first by key.

    Raises
    ------
    NotEnoughData
        If no brew was read twice by one assay, or there are too many arms for one picture.
    NotAllowed
        If a code is still closed: the picture names the arm of each brew.
    """
    brews = notebook.find(Brew, of=notebook.get(Trial, key).key)
    refuse_while_hidden(notebook, brews)
    readings = [reading for brew in brews for reading in notebook.readings(brew.key)]
    made = course_pictures(brews, readings, {assay.key: assay for assay in notebook.find(Assay)})
    if not made:
        raise NotEnoughData("There is no course to draw.", "Test brews at two hours or more; at most six arms fit one picture.")
    return made[0]
