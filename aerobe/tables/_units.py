"""Units as headers write them: in brackets, behind a comma, as `_mg_per_L`, as `mL-1`, with a power of ten before."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from aerobe.errors import NotAQuantity
from aerobe.tables._words import WORDS, meanings_of
from aerobe.units import (
    BIOMASS,
    BIOMASS_PER_GRAM,
    CONDUCTIVITY,
    COUNT,
    COUNT_PER_GRAM,
    DOSE,
    ELAPSED,
    OXYGEN,
    OXYGEN_PERCENT,
    PH,
    SALINITY,
    TEMPERATURE,
    Kind,
)

CHANNEL_KINDS: dict[str, tuple[Kind, ...]] = {
    "oxygen": (OXYGEN, OXYGEN_PERCENT),
    "temperature": (TEMPERATURE,),
    "pH": (PH,),
    "conductivity": (CONDUCTIVITY,),
    "salinity": (SALINITY,),
}
RESULTS = (COUNT, BIOMASS, COUNT_PER_GRAM, BIOMASS_PER_GRAM)
LONGEST_NAME = 160
DIMENSIONLESS = ("OD", "absorbance", "NTU", "FNU", "FTU", "RLU", "RFU", "AU")

# Words for units that headers use beside the accepted ones: folded, and as the house writes them.
_ALIASES: dict[str, str] = WORDS["units"]
_OF_A_SOLID = re.compile(r"(/\d*k?g)\(?(?:dw|dm|dwt|fw|ww|ts|tm|fm|dry|fresh|wet|moist|soil|compost|kompost|boden)[a-z]*\)?$")
_TENS = {
    "million": 1e6,
    "millions": 1e6,
    "mio": 1e6,
    "mio.": 1e6,
    "mill.": 1e6,
    "thousand": 1e3,
    "tsd": 1e3,
    "billion": 1e9,
    "mrd": 1e9,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit as understood: its name in the house, a factor that stands before it, and whether values are logarithms."""

    name: str
    factor: float = 1.0
    log10: bool = False

    @property
    def kinds(self) -> tuple[str, ...]:
        """What may be measured in it: fields such as elapsed, oxygen, value."""
        return _kinds(self.name)


@lru_cache(maxsize=4096)
def unit_of(text: str) -> Unit | None:
    """A unit out of its text; None if it is none that is known."""
    shown = text.strip().strip("[]()").strip()
    if not shown or len(shown) > 40:
        return None
    log = re.fullmatch(r"log_?\s*(?:10|\u2081\u2080)?\s*[\s(]\s*(.+?)\)?", shown, re.IGNORECASE)
    if log:
        inner = unit_of(log[1])
        return None if inner is None or inner.log10 else Unit(name=inner.name, factor=inner.factor, log10=True)
    power = re.fullmatch(
        r"(?:x|\u00d7|\*)?\s*(?:10\s*\^?\s*(\d{1,2})|1?[eE]\+?(\d{1,2}))\s*(?:x|\*)?\s*([^\d].*)", _plain_powers(shown)
    )
    if power:
        inner = unit_of(power[3])
        return None if inner is None else Unit(name=inner.name, factor=10.0 ** int(power[1] or power[2]), log10=inner.log10)
    first, _, rest = shown.partition(" ")
    if first.lower() in _TENS and rest:
        inner = unit_of(rest)
        return None if inner is None else Unit(name=inner.name, factor=_TENS[first.lower()])
    name = _name(shown)
    return Unit(name=name) if name else None


def _plain_powers(text: str) -> str:
    return re.sub(
        "[\u2070\u00b9\u00b2\u00b3\u2074-\u2079]",
        lambda match: str("\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079".index(match[0])),
        text,
    )


_EVERY: dict[str, str] = {}
for _kind in (ELAPSED, OXYGEN, OXYGEN_PERCENT, TEMPERATURE, CONDUCTIVITY, SALINITY, *RESULTS, DOSE):
    for _unit in _kind.accepts:
        _EVERY.setdefault(_unit.replace(" ", "").lower(), _unit)
_EVERY["ph"] = "pH"


