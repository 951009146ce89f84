"""Commands of safe use that stand by themselves: water and gear, laboratory results, mixing, cautions, limits and hazards."""

from __future__ import annotations

from aerobe.cli import NOT_SETTLED
from aerobe.cli._common import JSON_ONLY, OWN, Where, now, say, table
from aerobe.cli._safety_words import (
    caution_lines,
    hazard_lines,
    numbers_of,
    source_line,
)
from aerobe.errors import UnusableReading, UnusableRecord
from aerobe.units import VOLUME, parse_number
from aerobe.usecases.safety import DECIDES


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
    from aerobe.usecases.safety import cautions_for, dechlorinate

    if chloramine not in ("yes", "no", "not known"):
        raise UnusableRecord(f"'{chloramine}' is neither yes nor no.", "Ask the supplier; leave it out if it is not known.")
    known = {"yes": True, "no": False}.get(chloramine)
    found = dechlorinate(
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


def sanitise(*, bath: str, bleach: str, json: JSON_ONLY = False) -> None:
    """How much bleach makes a bath for clean gear.

    Parameters
    ----------
    bath
        Water with unit: "10 L".
    bleach
        Available chlorine of the bleach in percent, from its label.
    """
    from aerobe.usecases.safety import cautions_for, sanitise

    found = sanitise(bath_l=VOLUME.read(bath), bleach_percent=parse_number(bleach.removesuffix("%").strip()))
    head = f"Bleach: {found.bleach_ml:.3g} mL, which makes {found.strength_mg_per_l:g} mg/L of chlorine."
    warned = cautions_for("sanitising")
    say(found, as_json=json, text=[head, *found.steps, *source_line(found.sources), *caution_lines(warned)])


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


def limits(*, json: JSON_ONLY = False) -> None:
    """Every limit and compost rule on file, with source and date."""
    from aerobe.usecases.safety import safety_limits

    found = safety_limits()
    rows = [(item.key, f"{item.value:g} {item.unit}", item.source, item.date) for item in found["limits"]]
    rules = [(item.key, item.jurisdiction, item.source, item.date) for item in found["compost_rules"]]
    text = [*table(("limit", "value", "source", "date"), rows), ""]
    text += [*table(("compost rule", "place", "source", "date"), rules), DECIDES]
    say(found, as_json=json, text=text)


def hazards(*, json: JSON_ONLY = False) -> None:
    """The register of hazards: what can hurt whom, the caution, and where the tool decides on it or shows it."""
    from aerobe.usecases.safety import hazards as registered

    found = registered()
    say(found, as_json=json, text=[line for hazard in found for line in hazard_lines(hazard)] + [DECIDES])


def sampling(at: str = "", /, *, json: JSON_ONLY = False) -> None:
    """Sampling and handling, step by step.

    Parameters
    ----------
    at
        vessel, way or bench; without it all.
    """
    from aerobe.usecases.safety import cautions_for, sampling_steps

    steps, warned = sampling_steps(at), cautions_for("sampling")
    lines = [f"{place}. [{step.where}] {step.do} {step.why} ({step.source})" for place, step in enumerate(steps, start=1)]
    say({"steps": steps, "cautions": warned}, as_json=json, text=[*lines, *caution_lines(warned)])
