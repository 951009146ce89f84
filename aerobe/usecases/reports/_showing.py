"""Pictures to show: a finding for slides, squares and phones, light and dark; and one that moves."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from aerobe.charts import SIZES, Look, Picture, Poster, on_one_scale, poster_png, poster_svg
from aerobe.errors import NotFound
from aerobe.notebook import Notebook, brew_history
from aerobe.reports import Report, poster_in_units, poster_of, poster_of_pool
from aerobe.units import display_units
from aerobe.usecases.reports._writing import Wanted, report_of_brew, report_of_trial

if TYPE_CHECKING:
    from aerobe.evidence import Weighed
    from aerobe.usecases.oxygen._questions import FoodAnswer

LOOKS: tuple[Look, Look] = ("light", "dark")
MOST_TURNS = 6  # of a picture that moves: each is a fit of its own, and a file stays small


def picture_to_show(poster: Poster, *, size: str, look: str, form: str) -> bytes:
    """One picture as a file.

    Parameters
    ----------
    size
        "slide", "square" or "tall".
    look
        "light" or "dark".
    form
        "svg" or "png".

    Raises
    ------
    NotFound
        If there is no such size, look or form.
    """
    chosen = next((item for item in LOOKS if item == look), None)
    if size not in SIZES or chosen is None or form not in ("svg", "png"):
        raise NotFound(
            f"There is no picture of size '{size}', look '{look}' as '{form}'.",
            f"Sizes: {', '.join(SIZES)}; looks: {', '.join(LOOKS)}; svg or png.",
        )
    return poster_svg(poster, size, chosen).encode() if form == "svg" else poster_png(poster, size, chosen)


def pictures_to_show(poster: Poster) -> dict[str, bytes]:
    """Every size and look, as SVG and PNG, by file name; with several charts also a picture that moves."""
    made = {
        f"{size}-{look}.{form}": picture_to_show(poster, size=size, look=look, form=form)
        for size in SIZES
        for look in LOOKS
        for form in ("svg", "png")
    }
    if len(poster.pictures) > 1:
        made["square-moving.svg"] = poster_svg(poster, "square", is_moving=True).encode()
    return made


def poster_of_report(report: Report, *, moving: tuple[Picture, ...] = ()) -> Poster:
    """A report as a picture to show.

    Parameters
    ----------
    moving
        Charts that are shown one after the other, the last being the report's own.

    Raises
    ------
    NotEnoughData
        If the report has no chart.
    """
    return poster_of(report, moving=moving)


def packed_pictures(notebook: Notebook, kind: str, key: str, *, now: datetime, assay: str = "", asks: bool = True) -> bytes:
    """All pictures to show of a brew or a trial, in one zip file.

    Parameters
    ----------
    kind, key
        "brew" or "trial", and which.
    assay
        Of a trial, the test to judge by.
    asks
        Of a trial, whether this asks anew; else only what was asked before is shown again.
    """
    if kind == "brew":
        poster = poster_of_report(report_of_brew(notebook, key, now=now), moving=brew_as_tests_came(notebook, key, now=now))
    else:
        poster = poster_of_report(report_of_trial(notebook, key, now=now, wanted=Wanted(assay=assay, asks=asks)))
    return packed_poster(poster, f"{kind}-{key}")


def packed_poster(poster: Poster, stem: str) -> bytes:
    """All pictures of one poster in one zip file, their names beginning with `stem`."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in pictures_to_show(poster).items():
            packed.writestr(zipfile.ZipInfo(f"{stem}-{name}"), content, compress_type=zipfile.ZIP_DEFLATED)
    return out.getvalue()


def poster_of_evidence(weighed: Weighed, *, now: datetime, invented: bool = False) -> Poster:
    """What many trials say of a pair of recipes, as a picture to show.

    Parameters
    ----------
    weighed
        Of `weigh_evidence`.
    invented
        Whether the notebook is made up; a trial that came in as made up is known of itself.

    Raises
    ------
    NotEnoughData
        If no trial compared the pair directly.
    """
    made_up = invented or any(item.invented for item in weighed.contrasts)
    return poster_of_pool(weighed, made_at=now, source="Pooled by Aerobe from data packages of trials", invented=made_up)


def brew_as_tests_came(notebook: Notebook, key: str, *, now: datetime) -> tuple[Picture, ...]:
    """The curve of a brew after each hour of testing, on one scale: a band that narrows as tests come in.

    Parameters
    ----------
    key
        Of the brew.
    """
    from aerobe.inference import infer_brew
    from aerobe.usecases.brews._beliefs import story_of_history
    from aerobe.usecases.reports._pictures import brew_pictures_of

    history = brew_history(notebook, key)
    story, _ = story_of_history(history)
    hours = sorted({reading.elapsed_h for reading in history.readings if reading.role == "sample"})
    step = max(1, -(-len(hours) // (MOST_TURNS - 1)))
    chosen = [0.0, *[hour for place, hour in enumerate(hours) if (len(hours) - 1 - place) % step == 0 and hour > 0.0]]
    made = []
    for hour in chosen:
        posterior = infer_brew(story.until(hour), seed=history.brew.seed)
        seen = tuple(reading for reading in history.readings if reading.elapsed_h <= hour)
        made.append(brew_pictures_of(replace(history, readings=seen), posterior, now)[0])
    return on_one_scale(made)


def poster_of_food(answer: FoodAnswer, *, now: datetime) -> Poster:
    """How much food the air carries, as a picture to show.

    Parameters
    ----------
    answer
        Of `ask_food_ceiling`.
    """
    from aerobe.usecases.oxygen._tools import food_pictures

    vessel = answer.question.vessel
    known = "measured" if vessel.air.kla_per_h is not None else "guessed from the air flow"
    poster = Poster(
        question=f"How much food does the air carry? {vessel.name}, {vessel.volume_l:g} L",
        headline=answer.says,
        sure=f"No brew: computed for this vessel and recipe, transfer {known}. Shaded: 90 % of simulated brews.",
        date=f"{now:%Y-%m-%d}",
        source="Computed by the brew model of Aerobe",
        mark="",
        pictures=food_pictures(answer)[:1],
    )
    return poster_in_units(poster, display_units())
