"""Put right what was written in, with what stood there before; copy a recipe; give a running brew a test."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Recipe, from_plain
from aerobe.usecases.brews._behind_code import recipes_in_question
from aerobe.usecases.brews._form import Answers
from aerobe.usecases.brews._parts import Options, Part, mendable
from aerobe.usecases.brews._put_away import put_away
from aerobe.usecases.brews._starting import price_of, tests_of
from aerobe.usecases.brews._tests import read_test, write_test
from aerobe.usecases.brews._typed import BrewStart
from aerobe.usecases.notebook._moments import moment_of
from aerobe.usecases.notebook._records import new_key
from aerobe.usecases.trials._blinding import is_hidden, refuse_while_hidden


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One field of the form that puts something right."""

    name: str
    label: str
    text: str
    hint: str
    options: Options
    lines: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """One earlier change: when, by whom, why, and each part as it stood and as it was made."""

    at: datetime
    who: str
    why: str
    parts: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """The form that puts something right."""

    noun: str
    key: str
    name: str
    fields: tuple[Asked, ...]
    brews: int  # that use it, and whose recipe may be seen
    closed: bool  # whether brews behind codes may use it too
    history: tuple[Before, ...]  # newest first
    away: bool


def to_mend(notebook: Notebook, noun: str, key: str) -> Mend:
    """What stands there, ready to be put right.

    Raises
    ------
    NotFound
        If there is no such thing.
    NotAllowed
        If it is a brew whose recipe is hidden behind a code.
    """
    cls, table, parts = mendable(noun)
    record = notebook.get(cls, key)
    if noun == "brew":
        refuse_while_hidden(notebook, [record])
    return Mend(
        noun=noun,
        key=key,
        name=record.name,
        fields=tuple(_asked(notebook, part, record) for part in (*parts, *((START,) if noun == "brew" else ()))),
        brews=sum(_uses(notebook, brew, key) for brew in notebook.find(Brew)) if noun in ("vessel", "recipe") else 0,
        closed=noun == "recipe" and any(_may_use(notebook, brew, key) for brew in notebook.find(Brew)),
        history=_history(notebook, cls, table, (*parts, START), key, record),
        away=(noun, key) in put_away(notebook),
    )


def _uses(notebook: Notebook, brew: Brew, key: str) -> bool:
    return key in (brew.vessel, "" if is_hidden(notebook, brew) else brew.recipe)


def _may_use(notebook: Notebook, brew: Brew, recipe: str) -> bool:
    return is_hidden(notebook, brew) and recipe in recipes_in_question(notebook, brew)


def mend(
    notebook: Notebook, noun: str, key: str, typed: Mapping[str, str], *, now: datetime, why: str = "", who: str = ""
) -> Receipt:
    """Put right what was typed anew; the rest stays to the last digit, and what stood there stays in the history.

    Raises
    ------
    UnusableForm
        If fields cannot be used: all of them at once. Nothing has been written then.
    NotAllowed
        If it is a brew whose recipe is hidden behind a code.
    """
    cls, _, parts = mendable(noun)
    made = old = notebook.get(cls, key)
    answers = Answers()
    if noun == "brew":
        refuse_while_hidden(notebook, [old])
    for part in parts:
        text = typed.get(part.name, part.shown(old)).strip().replace("\r\n", "\n")
        if text != part.shown(old).strip():
            made = answers.read(part.name, part.label, _taking(part, made, text), instead=made)
    began = typed.get(START.name, "").strip()
    if noun == "brew" and began and began != START.shown(old):
        made = answers.read(START.name, START.label, lambda: _with_start(notebook, made, began, now), instead=made)
    answers.settle()
    return notebook.change(made, at=now, who=who, why=why)


def copy_recipe(notebook: Notebook, key: str, *, name: str = "", now: datetime, who: str = "", token: str = "") -> str:
    """A recipe once more under another name, to be changed; gives its key. Sent again with the same token it is the same copy.

    Raises
    ------
    NotFound
        If there is no such recipe.
    """
    old = notebook.get(Recipe, key)
    fresh = name.strip() or f"{old.name}, changed"
    with notebook.writing() as pen:
        made = replace(old, key=new_key(notebook, Recipe, fresh), name=fresh)
        return pen.add(made, at=now, who=who, token=token).key


def give_test(notebook: Notebook, key: str, form: BrewStart, *, now: datetime, who: str = "") -> str:
    """Give a brew a test after its start: one that is known, or a new one, with how many can be afforded; gives the test's key.

    Raises
    ------
    UnusableForm
        If fields cannot be used: all of them at once. Nothing has been written then.
    """
    brew, answers = notebook.get(Brew, key), Answers()
    with notebook.writing() as pen:
        test = read_test(notebook, form, answers)
        if test is None and not answers.faults:
            answers.faults.append(("assay_name", UnusableRecord("The test has no name.", "Name it as you call it.")))
        tests = answers.read("tests", "Tests you can afford", lambda: tests_of(form.tests, True), instead=0)
        answers.settle()
        made = write_test(notebook, pen, form, test, now=now, who=who)
        costs = replace(brew.costs, test=price_of(test))
        pen.change(replace(brew, tests_in_budget=tests, costs=costs), at=now, who=who, why="a test was given")
    return made


def _taking(part: Part, record: Any, text: str) -> Any:
    return lambda: part.taken(record, text)


def _asked(notebook: Notebook, part: Part, record: Any) -> Asked:
    shown = part.shown(record)
    options = part.options(notebook) if part.options else ()
    if options and shown not in [key for key, _ in options]:
        options = ((shown, "not known"), *options)
    return Asked(name=part.name, label=part.label, text=shown, hint=part.hint, options=options, lines=part.lines)


def _history(notebook: Notebook, cls: type[Any], table: str, parts: tuple[Part, ...], key: str, now: Any) -> tuple[Before, ...]:
    found, after = [], now
    for line in reversed(notebook.audit(key=key)):
        if line.noun != table or line.did != "change" or not isinstance(line.before, dict):
            continue
        before = from_plain(cls, line.before)
        changed = [
            (part.label, part.shown(before) or "a guess", part.shown(after) or "a guess")
            for part in parts
            if (part is not START or cls is Brew) and part.shown(before) != part.shown(after)
        ]
        found.append(Before(at=line.at, who=line.who, why=line.why, parts=tuple(changed)))
        after = before
    return tuple(found)


def _with_start(notebook: Notebook, brew: Brew, text: str, now: datetime) -> Brew:
    held = len(notebook.readings(brew.key, with_corrected=True)) + len(notebook.logged(brew.key))
    held += len(notebook.kept("event", brew.key))
    if held:
        raise UnusableRecord(
            "What was recorded counts its hours from this start, so it cannot move any more.",
            "Correct the time of each reading instead.",
        )
    return replace(brew, started_at=moment_of(text, now=now))


START = Part(
    name="started_at",
    label="Air on since",
    hint="Date and time, or a clock time of today. It can move as long as nothing is recorded.",
    shown=lambda brew: f"{brew.started_at:%Y-%m-%d %H:%M}",
    taken=lambda brew, text: brew,
)
