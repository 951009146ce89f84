"""What of an answer is kept: numbers and short names, no sentences; and the numbers that a file sets, each under its name."""

from __future__ import annotations

from dataclasses import dataclass, field

from tests.kept_answers.parts import end_of, numbers_of, settings_of


@dataclass(frozen=True, kw_only=True)
class Said:
    """A number with its sentence."""

    value: float
    words: str
    name: str
    more: tuple[str, ...] = field(default=())


def test_sentences_and_fields_named_are_left_out() -> None:
    told = Said(
        value=1.5, words="It is so.", name="kelp", more=("brew it", "Brew it again, at least twice more, or nobody can know.")
    )
    assert numbers_of(told) == {"value": 1.5, "name": "kelp", "more": ["brew it"]}
    assert numbers_of([told], leaving=("name", "more")) == [{"value": 1.5}]


def test_a_call_that_is_refused_is_told_by_its_fault() -> None:
    assert end_of(lambda: [1.5]) == "gives [1.5]" and end_of(lambda: 1 // 0) == "ZeroDivisionError"


def test_the_numbers_that_a_file_sets_stand_under_their_names() -> None:
    found = settings_of("evidence")["numbers set in evidence/_hierarchical.py"]()
    assert isinstance(found, dict) and found["bayes_pool(points)"] == 400 and "bayes_pool(effects)" not in found
    copies = settings_of("evidence")["numbers set in evidence/_copies.py"]()
    assert isinstance(copies, dict) and copies["LARGEST_GROUP"] == 60 and "np" not in copies
