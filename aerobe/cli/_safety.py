"""Commands of safe use: gates, compost history, indicator tests, advice before a use and the record of it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import OWN, Where, now, say, then
from aerobe.cli._safety_rules import germ, material, own_rule, rules
from aerobe.cli._safety_water import cautions, chlorine, hazards, lab, limits, mix, sampling, sanitise, water
from aerobe.cli._safety_words import (
    answer_lines,
    caution_lines,
    gate_lines,
    numbers_of,
    text_of,
    whole_numbers,
)
from aerobe.units import parse_number
from aerobe.usecases.safety import DECIDES, IndicatorTest, UseEntry

app = App(name="safety", help="Gates, compost rules, tests, water, cautions; may this tea go there?")

for command in (material, germ, own_rule, rules, water, chlorine, sanitise, lab, mix, cautions, limits, hazards, sampling):
    app.command(command)

Entry = Annotated[UseEntry, Parameter(name="*")]


@app.command
def place(name: str = "", /, *, where: Where = OWN) -> None:
    """Choose whose rules this notebook is held against; without a name, show them.

    Parameters
    ----------
    name
        One of the places on file.
    """
    from aerobe.usecases.safety import choose_place, place_of, places

    with where.open() as book:
        chosen = choose_place(book, name, now=now()) if name else place_of(book)
    text = [f"Chosen: {chosen or 'none'}. On file: {', '.join(places())}.", DECIDES]
    say({"chosen": chosen, "on_file": places(), "decides": DECIDES}, as_json=where.json, text=text)


@app.command
def gates(brew: str, /, *, where: Where = OWN) -> int:
    """What holds the harvest of a brew back now, why, and what opens it. Exit code 4: something does.

    Parameters
    ----------
    brew
        Key of the brew.
    """
    from aerobe.usecases.brews import stand_in_words
    from aerobe.usecases.safety import cautions_for, gates_as_data, gates_of_brew

    with where.open(create=False) as book:
        found, stand_in = gates_of_brew(book, brew, now=now()), stand_in_words(book, brew)
    warned = cautions_for("harvest")
    text = [*gate_lines(found), *([stand_in] if stand_in else []), DECIDES, *caution_lines(warned)]
    say({**gates_as_data(found, stand_in), "cautions": warned}, as_json=where.json, text=text)
    return 0 if all(gate.is_open for gate in found) else NOT_SETTLED


@app.command
def ask(*, entry: Entry, where: Where = OWN) -> int:
    """May this tea go there now? Nothing is written. Exit code 4: hold back."""
    from aerobe.usecases.safety import ask_use

    with where.open(create=False) as book:
        answer = ask_use(book, entry, now=now())
    say(answer.as_data(), as_json=where.json, text=answer_lines(answer))
    return 0 if answer.advice.may_go_ahead else NOT_SETTLED


@app.command
def use(*, entry: Entry, where: Where = OWN) -> int:
    """Keep what was done with a tea, with the gates as they stood. Exit code 4: they held back; it is kept all the same."""
    from aerobe.usecases.safety import record_use

    with where.open(create=False) as book:
        receipt, answer = record_use(book, entry, now=now())
    say({"kept": receipt, **answer.as_data()}, as_json=where.json, text=[f"Kept as '{receipt.key}'.", *answer_lines(answer)])
    return 0 if answer.advice.may_go_ahead else NOT_SETTLED


@app.command
def smell(brew: str, words: str, /, *, where: Where = OWN) -> None:
    """Keep what a brew smells of now.

    Parameters
    ----------
    brew
        Key of the brew.
    words
        earthy, none, sour ...
    """
    from aerobe.usecases.safety import note_smell

    with where.open(create=False) as book:
        receipt = note_smell(book, brew, words, now=now())
    say(receipt, as_json=where.json, text="Kept. Smell finds missing oxygen and no germs.")


@app.command
def air(brew: str, /, *, unbroken: str = "", restarted: str = "", where: Where = OWN) -> None:
    """Keep whether the air of a brew ran without a break until now, or when it was started again after the harvest.

    Parameters
    ----------
    brew
        Key of the brew.
    unbroken
        yes or no.
    restarted
        14:10, or hours since the air was first turned on.
    """
    from aerobe.usecases.safety import note_air, yes_or_no

    with where.open(create=False) as book:
        receipt = note_air(book, brew, now=now(), unbroken=yes_or_no(unbroken), restarted=restarted)
    say(receipt, as_json=where.json, text=["Kept.", *then(f"safety gates {brew}")])


@app.command
def compost(key: str, /, *, place: str = "", where: Where = OWN) -> int:
    """What a compost's record shows under the rules of a place. Exit code 4: not shown to pass.

    Parameters
    ----------
    key
        Key of the compost.
    place
        Another place than the notebook's.
    """
    from aerobe.usecases.safety import cautions_for, check_compost

    with where.open(create=False) as book:
        found = check_compost(book, key, place=place)
    lines = [f"{found.jurisdiction}: {found.state}.", found.why, found.next_step]
    rules = [f"- {rule.name}: {rule.state}. {rule.why}" for rule in found.rules]
    say(found, as_json=where.json, text=[*lines, *rules, *caution_lines(cautions_for("compost"))])
    return 0 if found.state == "shown to pass" else NOT_SETTLED


@app.command(name="compost-history")
def compost_history(
    key: str,
    /,
    *,
    process: str = "",
    log: Path | None = None,
    unit: str = "",
    ratio: str = "",
    pieces: str = "",
    where: Where = OWN,
) -> None:
    """Add to a compost what is known of its heating.

    Parameters
    ----------
    key
        Key of the compost.
    process
        windrow, in-vessel, static aerated, worm or unknown.
    log
        File with one reading a line: day, temperature, and "turned" where it was turned.
    unit
        Unit of its temperatures: degC or degF.
    ratio
        Starting C:N, for example 30:1.
    pieces
        Largest pieces while it was hot, in mm.
    """
    from aerobe.usecases.safety import note_compost_history, note_pieces

    with where.open(create=False) as book:
        text = "" if log is None else text_of(log)
        record = note_compost_history(book, key, now=now(), process=process, log=text, unit=unit, ratio=ratio)
        if pieces:
            note_pieces(book, key, parse_number(pieces), now=now())
    say(record, as_json=where.json, text=["Kept.", *then(f"safety compost {key}")])


@app.command
def test(
    brew: str,
    germ: str,
    /,
    *,
    amounts: str,
    tubes: str = "",
    positives: str = "",
    colonies: str = "",
    where: Where = OWN,
) -> int:
    """Keep an indicator test of a tea: tubes or plates. Exit code 4: not shown to pass.

    Parameters
    ----------
    brew
        Key of the brew.
    germ
        "E. coli" or "enterococci".
    amounts
        Undiluted tea in mL in each tube of a set, or on each plate: "10 1 0.1".
    tubes
        Tubes set up at each amount: "3 3 3".
    positives
        Tubes that turned: "3 1 1".
    colonies
        Colonies on each plate, in place of tubes.
    """
    from aerobe.usecases.safety import note_indicator_test

    entry = IndicatorTest(
        brew=brew,
        germ=germ,
        amounts_ml=numbers_of(amounts),
        tubes=whole_numbers(tubes),
        positives=whole_numbers(positives),
        colonies=whole_numbers(colonies),
    )
    with where.open(create=False) as book:
        found = note_indicator_test(book, entry, now=now())
    say(found, as_json=where.json, text=[f"{found.state}.", found.why, found.next_step])
    return 0 if found.state == "shown to pass" else NOT_SETTLED


__all__ = ["app"]
