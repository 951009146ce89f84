"""Every name that a person or a program meets is in the guide or the glossary: options, addresses, settings, nouns, choices."""

from __future__ import annotations

import ast
import inspect
import re
from collections import Counter
from pathlib import Path
from typing import get_args

import pytest
from cyclopts import App
from fastapi import APIRouter

import aerobe.records as records
from aerobe.cli import build
from aerobe.oxygen import FOODS
from aerobe.reports._blocks import Block
from aerobe.safety import jurisdictions
from aerobe.verdicts import OUTCOMES
from tests.house import addresses, commands_page

ROOT = Path(__file__).parents[2]
GUIDE = {path.name: path.read_text(encoding="utf-8") for path in sorted((ROOT / "docs" / "guide").glob("*.md"))}
APP = GUIDE["app.md"]
GLOSSARY = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
WORDS = "\n".join(GUIDE.values()) + GLOSSARY


# --- commands and options --------------------------------------------------------------------------------------------


def test_every_command_and_option_has_a_meaning() -> None:
    assert commands_page.without_meaning(commands_page.leaves(build())) == []


def test_the_page_of_commands_says_what_the_commands_say() -> None:
    made = commands_page.page(commands_page.leaves(build()))
    assert GUIDE["commands.md"] == made, "after a change of a command: python -m tests.house.commands_page"


def test_an_option_without_meaning_and_a_command_that_is_not_in_the_page_are_noticed() -> None:
    app = App(name="planted")

    @app.command
    def seep(*, grain: str = "") -> None:
        """Let it seep."""

    planted = list(commands_page.leaves(app))
    assert "seep --grain" in commands_page.without_meaning(planted)
    assert "aerobe seep" in commands_page.page(planted) and "aerobe seep" not in GUIDE["commands.md"]


# --- addresses -------------------------------------------------------------------------------------------------------


def test_every_address_is_in_the_guide() -> None:
    assert addresses.with_table(APP, addresses.routes()) == APP, "after a change of a page: python -m tests.house.addresses"
    assert all((route.endpoint.__doc__ or "").strip() for route in addresses.routes())


def test_an_address_that_is_not_in_the_guide_is_noticed() -> None:
    router = APIRouter()

    @router.get("/seep")
    def seep() -> None:
        """Let it seep."""

    assert addresses.with_table(APP, [*addresses.routes(), *router.routes]) != APP  # type: ignore[list-item]


# --- settings --------------------------------------------------------------------------------------------------------


def labels(template: str) -> list[str]:
    """What the fields of a page are called."""
    return re.findall(r"parts\.(?:text|lines|choice|keys|tick|quantity)\(\s*\"[a-z_]+\",\s*\"([^\"]+)\"", template)


def unsaid(names: list[str], page: str) -> list[str]:
    """Names of settings that a page of the guide does not have in its table or its text."""
    return [name for name in names if not re.search(rf"(?:^\| |, |`){re.escape(name)}(?=,| \||`)", page, flags=re.MULTILINE)]


def test_every_setting_of_the_app_is_in_its_guide() -> None:
    template = (ROOT / "aerobe" / "web" / "templates" / "settings" / "settings.html").read_text(encoding="utf-8")
    assert len(labels(template)) > 10 and unsaid(labels(template), APP) == []
    assert unsaid(labels(template + '{{ parts.text("grain", "Size of the grain") }}'), APP) == ["Size of the grain"]


def test_every_variable_of_the_machine_is_in_the_guide() -> None:
    code = "\n".join(path.read_text(encoding="utf-8") for path in [ROOT / "run.py", *(ROOT / "aerobe").rglob("*.py")])
    names = sorted(set(re.findall(r"AEROBE_[A-Z]+", code)))
    assert {"AEROBE_HOME", "AEROBE_NOTEBOOK"} <= set(names) and unsaid(names, WORDS) == []
    assert unsaid(["AEROBE_GRAIN"], WORDS) == ["AEROBE_GRAIN"]


# --- nouns and choices -----------------------------------------------------------------------------------------------


def glossed(word: str) -> bool:
    """Whether a row of the glossary explains this word, alone or among others."""
    return re.search(rf"^\|(?:[^|]*[ ,(])?{re.escape(word)}(?:[ ,)(][^|]*)?\|", GLOSSARY, flags=re.MULTILINE) is not None


def noun(name: str) -> str:
    """`PlannedBrew` as `planned brew`."""
    return re.sub(r"(?<!^)(?=[A-Z])", " ", name).lower()


NOUNS = [noun(name) for name in records.__all__ if inspect.isclass(getattr(records, name))]
CHOICES = [
    *records.ROLES,
    *records.METHODS,
    *records.DIFFUSERS,
    *records.QUESTIONS,
    *records.QUANTITIES,
    *records.CHANNELS,
    *records.BASES,
    *OUTCOMES,
]


@pytest.mark.parametrize("word", NOUNS)
def test_every_noun_of_the_notebook_is_in_the_glossary(word: str) -> None:
    assert glossed(word)


@pytest.mark.parametrize("word", sorted(set(CHOICES)))
def test_every_choice_that_a_person_is_given_is_explained(word: str) -> None:
    assert word in WORDS


def test_foods_and_places_are_shown_where_a_person_chooses_them() -> None:
    assert all(food.name for food in FOODS.values()) and all(place in WORDS for place in jurisdictions())


def test_a_noun_or_choice_that_is_nowhere_is_noticed() -> None:
    assert not glossed("grain of sand") and not glossed("eading") and "gossamer count" not in WORDS


# --- classes ---------------------------------------------------------------------------------------------------------


def class_names(sources: list[str]) -> Counter[str]:
    """How many classes of each name there are, those of a file's own apart."""
    trees = [ast.parse(source) for source in sources]
    return Counter(node.name for tree in trees for node in tree.body if isinstance(node, ast.ClassDef) and node.name[0] != "_")


def test_a_class_name_means_one_thing_in_the_whole_house() -> None:
    found = class_names([path.read_text(encoding="utf-8") for path in (ROOT / "aerobe").rglob("*.py")])
    assert [name for name, count in found.items() if count > 1] == []


def test_a_class_name_of_two_meanings_is_noticed() -> None:
    assert class_names(["class Sieve: ...", "class Sieve: ...\nclass _Own: ..."])["Sieve"] == 2


def test_a_page_shows_every_kind_of_block_by_its_class() -> None:
    kinds = {kind.__name__ for kind in get_args(Block)}
    for page in ("web/templates/reports/shown.html", "reports/templates/report.html"):
        assert kinds <= set(re.findall(r'kind == "(\w+)"', (ROOT / "aerobe" / page).read_text(encoding="utf-8")))
