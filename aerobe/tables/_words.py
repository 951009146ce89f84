"""Names of columns as people and instruments write them, in several languages, and which meaning each suggests."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from importlib.resources import files

WORDS = tomllib.loads(files("aerobe.tables").joinpath("words.toml").read_text(encoding="utf-8"))
_NAMES = tuple((item["field"], float(item["score"]), re.compile(item["pattern"])) for item in WORDS["names"])
_NO_PROBE = (
    r"change|rate|demand|uptake|saturation level|consum|bod|cod|flow|delta|zehrung|verbrauch|set ?point|target|soll|nominal|"
    r"air temp|ambient|room|outside|luft"
)
_NOT_CHANNEL = re.compile(_NO_PROBE)


def folded_name(name: str) -> str:
    """A name without case, accents and marks, for comparing."""
    text = name.strip()
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text) if not re.search(r"\bpH\b", text) else text  # camelCase
    text = text.lower()
    for letter, plain in (("\u00e4", "ae"), ("\u00f6", "oe"), ("\u00fc", "ue"), ("\u00df", "ss")):
        text = text.replace(letter, plain)
    text = "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))
    return re.sub(r"[^a-z0-9#]+", " ", text).strip()


def meanings_of(name: str) -> dict[str, float]:
    """Every meaning that a name suggests, with its score (0 to 1)."""
    folded = folded_name(name)
    found: dict[str, float] = {}
    for field, score, pattern in _NAMES:
        if score > found.get(field, 0.0) and pattern.fullmatch(folded):
            found[field] = score
    if _NOT_CHANNEL.search(folded):
        for field in ("oxygen", "temperature"):
            found.pop(field, None)
    return found


# What may stand before a bare unit and leaves open what was measured.
_OPEN_NAME = re.compile(
    r"((water|wasser|eau|agua|tea|probe|sensor|sonde|channel|kanal|ch|meter|reading|value|wert|tank|vessel|bucket|barrel|brew|jar|"
    r"logger|port|input|ai|log|avg|mean|min|max|left|right|top|bottom|kessel|fass|eimer|becken) ?)*([a-z]?\d*|[a-z])"
)


def says_otherwise(words: str, field: str) -> bool:
    """Whether a name beside a unit of oxygen or temperature speaks of something else: `TDS (mg/L)`, `Room (degC)`."""
    folded = folded_name(words)
    if _NOT_CHANNEL.search(folded):
        return True
    bare = re.sub(r"[ _]?\d+$", "", folded)  # `DO1` beside `DO2`
    return field == "oxygen" and _OPEN_NAME.fullmatch(folded) is None and field not in meanings_of(bare)


MEAN_WORDS = re.compile(
    r"\b(means?|average|avg|pooled|mittelwert|mittel|moyenne|promedio|total|sum|summe|sd|stdev|"
    r"std dev|standard deviation|median|\u00f8)\b"
)
# A label that is nothing but such a word; `Max` is also a name, so it is asked about like the others.
_SUM_ALONE = re.compile(
    r"(grand |overall |sub ?)?(max(imum|imo|imal\w*)?|min(imum|imo|imal\w*)?|range|spannweite|count|anzahl|var(iance|ianz)?|"
    r"cv|rsd|std|ecart type|moy|durchschnitt|gesamt|suma?|somme|totaal|gemiddelde|geo ?mean|geomean)"
    r"( (of )?(all|values?|column|brews?|tanks?))?( \d+)?"
)


def sums_up(text: str) -> bool:
    """Whether a label is nothing but the name of a sum, a mean or an end of a range: stricter than `names_mean`."""
    folded = folded_name(text)
    return bool(_SUM_ALONE.fullmatch(folded) or MEAN_WORDS.fullmatch(folded))


_KILLED = re.compile(
    r"\b(killed|kill|autoclaved?|heat killed|steriliz?s?ed|sterile|formalin|azide|dead|abiotic|abgetoetet|"
    r"autoklaviert|steril|tue|abiotique|mort)\b"
)
_BLANK = re.compile(
    r"\b(blank|blk|leerwert|blanc|blanco|negative( control)?|no ?template|ntc|reagent blank|"
    r"water blank|media? blank|nullprobe|blindwert)\b"
)
_STANDARD = re.compile(r"\b(std ?\d|standard ?\d|calibrat(or|ion)|cal ?\d|beads?|qc|kalibrier\w*)\b")
_FILTERED = re.compile(r"\b(filtered|filtrate|filtered blank|filtrat|filtriert)\b")
_SPIKE = re.compile(r"\b(spiked?|aufgestockt)\b")


def role_in(text: str) -> str:
    """The role of a reading that a label names by the way (`kelp, killed`), or empty."""
    folded = folded_name(text)
    for role, pattern in (
        ("killed control", _KILLED),
        ("filtered blank", _FILTERED),
        ("blank", _BLANK),
        ("spike", _SPIKE),
        ("standard", _STANDARD),
    ):
        if pattern.search(folded):
            return role
    return ""


def without_role(text: str) -> str:
    """A label without the words that name its role: `kelp, killed` gives `kelp`."""
    rest = folded_name(text)
    for pattern in (_KILLED, _FILTERED, _BLANK, _SPIKE, _STANDARD):
        rest = pattern.sub(" ", rest)
    return " ".join(re.sub(r"\b(control|ctrl|kontrolle|sample|of)\b", " ", rest).split())


def names_mean(text: str) -> bool:
    """Whether a label names a mean, a sum or a spread of other rows."""
    folded = folded_name(text)
    return bool(MEAN_WORDS.search(text.lower().replace("_", " ")) or _SUM_ALONE.fullmatch(folded))
