"""Commands to practise: a simulated brew in the terminal. Nothing of it goes into the notebook."""

from __future__ import annotations

import secrets
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import App, Parameter

from aerobe.cli._common import JSON_ONLY, NOTEBOOK, now, own_notebook, progress, say, table, then
from aerobe.cli._pictures import save_poster
from aerobe.errors import AerobeError, OutsideValidity

if TYPE_CHECKING:
    from aerobe.usecases.practice import Curtain, LearnersView, PracticeChoices, PracticeShelf, Series
    from aerobe.usecases.reports import Poster

app = App(name="practise", help="A simulated brew to play: learn when to test and when to harvest. PRACTICE: no record is made.")
WORD = "PRACTICE"
HOW = "Enter: an hour. 6: six hours, one a second. t: test. c: killed control. p: look at the pump. h: harvest. q: leave."


@Parameter(name="*")
@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """Where practice brews are kept: beside the notebook that is named, never in it."""

    notebook: NOTEBOOK = ""
    json: JSON_ONLY = False

    def open(self) -> PracticeShelf:
        """The folder of practice brews."""
        from aerobe.usecases.practice import PracticeShelf

        path = Path(self.notebook) if self.notebook and "://" not in self.notebook else own_notebook()
        return PracticeShelf(path.with_name(path.name + ".app") / "practice")


OWN = Shelf()
KEY = Annotated[str, Parameter(help="Key of the practice brew.")]


@app.command
def new(
    *,
    molasses: float = 1.5,
    kelp: float = 0.5,
    fish: float = 0.0,
    compost: float = 40.0,
    litres: float = 20.0,
    air: float = 12.0,
    degc: float = 20.0,
    draw: bool = False,
    probe: bool = False,
    trouble: str = "none",
    seed: int | None = None,
    where: Shelf = OWN,
) -> None:
    """Begin a practice brew. What grows in it, and by which law, is secret until the harvest.

    Parameters
    ----------
    molasses
        As put in. [g/L]
    kelp
        As put in. [g/L]
    fish
        As put in. [g/L]
    compost
        As put in. [g/L]
    litres
        Water in the vessel. [L]
    air
        Air flow. [L/min]
    degc
        Expected water temperature. [degC]
    draw
        Draw recipe, vessel and air instead.
    probe
        An oxygen probe and a thermometer log.
    trouble
        What goes wrong: none, pump, cold, or maybe (drawn and not told).
    seed
        Fixes all that is hidden, to play the same brew again; another each time if left out.
    """
    from aerobe.usecases.practice import PracticeChoices, begin_practice

    chosen = None
    if not draw:
        chosen = PracticeChoices(
            compost_g_per_l=compost,
            molasses_g_per_l=molasses,
            kelp_g_per_l=kelp,
            fish_g_per_l=fish,
            volume_l=litres,
            air_l_per_min=air,
            temperature_degc=degc,
            probe=probe,
            trouble=trouble,
        )
    one = begin_practice(
        where.open(), seed=secrets.randbelow(2**31) if seed is None else _seed(seed), choices=chosen, probe=probe, trouble=trouble
    )
    lines = [f"{WORD} {one.key}: {_recipe(one.choices)}", *then(f"practise play {one.key}", f"practise step {one.key} --hours 6")]
    say(one, as_json=where.json, text=lines)


@app.command
def step(key: KEY, /, *, hours: float = 1.0, where: Shelf = OWN) -> None:
    """Let hours pass.

    Parameters
    ----------
    hours
        How many. [h]
    """
    from aerobe.usecases.practice import seen_in_practice, wait_in_practice

    shelf = where.open()
    now = seen_in_practice(shelf, key).practice.now_h
    _say_seen(wait_in_practice(shelf, key, now + max(hours, 0.0)), where)


@app.command
def test(key: KEY, /, *, where: Shelf = OWN) -> None:
    """Buy a test now: it has the tea's colour in it."""
    _move(key, "test", where)


@app.command
def control(key: KEY, /, *, where: Shelf = OWN) -> None:
    """Buy a killed control now: what the tea's colour alone shows."""
    _move(key, "control", where)


@app.command
def pump(key: KEY, /, *, where: Shelf = OWN) -> None:
    """Look at the pump; one that stands still is started again."""
    _move(key, "pump", where)


@app.command
def harvest(key: KEY, /, *, where: Shelf = OWN) -> None:
    """Harvest now."""
    _move(key, "harvest", where)


