"""The tests that a table names, found in the notebook or written anew, each with an error on its own scale."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from aerobe.errors import NotAQuantity, NotFound
from aerobe.records import Assay, AssayError
from aerobe.tables import RowRead
from aerobe.units import BIOMASS, BIOMASS_PER_GRAM, COUNT, COUNT_PER_GRAM, number, same_unit

# 20 fg of carbon a bacterial cell. Source: lee-fuhrman-1987. Other factors in use differ twofold; a characterised assay
# replaces it, and its uncertainty belongs to the assay's scale.
UG_CARBON_PER_CELL = 2.0e-8
# One unit of optical density is somewhere between 8e8 small cells of 20 fg C (16 ug C/mL) and 0.36 g of dry matter a litre, half
# of it carbon (180 ug C/mL): common practice, no source. Ratios within one test do not need it.
UG_CARBON_PER_OD, OD_LOG_SD = 54.0, 0.74
_OPTICAL = ("OD", "absorbance")

_METHODS: tuple[tuple[str, str], ...] = (
    ("flow cyt", "flow cytometry"),
    ("facs", "flow cytometry"),
    ("cytomet", "flow cytometry"),
    ("dapi", "direct microscopy"),
    ("microscop", "direct microscopy"),
    ("direct count", "direct microscopy"),
    ("plate", "plate count"),
    ("cfu", "plate count"),
    ("kbe", "plate count"),
    ("ufc", "plate count"),
    ("mpn", "most probable number"),
    ("probable", "most probable number"),
    ("respir", "respiration"),
    ("co2", "respiration"),
    ("oxygen", "oxygen uptake"),
    ("turbid", "turbidity"),
    ("optical", "turbidity"),
    ("absorb", "turbidity"),
    ("fumig", "fumigation extraction"),
    ("colour", "colour test"),
    ("color", "colour test"),
)
# A mass that does not say carbon is one of microbes only where its name says so: `protein (ug/mL)` and `CO2 (mg/L)` are none.
_OF_LIFE = re.compile(
    r"bio ?mas|microb|mikrob|living|leben|carbon|kohlenstoff|c[ _]?mic|mbc|bacteri|bakteri|fung|pilz|yeast|value|wert|result|"
    r"reading|signal|kit|test|assay|imported|card",
    re.IGNORECASE,
)
_GRAZERS = re.compile(r"protozoa|ciliate|flagellate|amoeb|nematode|rotifer|grazer", re.IGNORECASE)
Where = tuple[str, str, str, str, str]


@dataclass(slots=True, kw_only=True)
class AssaysMade:
    """Assays that a table names: those that are new, and which key each of its methods and variables has."""

    new: list[Assay] = field(default_factory=list)
    keys: dict[Where, str | None] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)  # units that are none of microbes
    of_solids: list[str] = field(default_factory=list)  # units of what a gram of compost or soil holds

    def key_of(self, row: RowRead) -> str | None:
        """The assay of a row, or None if its quantity is none that an assay of microbes has."""
        return self.keys.get(_where(row))


def _where(row: RowRead) -> Where:
    return row.assay, row.method, row.variable, row.measured, row.unit


def label_of(row: RowRead) -> str:
    """What a table calls a test."""
    return row.assay or " ".join(filter(None, (row.method, row.variable or row.measured)))


def assays_of(rows: Sequence[RowRead], known: dict[str, Assay], *, default: str) -> AssaysMade:
    """The assay of each method and variable in a table; new ones where the notebook has none.

    Raises
    ------
    NotFound
        If the person named an assay that the notebook does not have.
    """
    made = AssaysMade()
    if default and default not in known:
        raise NotFound(f"The notebook has no assay '{default}'.", "Name one it has, or leave the table to name its own.")
    groups: dict[Where, list[RowRead]] = {}
    for row in rows:
        groups.setdefault(_where(row), []).append(row)
    measured = {row.measured for row in rows}
    for where, mine in groups.items():
        row = mine[0]
        named = row.assay or row.method or row.variable
        if row.assay in known:
            made.keys[where] = row.assay
        elif default and not named and len(measured) == 1:
            made.keys[where] = default  # the person's word for a table that names no test of its own
        else:
            label = label_of(row) or (f"imported {row.unit}".strip() if row.unit else "")
            made.keys[where] = _new_assay(row, label, mine, known, made) if label else default or None
    return made


def _new_assay(row: RowRead, label: str, rows: list[RowRead], known: dict[str, Assay], made: AssaysMade) -> str | None:
    factor, basis = to_house(row.unit)
    if basis == "mass" and " C/" not in row.unit and not _OF_LIFE.search(label):
        made.unknown.append(f"{row.unit} of '{label}'")
        return None
    if factor is None:
        (made.of_solids if is_of_solids(row.unit) else made.unknown).append(row.unit or "(no unit)")
        return None
    key = _slug(label if not _taken(label, row.unit, made) else f"{label} {row.unit}")
    if key in known:
        return key
    said = label.replace("_", " ")
    folded = f"{said} {row.unit}".lower()
    quantity = (
        "grazers" if _GRAZERS.search(said) else "fungi" if re.search(r"fung|yeast|pilz|hypha", folded) else _quantity(basis)
    )
    method = _method(folded) if basis != "optical" else "turbidity"
    assay = Assay(
        key=key, name=said, method=method, quantity=quantity, unit=row.unit, to_house=factor, error=_error_from(rows, basis)
    )
    if key in {item.key for item in made.new}:
        return key
    made.new.append(assay)
    if basis == "count" and quantity != "grazers":
        made.why[key] = "counts to carbon by 20 fg C a cell (lee-fuhrman-1987)"
        made.notes.append(
            f"'{said}' counts cells: 20 fg of carbon a cell is taken (Lee & Fuhrman 1987) until you characterise it."
            + (" Dead cells are counted too: it is no measure of living biomass." if _counts_dead(said, method) else "")
        )
    elif basis == "optical":
        made.why[key] = "optical density to carbon by a rough factor"
        made.notes.append(
            f"'{said}' is optical density: {number(factor, 2)} ug C/mL for one unit is a rough figure, to a factor of three "
            "either way (common practice, no source). Colour and fine compost count as cells: compare by ratio, and run a killed "
            "control."
        )
    elif quantity == "grazers":
        made.notes.append(
            f"'{said}' counts grazers: kept and shown; they are no biomass of bacteria or fungi, and a call does not use them."
        )
    if assay.error is not None:
        made.notes.append(
            f"'{said}': the spreads of the table give its error, {100 * assay.error.proportional_cv:.0f} % of a result."
        )
    return key


def _counts_dead(said: str, method: str) -> bool:
    """Whether a count takes in dead cells: by microscope or cytometer, unless its name says that only living ones are meant."""
    living = re.search(r"\b(live|living|viable|active|intact|lebend\w*)\b", said.lower())
    return method in ("flow cytometry", "direct microscopy") and living is None


def _taken(label: str, unit: str, made: AssaysMade) -> bool:
    return any(item.key == _slug(label) and not same_unit(item.unit, unit) for item in made.new)


def _quantity(basis: str) -> str:
    return "bacteria" if basis == "count" else "biomass"


def _error_from(rows: list[RowRead], basis: str) -> AssayError | None:
    """The error of results as the table's own spreads give it: relative, pooled; None where it gives none."""
    told = [
        (row.uncertainty / row.value, row.n)
        for row in rows
        if row.uncertainty is not None and row.value > 0.0 and row.uncertainty > 0.0
    ]
    if len(told) < 2:
        return None
    weight = sum(max(n - 1, 1) for _, n in told)
    cv = math.sqrt(sum(max(n - 1, 1) * share**2 for share, n in told) / weight)
    smallest = min(row.uncertainty for row in rows if row.uncertainty)
    wide = OD_LOG_SD if basis == "optical" else 0.4
    return AssayError(
        constant_sd=smallest,
        proportional_cv=min(cv, 3.0),
        gain_log_sd=wide,
        origin=f"spreads of {len(told)} results of the imported table",
    )


def to_house(unit: str) -> tuple[float | None, str]:
    """ug C/mL for one unit of a result, and whether it is a mass, a count or optical; None if it is no amount of microbes."""
    if unit in _OPTICAL:
        return UG_CARBON_PER_OD, "optical"
    try:
        return BIOMASS.convert(1.0, unit), "mass"
    except NotAQuantity:
        pass
    try:
        return COUNT.convert(1.0, unit) * UG_CARBON_PER_CELL, "count"
    except NotAQuantity:
        return None, ""


def is_of_solids(unit: str) -> bool:
    """Whether a unit speaks of a gram of compost or soil: no amount in a tea, whatever its density."""
    return any(unit in kind.accepts for kind in (COUNT_PER_GRAM, BIOMASS_PER_GRAM))


def _method(label: str) -> str:
    folded = label.replace("_", " ")
    return next((method for mark, method in _METHODS if mark in folded), "other")


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9.]+", "-", text.lower()).strip("-.")[:80] or "unnamed"
