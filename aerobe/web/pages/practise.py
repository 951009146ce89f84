"""Practice: a simulated brew to play. Another frame, another file, the word on every picture; never a record."""

from __future__ import annotations

import secrets
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import JSONResponse

from aerobe import usecases
from aerobe.errors import AerobeError, NotAQuantity
from aerobe.units import AIR_FLOW, DOSE, TEMPERATURE, VOLUME, Kind
from aerobe.web._frame import Fields, clock_of, fields, go_to, menu_entry, page, wants_json, zipped
from aerobe.web._practising import practising_of

router = APIRouter()
nav = menu_entry("Practise", "/practise", order=60, icon="practise", more=True)
Sent = Annotated[Fields, Depends(fields)]
NUMBERS: dict[str, tuple[str, Kind]] = {
    "compost": ("compost_g_per_l", DOSE),
    "molasses": ("molasses_g_per_l", DOSE),
    "kelp": ("kelp_g_per_l", DOSE),
    "fish": ("fish_g_per_l", DOSE),
    "litres": ("volume_l", VOLUME),
    "air": ("air_l_per_min", AIR_FLOW),
    "degc": ("temperature_degc", TEMPERATURE),
}


@router.get("/practise")
def practise(request: Request) -> Response:
    """Begin a practice brew, go on with one, and the series of ten."""
    return page(request, "practice/hub.html", context=_hub(request))


@router.post("/practise")
def begin(request: Request, sent: Sent) -> Response:
    """Begin a practice brew: chosen, or drawn."""
    shelf = practising_of(request).shelf
    probe, trouble = sent.ticked("probe"), sent.text("trouble", "none")
    try:
        chosen = None if sent.text("how") == "draw" else _choices(sent, probe, trouble)
        seed = secrets.randbelow(2**31)
        one = usecases.practice.begin_practice(shelf, seed=seed, choices=chosen, probe=probe, trouble=trouble)
    except AerobeError as fault:
        return page(request, "practice/hub.html", status=422, fault=fault, sent=sent, context=_hub(request))
    return go_to(f"/practise/{one.key}")


@router.get("/practise/lessons/{key}")
def lesson(request: Request, key: str, guess: int | None = None) -> Response:
    """A lesson: its question with guesses to choose from; after the guess the surprise, computed now."""
    chosen = usecases.practice.lesson_of(key)
    if guess is None:
        return page(request, "practice/lesson.html", title=chosen.title, lesson=chosen, learnt=None)
    learnt = usecases.practice.learn(key, guess)
    return page(request, "practice/lesson.html", title=chosen.title, lesson=chosen, learnt=learnt)


@router.get("/pictures/practise/{key}.zip")
def pictures(request: Request, key: str) -> Response:
    """Pictures to show of a harvested practice brew, marked as practice."""
    one = usecases.practice.seen_in_practice(practising_of(request).shelf, key).practice
    return zipped(usecases.practice.poster_of_practice(one, now=clock_of(request)), key)


@router.get("/pictures/lessons/{key}.zip")
def lesson_pictures(request: Request, key: str) -> Response:
    """Pictures to show of a lesson, marked as practice."""
    return zipped(usecases.practice.poster_of_lesson(usecases.practice.learn(key, None), now=clock_of(request)), f"lesson-{key}")


@router.get("/practise/{key}")
def play(request: Request, key: str) -> Response:
    """A practice brew under air, or what stands behind its curtain."""
    practising = practising_of(request)
    seen = usecases.practice.seen_in_practice(practising.shelf, key)
    thought = practising.thinker.look(key)
    if seen.practice.harvested_h is None:
        return page(request, "practice/play.html", title="Practice brew", seen=seen, data=_data(seen))
    found = usecases.practice.curtain_of(practising.shelf, key, thought.advice)
    return page(
        request,
        "practice/curtain.html",
        title="Behind the curtain",
        seen=seen,
        data=_data(seen) | {"truth": _truth(found)},
        rows=_rows(found),
        curtain=found,
        problem=thought.problem,
    )


