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
    text = " " + " ".join(re.findall(r"[a-z]+", crop.lower())) + " "
    for group in tables("crop_words").values():
        if any(f" {word} " in text for word in group.get("but_not", ())):
            continue
        word = next((word for word in group["words"] if f" {word} " in text), None)
        if word is not None:
            for fact in group["suggests"]:
                found.setdefault(fact, Suggestion(fact=fact, word=word, answer=True))
    return tuple(found.values())


def on_the_list(crop: str) -> bool:
    """Whether a name stands on the exhaustive list of crops rarely eaten raw, as far as a name can tell.

    Source
    ------
    cfr-21-112: 112.2(a)(1)
    """
    text = " " + " ".join(re.findall(r"[a-z]+", crop.lower())) + " "
    return any(f" {word} " in text for word in tables("crop_words")["rarely-raw"]["words"])


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