@app.command
def curtain(key: KEY, /, *, show: Path | None = None, where: Shelf = OWN) -> None:
    """The true course, what was caught, and what others would have caught. Takes some seconds.

    Parameters
    ----------
    show
        Folder for pictures to show: three sizes, light and dark, SVG and PNG.
    """
    from aerobe.usecases.practice import poster_of_practice, seen_in_practice

    shelf = where.open()
    found = _behind(shelf, key)
    poster = poster_of_practice(seen_in_practice(shelf, key).practice, now=now())
    say(found, as_json=where.json, text=[*_curtain_lines(found), *_shown(poster, show, key)])


@app.command
def series(*, where: Shelf = OWN) -> None:
    """The series of ten that is being played."""
    from aerobe.usecases.practice import practice_series

    found = practice_series(where.open())
    say(found, as_json=where.json, text=_series_lines(found))


@app.command
def lesson(key: str = "", /, *, guess: int | None = None, show: Path | None = None, json: JSON_ONLY = False) -> None:
    """A lesson of five minutes: a question, your guess, and what a computation says. Without a key: the six questions.

    Parameters
    ----------
    key
        Key of the lesson.
    guess
        Number of your guess; asked for at a terminal if left out.
    show
        Folder for pictures to show: three sizes, light and dark, SVG and PNG.
    """
    from aerobe.usecases.practice import LESSONS, learn, lesson_of, poster_of_lesson

    if not key:
        rows = [(one.key, one.title) for one in LESSONS]
        say(LESSONS, as_json=json, text=[*table(("key", "lesson"), rows), *then(f"practise lesson {LESSONS[0].key}")])
        return
    asked = lesson_of(key)
    if guess is None and not json:
        say(
            None, as_json=False, text=[asked.question, *(f"  {nth}: {words}" for nth, words in enumerate(asked.guesses, start=1))]
        )
        guess = _guessed(_asked("Your guess > ") if sys.stdin.isatty() else None)
        if guess is None:
            say(None, as_json=False, text=then(f"practise lesson {key} --guess NUMBER"))
            return
    with progress("Computing"):
        learnt = learn(key, guess)
    figures = learnt.picture.figures
    lines = [learnt.said, learnt.found.surprise, learnt.found.why, *table(figures.columns, figures.cells())]
    lines += [f"Rests on: {asked.rests_on}", *learnt.sources]
    lines += then(f"practise lesson {learnt.after.key}") if learnt.after else then("practise play")
    lines += _shown(poster_of_lesson(learnt, now=now()), show, f"lesson-{key}")
    names = ("lesson", "found", "guessed", "right", "said", "sources")
    say({name: getattr(learnt, name) for name in names}, as_json=json, text=[line for line in lines if line])


@app.command
def play(key: str = "", /, *, pace: float = 1.0, where: Shelf = OWN) -> None:
    """Play in the terminal: time runs only when you let it.

    Parameters
    ----------
    key
        Key of the practice brew; a drawn one is begun if left out.
    pace
        Seconds for an hour when several are let pass. [s]
    """
    from aerobe.usecases.practice import begin_practice, move_in_practice, seen_in_practice, wait_in_practice

    shelf = where.open()
    key = key or begin_practice(shelf, seed=secrets.randbelow(2**31)).key
    seen = seen_in_practice(shelf, key)
    say(None, as_json=False, text=[f"{WORD} {key}: {_recipe(seen.practice.choices)}", HOW])
    moves = {"t": "test", "c": "control", "p": "pump", "h": "harvest"}
    while seen.practice.harvested_h is None:
        said = _asked(f"{WORD} hour {seen.practice.now_h:g} > ")
        if said in (None, "q"):
            say(None, as_json=False, text=then(f"practise play {key}"))
            return
        try:
            if said in moves:
                seen = move_in_practice(shelf, key, moves[said])
                say(None, as_json=False, text=_last(seen))
            else:
                for _ in range(_hours(said or "1")):
                    seen = wait_in_practice(shelf, key, seen.practice.now_h + 1.0)
                    say(None, as_json=False, text=_now(seen))
                    time.sleep(max(pace, 0.0) if said else 0.0)
        except AerobeError as fault:
            say(None, as_json=False, text=[fault.problem, fault.remedy])
    say(None, as_json=False, text=_curtain_lines(_behind(shelf, key)))


def _asked(prompt: str) -> str | None:
    try:
        return input(prompt).strip().lower()
    except EOFError:
        return None


def _shown(poster: Poster, folder: Path | None, stem: str) -> list[str]:
    """Write all pictures of a poster; nothing without a folder."""
    return [] if folder is None else save_poster(poster, folder, stem)


