"""Every key of every answer in JSON has its meaning in the guide."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from aerobe.cli import build
from tests.fewer import fewer_courses, fewer_trials
from tests.house.commands_page import leaves
from tests.house.examples import ELSEWHERE, answers

PAGE = (Path(__file__).parents[2] / "docs" / "guide" / "answers.md").read_text(encoding="utf-8")
# Below these, keys are names of what the notebook holds.
NAMES_OF_DATA = {"versions", "versions_then", "versions_now", "numbers", "moderators", "levels", "assays", "confounders"}


def keys_of(answer: Any) -> Iterator[str]:
    """Every name in an answer that is ours and not the notebook's."""
    if isinstance(answer, dict):
        for key, value in answer.items():
            yield key
            if key in NAMES_OF_DATA and isinstance(value, dict):
                for inner in value.values():
                    yield from keys_of(inner)
            else:
                yield from keys_of(value)
    elif isinstance(answer, list):
        for item in answer:
            yield from keys_of(item)


def unknown(keys: set[str], page: str = PAGE) -> set[str]:
    """Keys without a meaning in the page, by the rules at its head."""
    known = set(re.findall(r"`([^`]+)`", page))
    ends = r"_(low|high|sd|log_sd|p)(?=_|$)"
    return {key for key in keys if not {key, re.sub(ends, "", key), re.sub("(^|_)high(?=_|$)", r"\1low", key)} & known}


def test_every_command_that_answers_is_asked_and_every_key_of_its_answer_has_its_meaning(tmp_path: Path) -> None:
    with fewer_courses(), fewer_trials():  # which keys there are does not hang on how many
        answered = answers(tmp_path)  # once for both: they take half a minute
    assert {name for name, _ in leaves(build())} == set(answered) | ELSEWHERE
    found: dict[str, str] = {}
    for name, given in answered.items():
        for answer in given:
            if name == "notebook check":
                answer = {**answer, "rows": None}
            if name == "notebook show" and isinstance(answer, dict) and "key" not in answer:
                continue  # counts by noun
            found |= dict.fromkeys(keys_of(answer), name)
    assert {key: found[key] for key in unknown(set(found))} == {}


def test_an_unknown_key_is_noticed() -> None:
    planted = {"gates": [{"never_heard_of": 1.0}], "versions": {"numpy": "2"}, "kla_low_per_h": 3.0}
    assert unknown(set(keys_of(planted))) == {"never_heard_of"}
    assert unknown({"gates"}, "no page") == {"gates"}
