"""Gates between a harvested tea and the ground: what the rules say of each way in, how it is put on, and when."""

from __future__ import annotations

from dataclasses import replace

from aerobe.safety._facts import BrewFacts, Gate, open_gate, shut_gate, unshown_gate
from aerobe.safety._findings import FAILS, SHOWN
from aerobe.safety._gates import harvest_gates
from aerobe.safety._mist import mist_gates
from aerobe.safety._rule_clearance import ASKED, OPEN, Clearance, clearances
from aerobe.safety._rule_editions import edition_of
from aerobe.safety._rule_questions import question_of
from aerobe.safety._rule_table import rule_places
from aerobe.safety._rule_words import is_known_name, suggestions
from aerobe.safety._thresholds import DECIDE
from aerobe.safety._use_facts import TREATED, TREATED_A, UNKNOWN, UNTREATED, UseFacts

CHOICE = "aerobe-cautious-choice"
GERMS = {"salmonella": "Salmonella", "listeria": "Listeria monocytogenes", "e_coli_o157": "E. coli O157:H7"}
ENDS = {
    "food": "eaten",
    "breath": "smoked or steeped",
    "graze": "grazed",
    "people": "people on it",
    "nothing": "nothing eaten",
}


def use_gates(brew: BrewFacts, use: UseFacts) -> tuple[Gate, ...]:
    """Every gate between a tea and this use of it: the gates of the harvest, and those of the place.

    Parameters
    ----------
    brew
        What is known of the brew. [mg/L, h, degC]
    use
        What is known of the tea and the place. [d]

    Returns
    -------
    tuple of Gate
        The harvest gates but the compost's, which the tables judge with its use; spray drift, rules chosen, disease germs,
        answers against the name, the person's own rule, and one gate for each way in that is not ruled out.

    Notes
    -----
    All open means that nothing known stands against this use. It certifies nothing: local codes and licensed practice decide.

    Source
    ------
    cfr-21-112, cfr-7-205-203, nosb-2006, cfr-40-503, spray-labels
    """
    harvest = tuple(gate for gate in harvest_gates(brew) if gate.name != "compost history")
    if brew.compost == FAILS and use.tea in (TREATED, TREATED_A, UNKNOWN):
        use = replace(use, tea=UNTREATED)  # a heat log that fails is not mended by what is said of the treatment
    asked = (_rules_chosen(use), _germs(use), _against_the_name(use), _own_rule(use))
    return (*harvest, *mist_gates(use), *asked, *(_gate_of(found) for found in clearances(use)))


def _rules_chosen(use: UseFacts) -> Gate:
    name, known = "rules chosen", rule_places()
    if use.jurisdiction in known:
        return open_gate(name, f"Held against the rules on file for {use.jurisdiction}." + DECIDE, CHOICE)
    return unshown_gate(
        name,
        "No set of rules is chosen, or none is on file for that name.",
        f"Choose one of: {', '.join(known)}; for another place ask the local authority." + DECIDE,
        CHOICE,
    )


def _germs(use: UseFacts) -> Gate:
    name = "disease germs"
    found = [word for fact, word in GERMS.items() if getattr(use, fact) == FAILS]
    if found:
        return shut_gate(
            name,
            f"{' and '.join(found)} found in this tea or its compost. An indicator test that passes does not undo it.",
            "It does not open for this batch: back to a hot heap, away from food, children and animals; clean the gear." + DECIDE,
            "cfr-21-112",
        )
    return open_gate(name, "No disease germ is noted as found. That is no test for them.", "cfr-21-112")


def _against_the_name(use: UseFacts) -> Gate:
    name = "answers"
    against = [item for item in suggestions(use.crop) if getattr(use, item.fact) is False]
    if use.edible is False and not use.names_checked and not is_known_name(use.crop):
        return unshown_gate(
            name,
            f"'{use.crop}' is no name on file, and the answer is that nothing there is eaten.",
            "Look again: eaten, smoked, steeped, grazed? If the answers are right, say that they were looked at again.",
            CHOICE,
        )
    if not against or use.names_checked:
        return open_gate(name, "No answer goes against what the name suggests, or it was looked at again.", CHOICE)
    said = "; ".join(f"'{item.word}' suggests yes to: {question_of(item.fact).asks}" for item in against)
    return unshown_gate(
        name, f"Answered no, yet {said}", "Correct the answer; if it is right, say that the answers were looked at again.", CHOICE
    )


def _own_rule(use: UseFacts) -> Gate:
    name = "own rule"
    if use.own_test and SHOWN not in (use.e_coli, use.enterococci):
        return unshown_gate(
            name, "Your own rule asks for a passed test; none is shown.", "Test a sample of this very batch." + DECIDE, CHOICE
        )
    return open_gate(name, "Your own rule asks for nothing more, or is kept.", CHOICE)


def _gate_of(found: Clearance) -> Gate:
    """One way in as a gate: the cell that decides, its paragraph, and what to answer."""
    name, best = ENDS[found.end], found.deciding
    cited = "" if best.cell is None else f" [{edition_of(best.cell.rule).title}: {best.cell.paragraph}]."
    counts = " ".join(dict.fromkeys(cell.says for cell in found.status)) if len(found.status) == 1 else ""
    why = f"{counts} {best.says}{cited}".strip()
    if found.state == ASKED and found.asks:
        why = f"An open question may bring it under this rule: {best.says}{cited}"
    sources = tuple(dict.fromkeys(edition_of(item.cell.rule).source for item in found.cells if item.cell is not None)) or (
        CHOICE,
    )
    if found.state == OPEN:
        return open_gate(name, why + DECIDE, *sources)
    asks = [question_of(fact).asks for fact in found.asks]
    how = f"Answer: {' '.join(asks)}" if asks else "Another tea, another place, more days, or kept off what is eaten."
    return (unshown_gate if found.state == ASKED else shut_gate)(name, why, how + DECIDE, *sources)
