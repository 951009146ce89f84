"""What the name of a crop suggests. A name decides nothing: it fills in a suggestion, and an answer against it is asked again."""

from __future__ import annotations

import re
from dataclasses import dataclass

from aerobe.safety._thresholds import tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """What a name suggests for one question."""

    fact: str  # name of the field in `UseFacts`
    word: str  # the word that suggests it
    answer: bool


def suggestions(crop: str) -> tuple[Suggestion, ...]:
    """What the words of a crop or a place suggest, each question once."""
    found: dict[str, Suggestion] = {}
    text = _plain(crop)
    for group in tables("crop_words").values():
        if any(f" {word} " in text for word in group.get("but_not", ())):
            continue
        word = next((word for word in group["words"] if f" {word} " in text), None)
        if word is not None:
            for fact in group["suggests"]:
                found.setdefault(fact, Suggestion(fact=fact, word=word, answer=True))
    return tuple(found.values())


def is_known_name(crop: str) -> bool:
    """Whether some word of a name tells what it is: eaten, smoked, grazed, sat on, or none of these.

    Words that only say where it stands tell nothing, and neither does an empty name: then there is nothing to be in doubt about.
    """
    words = tables("plain_names")
    text = _plain(crop)
    if set(text.split()) <= set(words["where"]["words"]):
        return True
    return bool(suggestions(crop)) or any(f" {word} " in text for word in words["not-eaten"]["words"])


def on_the_list(crop: str) -> bool:
    """Whether a name stands on the exhaustive list of crops rarely eaten raw, with no other crop beside it.

    Source
    ------
    cfr-21-112: 112.2(a)(1)
    """
    rest = text = _plain(crop)
    for word in sorted(tables("crop_words")["rarely-raw"]["words"], key=len, reverse=True):
        rest = rest.replace(f" {word} ", " ")
    return rest != text and not any(item.fact in ("edible", "seedling") for item in suggestions(rest))


def animal_material(text: str) -> bool:
    """Whether the name or the origin of a compost, in words, names animal material."""
    plain = _plain(text)
    kinds = tables("additive_words")["compost"]
    if set(plain.split()) & set(kinds["denied"]):
        return False
    for phrase in kinds["but_not"]:
        plain = plain.replace(f" {phrase} ", " ")
    return any(f" {word} " in plain for word in kinds["words"])


def animal_additive(foods: tuple[str, ...]) -> bool | None:
    """Whether any food of a brew is of animal origin, by its name; None where a name tells nothing.

    Source
    ------
    cfr-21-112: 112.3
    """
    kinds = tables("additive_words")
    named = [set(re.findall(r"[a-z]+", food.lower())) for food in foods]
    if any(words & set(kinds["animal"]["words"]) for words in named):
        return True
    return False if all(words & set(kinds["plant"]["words"]) for words in named) else None


def _plain(text: str) -> str:
    """Lower case words between single blanks, so that a phrase is found as a whole."""
    return " " + " ".join(re.findall(r"[^\W\d_]+", text.lower())) + " "
