"""Commands of safe use: gates, compost history, indicator tests, water and gear, advice before a use and the record of it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import App, Parameter

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, OWN, Where, now, say, table, then
from aerobe.cli._safety_rules import germ, material, own_rule, rules
from aerobe.cli._safety_words import (
    answer_lines,
    caution_lines,
    gate_lines,
    hazard_lines,
    numbers_of,
    source_line,
    text_of,
    whole_numbers,
)
from aerobe.errors import UnusableReading, UnusableRecord
from aerobe.units import VOLUME, parse_number
from aerobe.usecases.safety import DECIDES, IndicatorTest, UseEntry

app = App(name="safety", help="Gates, compost rules, tests, water, cautions; may this tea go there?")

for command in (material, germ, own_rule, rules):
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
    from aerobe.usecases.safety import cautions_for, gates_as_data, gates_of_brew

    with where.open(create=False) as book:
        found = gates_of_brew(book, brew, now=now())
    warned = cautions_for("harvest")
    text = [*gate_lines(found), DECIDES, *caution_lines(warned)]
    say({**gates_as_data(found), "cautions": warned}, as_json=where.json, text=text)
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


@app.command
def water(recipe: str, e_coli: str, /, *, where: Where = OWN) -> None:
    """Keep whether E. coli was found in 100 mL of a recipe's water.

    Parameters
    ----------
    recipe
        Key of the recipe.
    e_coli
        found or none.
    """
    from aerobe.usecases.safety import note_water_test

    if e_coli not in ("found", "none"):
        raise UnusableRecord(f"'{e_coli}' is no outcome.", "Write found or none.")
    with where.open(create=False) as book:
        receipt = note_water_test(book, recipe, e_coli_found=e_coli == "found", now=now())
    said = f"Kept: E. coli {'was' if e_coli == 'found' else 'was not'} found in 100 mL of the water of '{recipe}'."
    say(receipt, as_json=where.json, text=said)


@app.command
def chlorine(*, water: str, chlorine: str, chloramine: str = "not known", json: JSON_ONLY = False) -> None:
    """How much takes the chlorine out of water.

    Parameters
    ----------
    water
        Water with unit: "20 L".
    chlorine
        Total chlorine in mg/L, from a strip or the supplier.
    chloramine
        yes, no or "not known", which counts as yes.
    """
    from aerobe.usecases.safety import cautions_for, take_out_chlorine

    if chloramine not in ("yes", "no", "not known"):
        raise UnusableRecord(f"'{chloramine}' is neither yes nor no.", "Ask the supplier; leave it out if it is not known.")
    known = {"yes": True, "no": False}.get(chloramine)
    found = take_out_chlorine(
        water_l=VOLUME.read(water), chlorine_mg_per_l=parse_number(chlorine.removesuffix("mg/L").strip()), chloramine=known
    )
    lines = [f"Chlorine in the water: {found.chlorine_mg:.3g} mg."]
    if found.ascorbic_acid_mg is not None:
        lines.append(f"Ascorbic acid: {found.ascorbic_acid_mg:.3g} mg; or")
        lines.append(f"Sodium ascorbate: {found.sodium_ascorbate_mg:.3g} mg; or")
    least, most = found.thiosulphate_least_mg, found.thiosulphate_most_mg
    lines.append(f"Sodium thiosulphate: {least:.3g} mg to start with, {most:.3g} mg (pentahydrate) at most.")
    warned = cautions_for("chemicals")
    say(found, as_json=json, text=[*lines, *found.advice, *source_line(found.sources), *caution_lines(warned)])


@app.command
def sanitise(*, bath: str, bleach: str, json: JSON_ONLY = False) -> None:
    """How much bleach makes a bath for clean gear.

    Parameters
    ----------
    bath
        Water with unit: "10 L".
    bleach
        Available chlorine of the bleach in percent, from its label.
    """
    from aerobe.usecases.safety import cautions_for, sanitising_bath

    found = sanitising_bath(bath_l=VOLUME.read(bath), bleach_percent=parse_number(bleach.removesuffix("%").strip()))
    head = f"Bleach: {found.bleach_ml:.3g} mL, which makes {found.strength_mg_per_l:g} mg/L of chlorine."
    warned = cautions_for("sanitising")
    say(found, as_json=json, text=[head, *found.steps, *source_line(found.sources), *caution_lines(warned)])


@app.command
def lab(limit: str, /, *, count: str = "", portions: str = "", found: str = "", finds: str = "", json: JSON_ONLY = False) -> int:
    """A laboratory's result against a limit on file. Exit code 4: not shown to pass.

    Parameters
    ----------
    limit
        Key of the limit, from `aerobe safety limits`.
    count
        Point value, low and high: "75 17 200".
    portions
        Counts of the portions of a batch: "0 10 120 0 0".
    found
        For presence: yes or no.
    finds
        For presence: the least amount that the method can find.
    """
    from aerobe.usecases.safety import check_laboratory

    if found not in ("", "yes", "no"):
        raise UnusableRecord(f"'{found}' is neither yes nor no.", "Write yes, no, or leave it out if it was not tested.")
    numbers = numbers_of(count)
    if numbers and len(numbers) != 3:
        raise UnusableReading(f"'{count}' is no count with its interval.", 'Write point value, low and high: "75 17 200".')
    finding = check_laboratory(
        limit,
        count=(numbers[0], numbers[1], numbers[2]) if numbers else None,
        portions=numbers_of(portions) or None,
        detected={"yes": True, "no": False}.get(found),
        finds=parse_number(finds) if finds else None,
    )
    say(finding, as_json=json, text=[f"{finding.state}.", finding.why, finding.next_step])
    return 0 if finding.state == "shown to pass" else NOT_SETTLED


@app.command
def mix(*, amount: str, parts: str, json: JSON_ONLY = False) -> None:
    """Tea and water for a wanted amount of mix.

    Parameters
    ----------
    amount
        Mix wanted, with unit: "10 L".
    parts
        Parts of water to one of tea: 4 for 1:4.
    """
    from aerobe.usecases.safety import mix_of

    tea, added = mix_of(mix_l=VOLUME.read(amount), parts=parse_number(parts))
    say({"tea_l": tea, "water_l": added}, as_json=json, text=f"{tea:.3g} L of tea and {added:.3g} L of water.")


@app.command
def cautions(*occasions: str, full: bool = False, json: JSON_ONLY = False) -> None:
    """The cautions of an occasion, or all.

    Parameters
    ----------
    occasions
        brewing, harvest, spraying, pouring, edible, compost, chemicals, sanitising, re-aeration, sampling.
    full
        The full texts.
    """
    from aerobe.usecases.safety import cautions_for

    found = cautions_for(*occasions)
    say(found, as_json=json, text=[f"- {item.full if full else item.short}" for item in found])


@app.command
def limits(*, json: JSON_ONLY = False) -> None:
    """Every limit and compost rule on file, with source and date."""
    from aerobe.usecases.safety import safety_limits

    found = safety_limits()
    rows = [(item.key, f"{item.value:g} {item.unit}", item.source, item.date) for item in found["limits"]]
    rules = [(item.key, item.jurisdiction, item.source, item.date) for item in found["compost_rules"]]
    text = [*table(("limit", "value", "source", "date"), rows), ""]
    text += [*table(("compost rule", "place", "source", "date"), rules), DECIDES]
    say(found, as_json=json, text=text)


@app.command
def hazards(*, json: JSON_ONLY = False) -> None:
    """The register of hazards: what can hurt whom, the caution, and where the tool decides on it or shows it."""
    from aerobe.usecases.safety import hazards as registered

    found = registered()
    say(found, as_json=json, text=[line for hazard in found for line in hazard_lines(hazard)] + [DECIDES])


@app.command
def sampling(at: str = "", /, *, json: JSON_ONLY = False) -> None:
    """Sampling and handling, step by step.

    Parameters
    ----------
    at
        vessel, way or bench; without it all.
    """
    from aerobe.usecases.safety import cautions_for, how_to_sample

    steps, warned = how_to_sample(at), cautions_for("sampling")
    lines = [f"{place}. [{step.where}] {step.do} {step.why} ({step.source})" for place, step in enumerate(steps, start=1)]
    say({"steps": steps, "cautions": warned}, as_json=json, text=[*lines, *caution_lines(warned)])


__all__ = ["app"]
