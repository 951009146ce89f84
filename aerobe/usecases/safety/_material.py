"""What a compost was made of and what was found in it, kept beside its record; and a stricter rule of one's own."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from aerobe.errors import UnusableRecord
from aerobe.notebook import Notebook, Receipt
from aerobe.records import Brew, Compost, Recipe, from_plain
from aerobe.safety import CERTIFICATES, FAILS, NOT_SHOWN, SHOWN
from aerobe.units import parse_number
from aerobe.usecases.brews._behind_code import composts_in_question, recipes_in_question
from aerobe.usecases.safety._place_entry import made_of as read_made_of
from aerobe.usecases.safety._place_entry import number_or_none, yes_or_no

GERM_FACTS = {"Salmonella": "salmonella", "Listeria": "listeria", "E. coli O157:H7": "e_coli_o157"}
OUTCOMES = ("found", "not found")


@dataclass(frozen=True, slots=True, kw_only=True)
class CompostNotes:
    """What is noted of a compost beside its heating."""

    made_of: tuple[str, ...] = ()
    certificate: str = ""
    soiled: bool | None = None


def note_material(
    notebook: Notebook,
    compost: str,
    *,
    now: datetime,
    made_of: str = "",
    certificate: str = "",
    soiled: str = "",
    who: str = "",
    token: str = "",
) -> Receipt:
    """Keep what a compost was made of, what a certificate says of its process, and whether it was soiled again.

    Parameters
    ----------
    notebook
        The open notebook.
    compost
        Key of the compost.
    now
        Time of the entry.
    made_of
        Some of the materials on file, with commas; empty leaves what was noted before.
    certificate
        112.55(a), 112.55(b), class A or class B; empty leaves it.
    soiled
        yes or no; empty leaves it.
    who
        Who enters it.
    token
        Name of this entry: sent twice, kept once.

    Raises
    ------
    UnusableRecord
        If a word is not on file; then nothing is written.
    """
    notebook.get(Compost, compost)
    before = material_of(notebook, compost)
    if certificate.strip() and certificate.strip() not in CERTIFICATES:
        raise UnusableRecord(f"'{certificate}' is no certificate on file.", f"Use one of: {', '.join(CERTIFICATES)}.")
    said = yes_or_no(soiled)
    kept = CompostNotes(
        made_of=read_made_of(made_of) or before.made_of,
        certificate=certificate.strip() or before.certificate,
        soiled=before.soiled if said is None else said,
    )
    return notebook.keep("compost material", compost, kept, at=now, who=who, token=token)


def material_of(notebook: Notebook, compost: str) -> CompostNotes:
    """What is noted of a compost; nothing where nothing was."""
    kept = notebook.latest("compost material", compost)
    return CompostNotes() if kept is None else from_plain(CompostNotes, kept.payload)


def note_germ(
    notebook: Notebook, brew: str, germ: str, outcome: str, *, now: datetime, who: str = "", token: str = ""
) -> Receipt:
    """Keep whether a laboratory found a disease germ in a brew or in its compost. One that was found is not undone.

    Raises
    ------
    UnusableRecord
        If germ or outcome is not on file.
    """
    notebook.get(Brew, brew)
    if germ not in GERM_FACTS or outcome not in OUTCOMES:
        raise UnusableRecord(
            f"'{germ}: {outcome}' is no finding of a germ.", f"Use one of {', '.join(GERM_FACTS)}, and found or not found."
        )
    return notebook.keep("disease germ", brew, {"germ": germ, "found": outcome == "found"}, at=now, who=who, token=token)


def germs_of(notebook: Notebook, brew: str) -> dict[str, str]:
    """The finding on each disease germ of a brew; not noted is not shown. Found in another tea of its compost is found here."""
    found = dict.fromkeys(GERM_FACTS.values(), NOT_SHOWN)
    for key in (brew, *_of_the_same_compost(notebook, brew)):
        for kept in notebook.kept("disease germ", key):
            fact = GERM_FACTS[str(kept.payload["germ"])]
            if kept.payload["found"]:
                found[fact] = FAILS
            elif key == brew and found[fact] != FAILS:
                found[fact] = SHOWN
    return found


def _of_the_same_compost(notebook: Notebook, brew: str) -> list[str]:
    composts = composts_in_question(notebook, notebook.get(Brew, brew))
    recipes = {item.key for item in notebook.find(Recipe) if item.compost in composts}
    # A finding in a brew behind a code stands for every compost that may be in it: for one alone it would tell which.
    return [item.key for item in notebook.find(Brew) if item.key != brew and recipes & recipes_in_question(notebook, item)]


def set_own_rule(notebook: Notebook, *, days: str, test: str, now: datetime, who: str = "") -> None:
    """Keep a stricter rule of one's own or of a buyer for the whole notebook: days, and whether a passed test is asked. [d]

    Raises
    ------
    UnusableRecord
        If the days are below zero.
    """
    number = number_or_none(days) or 0.0
    if not number >= 0.0:
        raise UnusableRecord(f"{number:g} is no number of days.", "Give days, or 0 for none.")
    notebook.set_setting("own rule days", f"{number:g}", at=now, who=who)
    notebook.set_setting("own rule test", "yes" if yes_or_no(test) else "no", at=now, who=who)


def own_rule_of(notebook: Notebook) -> tuple[float, bool]:
    """Days and test that a stricter rule of one's own asks for. [d]"""
    days = parse_number(str(notebook.setting("own rule days", "0")), decimal=".")  # written by the house
    return days, notebook.setting("own rule test", "no") == "yes"
