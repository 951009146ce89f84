"""Names across the columns: which quantity each holds, and whose."""

from __future__ import annotations

import re
from dataclasses import dataclass

from aerobe.tables._units import Unit, split_header
from aerobe.tables._words import folded_name, meanings_of, names_mean, says_otherwise

UNCLEAR = 0.6  # how sure it is that names of no known kind are those of brews
QUANTITIES: tuple[tuple[str, str], ...] = (
    ("oxygen", r"d ?o|o2|dissolved oxygen|oxygen|sauerstoff|oxygene|oxigeno"),
    ("temperature", r"temp(eratur(e|a)?)?|temperature"),
    ("pH", r"p ?h"),
    ("conductivity", r"ec|conductivity|leitfaehigkeit"),
    ("salinity", r"sal(inity|zgehalt|inite|inidad|inita)?"),
    ("OD", r"od ?\d{0,3}|optical density|abs(orbance)?( ?\d{3})?"),
    ("cells", r"cells?( count)?|zellen|zellzahl|cell density|cellules"),
    ("CFU", r"cfu|kbe|ufc|plate count|keimzahl"),
    ("MPN", r"mpn|npp"),
    ("biomass", r"biomass(e|a)?"),
    ("counts", r"counts?"),
    ("value", r"value|reading|signal|result"),
)


_KINDS_OF_LIFE = re.compile(
    r"bacteria|fungi|fungus|yeasts?|actinomycetes?|protozoa|ciliates?|flagellates?|amoebae?|nematodes?|total|active|living|dead|hyphae|"
    r"spores?|coliforms?|e coli|pseudomonas|trichoderma|salmonella|bakterien|pilze|bacteries|all|high|low|gram"
)


_PLACES = re.compile(
    r"(tank|brew|bucket|vessel|barrel|bottle|flask|tube|jar|batch|eimer|fass|flasche|"
    r"kessel|cuve|seau|vial|reactor|brewer|b|t|v)? ?#? ?"
    r"([a-h]|\d{1,3}|[a-h]\d{1,2}|\d[a-h])"
)


_REPEATS = re.compile(r"(rep(licate)?|repeat|wdh|wiederholung|r|dup(licate)?|trial|run|plate|count) ?#? ?(\d{1,2}|[a-c])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    place: int
    quantity: str
    label: str
    unit: str
    spread: bool


def split_name(place: int, name: str) -> Split | None:
    """A value's column as quantity and label: `OD tank 2` is OD of `tank 2`. None if its name has a meaning without a label."""
    text, shown, unit = split_header(name)
    folded = folded_name(text)
    spread = bool(re.search(r"(^| )(sd|se|sem|stdev|std dev|stabw)($| )", folded))
    folded = re.sub(r"(^| )(sd|se|sem|stdev|std dev|stabw|mean|avg)(?=$| )", " ", folded).strip()
    numbered = re.fullmatch(r"(do|temp|t|ph|ec|cond|sal)(\d{1,2})", folded)
    if numbered and unit is not None and (numbered[1] != "t" or "temperature" in unit.kinds):
        folded = f"{'temp' if numbered[1] == 't' else numbered[1]} {numbered[2]}"
    if unit is not None and "temperature" in unit.kinds and says_otherwise(text, "temperature"):
        return None
    found = meanings_of(text)
    strong = {
        field
        for field, score in found.items()
        if score >= 0.75
        and field
        not in (
            "value",
            "oxygen",
            "temperature",
            "pH",
            "conductivity",
            "salinity",
            "arm",
            "brew",
            "bottle",
            "block",
            "dose",
            "experiment",
            "replicate",
            "sd",
            "se",
        )
    }
    if strong:
        return None
    for quantity, pattern in QUANTITIES:
        match = re.fullmatch(rf"(?:({pattern}) (?P<behind>.+)|(?P<before>.+) ({pattern})|({pattern}))", folded)
        if match:
            label = match["behind"] or match["before"] or ""
            if re.fullmatch(
                r"(conc|concentration|sat|saturation|percent|pct|mg l|probe|sensor|level|water|tea|of|"
                r"log|log10|avg|corrected|raw)( .*)?",
                label,
            ):
                label = ""
            return Split(place=place, quantity=quantity, label=label, unit=_unit_name(shown, unit), spread=spread)
    if not folded or (unit is None and shown and meanings_of(text)):
        return None
    if found.keys() & {"arm", "brew", "bottle", "block", "experiment", "replicate", "dose"} and not (
        _PLACES.fullmatch(folded) or _REPEATS.fullmatch(folded)
    ):
        return None
    if found.keys() - {"arm", "brew", "bottle", "block", "experiment", "replicate", "dose"}:
        return None
    return Split(place=place, quantity="value", label=folded, unit=_unit_name(shown, unit), spread=spread)


def is_place(label: str) -> bool:
    """Whether a label is named as a vessel is: `Tank A`, `bucket 3`."""
    return bool(_PLACES.fullmatch(folded_name(label)))


def _unit_name(shown: str, unit: Unit | None) -> str:
    return shown if unit is not None or shown else ""


def likely_names(labels: list[str]) -> tuple[str, float, str]:
    if sum(1 for label in labels if _KINDS_OF_LIFE.search(label)) >= 0.5 * len(labels):
        return "quantities", 0.9, "their names are kinds of microbes"
    if all(_REPEATS.fullmatch(label) for label in labels):
        return "replicates", 0.4, "their names count repeats"
    if all(_PLACES.fullmatch(label) or names_mean(label) for label in labels):
        return "brews", 0.8, "their names are numbers or letters of vessels"
    stems = {re.sub(r"[\s_-]*(\d+|[a-h])$", "", label) for label in labels}
    if len(stems) < len(labels):
        return "brews", 0.75, "their names repeat with a number or letter"
    return "brews", UNCLEAR, "their names are no quantities"