@router.get("/parts/practise/{key}")
def others(request: Request, key: str) -> Response:
    """What the others made of it, once it is worked out."""
    practising = practising_of(request)
    thought = practising.thinker.look(key)
    found = usecases.practice.curtain_of(practising.shelf, key, thought.advice)
    return page(request, "practice/others.html", curtain=found, problem=thought.problem)


@router.post("/practise/{key}/wait")
def wait(request: Request, key: str, sent: Sent) -> Response:
    """Let time pass to an hour."""
    until = _number(sent.text("until_h", "0"), "hours")
    return _answer(request, usecases.practice.wait_in_practice(practising_of(request).shelf, key, until))


@router.post("/practise/{key}/{kind}")
def move(request: Request, key: str, kind: str, sent: Sent) -> Response:
    """Test, control, a look at the pump, or the harvest."""
    practising = practising_of(request)
    at = _number(sent.text("at_h"), "hours") if sent.text("at_h") else None
    seen = usecases.practice.move_in_practice(practising.shelf, key, kind, at)
    practising.thinker.look(key)
    return _answer(request, seen)


def _answer(request: Request, seen: usecases.practice.LearnersView) -> Response:
    return JSONResponse(_data(seen)) if wants_json(request) else go_to(f"/practise/{seen.practice.key}")


def _hub(request: Request) -> dict[str, object]:
    shelf = practising_of(request).shelf
    return {
        "title": "Practise",
        "lessons": usecases.practice.LESSONS,
        "running": usecases.practice.running_practice(shelf),
        "series": usecases.practice.practice_series(shelf),
        "most": usecases.practice.MOST_TESTS,
    }


def _choices(sent: Fields, probe: bool, trouble: str) -> usecases.practice.PracticeChoices:
    typed = {name: _read(sent, field, kind) for field, (name, kind) in NUMBERS.items() if sent.text(field)}
    return usecases.practice.PracticeChoices(**typed, probe=probe, trouble=trouble)


def _read(sent: Fields, field: str, kind: Kind) -> float:
    """A quantity of the form; without a unit it is in the house unit, as a program sends it."""
    return kind.read_or_house(sent.quantity(field))


def _number(typed: str, what: str) -> float:
    try:
        value = float(typed.replace(",", "."))
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e6:
        raise NotAQuantity(f"'{typed[:40]}' is no number of {what}.", "Write a number such as 1.5.")
    return value


def _data(seen: usecases.practice.LearnersView) -> dict[str, object]:
    """What the page draws."""
    one = seen.practice
    return {
        "key": one.key,
        "now_h": one.now_h,
        "end_h": usecases.practice.END_H,
        "harvested_h": one.harvested_h,
        "moves": [{"kind": item.kind, "at_h": item.at_h, "value": item.value} for item in one.moves],
        "probe": one.choices.probe,
        "log": {"h": seen.log_h, "oxygen": seen.oxygen, "degc": seen.temperature},
        "tests_left": seen.tests_left,
        "spent": seen.spent,
    }


def _rows(found: usecases.practice.Curtain) -> list[list[str]]:
    """The true course every six hours, as text."""
    out = found.outcome
    rows = zip(out.times_h[::12], out.biomass[::12], out.oxygen[::12], out.temperature[::12], strict=True)
    return [[f"{h:g}", f"{cells:.0f}", f"{mg:.1f}", f"{degc:.1f}"] for h, cells, mg, degc in rows]


def _truth(found: usecases.practice.Curtain) -> dict[str, object]:
    out = found.outcome
    return {
        "h": [round(float(hour), 2) for hour in out.times_h],
        "biomass": [round(float(value), 1) for value in out.biomass],
        "oxygen": [round(float(value), 2) for value in out.oxygen],
        "clock_h": out.clock_h,
        "peak_h": out.peak_h,
        "off_h": out.pump_off_h,
        "on_h": out.pump_on_h,
    }