def _guessed(said: str | None) -> int | None:
    """The number of a guess as typed; None where nothing was typed."""
    if not said:
        return None
    if not said.isdigit():
        raise OutsideValidity(f"'{said[:20]}' is no guess.", "Type the number that stands before it.")
    return int(said[:6])


def _hours(said: str) -> int:
    if not (said.isascii() and said.isdigit()) or not 0 < int(said) <= 72:
        raise OutsideValidity(f"'{said[:20]}' is no move.", HOW)
    return int(said)


def _seed(seed: int) -> int:
    if not 0 <= seed < 2**31:
        raise OutsideValidity(f"A seed of {seed} is out of range.", "Use a whole number from 0 to 2147483647.")
    return seed


def _move(key: str, kind: str, where: Shelf) -> None:
    from aerobe.usecases.practice import move_in_practice

    _say_seen(move_in_practice(where.open(), key, kind), where)


def _behind(shelf: PracticeShelf, key: str) -> Curtain:
    from aerobe.usecases.practice import curtain_of, rivals_in_practice

    with progress("Asking the others"):
        return curtain_of(shelf, key, rivals_in_practice(shelf, key))


def _say_seen(seen: LearnersView, where: Shelf) -> None:
    lines = [*(_last(seen) if seen.last is not None and seen.last.at_h == seen.practice.now_h else []), *_now(seen)]
    if seen.practice.harvested_h is not None:
        lines += then(f"practise curtain {seen.practice.key}")
    say(seen, as_json=where.json, text=lines)


def _recipe(choices: PracticeChoices) -> str:
    foods = {"molasses": choices.molasses_g_per_l, "kelp": choices.kelp_g_per_l, "fish": choices.fish_g_per_l}
    fed = ", ".join(f"{dose:g} g/L {name}" for name, dose in foods.items() if dose) or "no food"
    return (
        f"{choices.compost_g_per_l:g} g/L compost, {fed}, in {choices.volume_l:g} L with {choices.air_l_per_min:g} L/min of air "
        f"at {choices.temperature_degc:g} degC{', probe in' if choices.probe else ''}."
    )


def _now(seen: LearnersView) -> list[str]:
    log = f", oxygen {seen.oxygen[-1]:.1f} mg/L, water {seen.temperature[-1]:.1f} degC" if seen.log_h else ""
    return [f"{WORD} hour {seen.practice.now_h:g}{log}; {seen.tests_left} tests left, {seen.spent:g} points spent."]


def _last(seen: LearnersView) -> list[str]:
    move = seen.last
    if move is None:
        return []
    said = {
        "test": f"The test shows {move.value:.0f} ug C/mL, colour and all (random error 12 %).",
        "control": f"The killed control shows {move.value:.0f} ug C/mL: that is colour, not life.",
        "pump": "The pump stood still! It runs again." if move.value else "The pump runs.",
        "harvest": f"Harvested at hour {move.at_h:g}.",
    }
    return [said[move.kind]]


def _curtain_lines(found: Curtain) -> list[str]:
    out, rivals = found.outcome, found.rivals
    rows = [("you", f"{out.harvested_h:g} h", f"{100 * out.caught:.0f} %", out.tests, f"{out.points:.0f}")]
    if rivals is not None:
        for name, one in (("the call", rivals.call), ("an agent who knows", rivals.knowing)):
            rows.append((name, f"{one.harvested_h:g} h", f"{100 * one.caught:.0f} %", one.tests, f"{one.points:.0f}"))
    rows.append(("a clock", f"{out.clock_h:g} h", f"{100 * out.clock_caught:.0f} %", 0, f"{out.clock_points:.0f}"))
    lines = [
        f"{WORD}. The world: {out.law}. Highest at hour {out.peak_h:.1f}: {out.peak:.0f} ug C/mL.",
        f"Colour alone showed {out.colour:.0f} ug C/mL.",
        *table(("who", "harvest", "caught", "tests", "points"), rows),
    ]
    if rivals is not None:
        lines += ["With your data the call would have said:", *(f"  hour {item.now_h:g}: {item.said}" for item in rivals.then)]
    return [*lines, f"To learn: {out.to_learn}", *_series_lines(found.series)]


def _series_lines(found: Series | None) -> list[str]:
    if found is None:
        return ["No practice brew has been played to its end yet.", *then("practise play")]
    return [f"{WORD} series. {found.says}", f"A clock makes {found.clock:.0f}, an agent who knows {found.knowing:.0f}."]
