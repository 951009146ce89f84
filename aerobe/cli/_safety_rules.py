"""Commands on the rules of use: what a compost was made of, germs that were found, a stricter rule of one's own, the tables."""

from __future__ import annotations

from aerobe.cli._common import JSON_ONLY, OWN, Where, now, say
from aerobe.usecases.safety import DECIDES


def material(compost: str, /, *, made_of: str = "", certificate: str = "", soiled: str = "", where: Where = OWN) -> None:
    """Keep what a compost was made of, what a certificate says of its process, and whether it was soiled again.

    Parameters
    ----------
    compost
        Key of the compost.
    made_of
        With commas: plants, manure, food waste, fish or animal, sewage sludge, human waste.
    certificate
        112.55(a), 112.55(b), class A or class B.
    soiled
        Soiled after its heating, or mixed with raw manure: yes or no.
    """
    from aerobe.usecases.safety import material_of, note_material

    with where.open(create=False) as book:
        note_material(book, compost, made_of=made_of, certificate=certificate, soiled=soiled, now=now())
        kept = material_of(book, compost)
    word = {True: "yes", False: "no", None: "not known"}[kept.soiled]
    made = f"Kept. Made of: {', '.join(kept.made_of) or 'not known'}; certificate: {kept.certificate or 'none'}"
    say(kept, as_json=where.json, text=[f"{made}; soiled again: {word}.", DECIDES])


def germ(brew: str, name: str, outcome: str, /, *, where: Where = OWN) -> None:
    """Keep what a laboratory found in a brew or in its compost. A germ that was found is not undone.

    Parameters
    ----------
    brew
        Key of the brew.
    name
        Salmonella, Listeria or "E. coli O157:H7".
    outcome
        found, or "not found".
    """
    from aerobe.usecases.safety import note_germ

    with where.open(create=False) as book:
        receipt = note_germ(book, brew, name, outcome, now=now())
    text = "Kept. This batch is held back: back to a hot heap." if outcome == "found" else "Kept. It speaks for that sample only."
    say(receipt, as_json=where.json, text=[text, DECIDES])


def own_rule(*, days: str = "", test: str = "", where: Where = OWN) -> None:
    """Keep a stricter rule of your own or of a buyer for this notebook; without options, show it.

    Parameters
    ----------
    days
        Least days before harvest, grazing or people; 0 for none. [d]
    test
        No use without a passed test: yes or no.
    """
    from aerobe.usecases.safety import own_rule_of, set_own_rule

    with where.open() as book:
        if days or test:
            old_days, old_test = own_rule_of(book)
            set_own_rule(book, days=days or f"{old_days:g}", test=test or ("yes" if old_test else "no"), now=now())
        found = own_rule_of(book)
    text = f"Your own rule: {found[0]:g} d at least; a passed test is {'asked' if found[1] else 'not asked'}."
    say({"days": found[0], "test": found[1]}, as_json=where.json, text=[text, DECIDES])


def rules(place: str = "elsewhere", /, *, json: JSON_ONLY = False) -> None:
    """The decision tables of a place: every cell with its paragraph, every rule with its edition and when it was read.

    Parameters
    ----------
    place
        One of the places on file.
    """
    from aerobe.usecases.safety import rule_book

    book = rule_book(place, now=now())
    text = [f"{book.place}. On file: {', '.join(book.places)}.", DECIDES]
    for table in book.tables:
        text += ["", f"{table.title}{' (organic certificate)' if table.organic else ''}"]
        text += [table.missing] if table.missing else []
        text += [f"  [{answer}] {cell}: {fits}. {says} ({paragraph})" for cell, fits, answer, says, paragraph in table.rows]
    text += ["", "Editions"]
    text += [f"  {title}: {edition}; {amended}; read {read}; {more}" for title, edition, amended, read, more in book.editions]
    say(book, as_json=json, text=text)