def _name(text: str) -> str:
    folded = (
        text.replace("\u00b5", "u").replace("\u03bc", "u").replace("\u00b0", "deg").replace("\u00b7", " ").replace("\u22c5", " ")
    )
    folded = folded.replace("\u207b\u00b9", "-1").replace("\u00b2", "2").replace("\u00b3", "3").replace("\u2082", "2")
    folded = re.sub(r"[_\s]per[_\s]", "/", folded, flags=re.IGNORECASE).replace("_", " ")
    folded = re.sub(r"[\s.]*\b(100\s*)?([A-Za-z]+\d?)\s*\^?\s*[-\u2212]\s*1\b", r"/\1\2", folded)
    tight = re.sub(r"\s+", "", folded).lower()
    if tight.startswith("/") and tight not in _EVERY:
        tight = tight.lstrip("/")
    tight = _OF_A_SOLID.sub(r"\1", tight)
    tight = re.sub(r"^(?:kbe|ufc|kve)(?=/)", "cfu", re.sub(r"^(?:npp|nmp)(?=/)", "mpn", tight))
    tight = _ALIASES.get(tight, tight)
    if tight in _EVERY.values() or tight in DIMENSIONLESS:
        return tight
    return _EVERY.get(tight.lower().replace(" ", ""), "")


@lru_cache(maxsize=1024)
def _kinds(name: str) -> tuple[str, ...]:
    found = []
    for field, kinds in (("elapsed", (ELAPSED,)), *CHANNEL_KINDS.items(), ("value", RESULTS), ("dose", (DOSE,))):
        if any(_fits(kind, name) for kind in kinds):
            found.append(field)
    if name in DIMENSIONLESS:
        found.append("value")
    return tuple(found)


def _fits(kind: Kind, unit: str) -> bool:
    try:
        kind.convert(7.0, unit)
    except NotAQuantity:
        return False
    return True


def channel_kind(field: str, unit: str) -> Kind | None:
    """The kind of quantity of a channel in this unit, or None if the unit does not fit the channel."""
    return next((kind for kind in CHANNEL_KINDS[field] if _fits(kind, unit)), None)


def _fits_letter(words: str, unit: Unit) -> bool:
    """Whether a single letter behind a name is its unit: `Temp C` and `time h`, but `Plain C` and `tank d` are names."""
    meant = meanings_of(words).keys() | ({"elapsed"} if "time" in meanings_of(words) else set())
    return bool(meant & set(unit.kinds))


def split_header(header: str) -> tuple[str, str, Unit | None]:
    """A header's words, its unit as written, and the unit as understood (None: none, or none that is known)."""
    text = header.strip()
    if len(text) > LONGEST_NAME:
        return text, "", None  # no name of a column; what follows would look through it for longer than anybody waits
    whole = unit_of(text)
    if whole is not None and len(text) > 1:
        return re.split(r"[\s_]*(?:/|_per_| per )", text, maxsplit=1)[0], text, whole
    inside = re.fullmatch(r"(.*?)[\s_]*[(\[{]\s*([^)\]}]*?(?:\([^)]*\))?[^)\]}]*?)\s*[)\]}]\s*(.*)", text)
    if inside and inside[2] and not inside[3] and unit_of(inside[2]) is None and (unit := unit_of(inside[1])) is not None:
        return inside[1], inside[1], unit  # `cells/mL (mean of three)`
    if inside and inside[2]:
        return f"{inside[1]} {inside[3]}".strip(), inside[2], unit_of(inside[2])
    for mark in (",", "/ ", " in ", " - ", ":"):
        head, found, tail = text.rpartition(mark)
        if found and head.strip() and (unit := unit_of(tail)) is not None:
            return head.strip(), tail.strip(), unit
    words = [word for word in re.split(r"[\s_]+", text) if word]
    for count in range(min(5, len(words) - 1), 0, -1):
        tail = " ".join(words[-count:])
        joined = re.sub(r"\s+per\s+", "/", f" {tail} ").strip()
        unit = unit_of(joined) or unit_of(tail)
        if unit is not None and (len(tail) > 1 or _fits_letter(" ".join(words[:-count]), unit)):
            return " ".join(words[:-count]), tail, unit
    for count in range(min(3, len(words) - 1), 0, -1):
        first = " ".join(words[:count])
        if "/" in first and (unit := unit_of(first)) is not None:  # `CFU/g compost`
            return f"{first.partition('/')[0]} {' '.join(words[count:])}", first, unit
    return text, "", None
