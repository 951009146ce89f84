"""What is there is written down, and what is written down is there."""

from __future__ import annotations

import importlib
import inspect
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from aerobe.cli import build
from aerobe.sources import SEEN, all_sources
from aerobe.units import KINDS
from tests.house.commands_page import leaves
from tests.house.test_house import DOORS

ROOT = Path(__file__).parents[2]
# The page of every command is made from the commands: what is asked here is a page that a person wrote.
WRITTEN = [path for path in sorted((ROOT / "docs" / "guide").glob("*.md")) if path.name != "commands.md"]
GUIDE = "\n".join(path.read_text(encoding="utf-8") for path in WRITTEN)
GLOSSARY = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", ROOT / "CHANGELOG.md", *sorted((ROOT / "docs").rglob("*.md"))]
SILENT = {"serve", "completion"}  # they answer with a running server and an installed file


COMMANDS = dict(leaves(build()))


# Hundreds of small questions of one kind are one test that names all that fail: a test for each costs more than its answer.


def test_every_command_is_in_the_guide() -> None:
    assert [name for name in COMMANDS if not re.search(rf"aerobe {name}\b", GUIDE)] == [], "no page of docs/guide shows these"


def test_every_command_that_answers_can_answer_as_json() -> None:
    options = {
        name: {option for argument in app.assemble_argument_collection() for option in argument.names}  # type: ignore[attr-defined]
        for name, app in COMMANDS.items()
        if name not in SILENT
    }
    assert [name for name, known in options.items() if "--json" not in known] == []
    assert len(options) > 100


def test_every_command_says_what_it_does() -> None:
    silent = [name for name, app in COMMANDS.items() if not (app.default_command.__doc__ or "").strip()]  # type: ignore[attr-defined]
    assert [name for name in silent if name != "completion"] == []


def test_the_guide_names_no_command_that_is_gone() -> None:
    groups = {name.split()[0] for name in COMMANDS}
    for match in re.finditer(r"(?:^|`)aerobe ([a-z]+)(?: ([a-z-]+))?", GUIDE, flags=re.MULTILINE):
        assert match[1] in groups, match[0]
        if match[1] not in COMMANDS and match[2]:
            assert f"{match[1]} {match[2]}" in COMMANDS, match[0]


def exported() -> Iterator[tuple[str, object]]:
    """Every function and class that a room shows at its door."""
    for room in DOORS:
        module = importlib.import_module(f"aerobe.{room}")
        for name in getattr(module, "__all__", ()):
            thing = getattr(module, name)
            if (inspect.isfunction(thing) or inspect.isclass(thing)) and thing.__module__.startswith("aerobe"):
                yield f"{room}.{name}", thing


EXPORTED = dict(exported())


def unsaid(name: str, thing: object) -> list[str]:
    """What a docstring lacks: itself, or a file for a source that it names."""
    text = inspect.getdoc(thing) or ""
    if not text or text.startswith(f"{name.rpartition('.')[2]}("):
        return [f"{name} has no docstring of its own"]
    section = re.search(r"\n(?:Source|Sources)\n-+\n(.*?)(?:\n\n|\Z)", text, flags=re.DOTALL)
    keys = re.findall(r"[a-z0-9][a-z0-9.-]+", section[1]) if section else []
    lost = [key for key in keys if re.fullmatch(r"[a-z][a-z0-9.]*(-[a-z0-9.]+)+", key) and key not in all_sources()]
    return [f"{name} names a source that no file has: {key}" for key in lost]


def test_everything_at_a_door_says_what_it_means_and_its_sources_exist() -> None:
    assert len(EXPORTED) > 800
    assert [fault for name, thing in EXPORTED.items() for fault in unsaid(name, thing)] == []


def test_a_door_without_words_and_a_source_that_is_gone_are_noticed() -> None:
    def seep() -> None: ...

    def drip() -> None:
        """Drips.

        Source
        ------
        nobody-1800
        """

    assert unsaid("oxygen.seep", seep) == ["oxygen.seep has no docstring of its own"]
    assert unsaid("oxygen.drip", drip) == ["oxygen.drip names a source that no file has: nobody-1800"]


def test_every_source_says_how_well_we_know_it() -> None:
    for source in all_sources().values():
        assert source.seen in SEEN and source.who and source.title and source.took, source.key


def test_every_kind_of_quantity_is_in_the_glossary_with_its_house_unit() -> None:
    rows = {name: re.search(rf"^\| {re.escape(name)} \| (.*?) \|", GLOSSARY, flags=re.MULTILINE) for name in sorted(KINDS)}
    assert [name for name, row in rows.items() if row is None] == [], "the glossary lacks these"
    assert {name: row[1].strip() for name, row in rows.items() if row} == {name: KINDS[name].house for name in KINDS}


def test_glossary_tables_have_name_unit_and_meaning() -> None:
    for line in GLOSSARY.splitlines():
        if line.startswith("|"):
            assert len(re.split(r"(?<!\\)\|", line.strip().strip("|"))) == 3, line


def test_links_between_pages_lead_somewhere() -> None:
    links = [
        (path, target)
        for path in PAGES
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8"))
        if "://" not in target and not target.startswith("mailto:")
    ]
    assert len(links) > 50
    assert [f"{path.relative_to(ROOT)} links to {target}" for path, target in links if not (path.parent / target).exists()] == []


def test_the_readme_has_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "python3 run.py demo" in text and "python3 run.py test" in text
    assert "run.py test" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-dev.lock"])
def test_lock_files_pin_every_package_by_hash_for_every_platform(lock: str) -> None:
    text = (ROOT / lock).read_text(encoding="utf-8")
    assert not re.search(r"https?:|--index|--find-links", text)
    entries = re.findall(r"^([A-Za-z0-9_.\[\]-]+)==\S+.*?\n((?:    --hash=sha256:[0-9a-f]{64}.*\n)+)", text, flags=re.MULTILINE)
    assert len(entries) == len(re.findall(r"^[A-Za-z0-9]", text, flags=re.MULTILINE))
    wheels = {name: hashes.count("sha256:") for name, hashes in entries}
    # Compiled packages have a wheel for each system and Python: some dozens, where a lock of one machine has one.
    assert all(wheels[name] > 20 for name in ("numba", "llvmlite", "markupsafe"))


def test_the_locks_agree_and_hold_what_the_package_asks_for() -> None:
    import tomllib

    pins = [
        dict(re.findall(r"^([A-Za-z0-9_.-]+)(?:\[\w+\])?==(\S+)", (ROOT / lock).read_text(), flags=re.MULTILINE))
        for lock in ("requirements.lock", "requirements-dev.lock")
    ]
    assert pins[0].items() <= pins[1].items()
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for number, words in ((0, asked["dependencies"]), (1, asked["optional-dependencies"]["dev"])):
        for word in words:
            name = re.match(r"[A-Za-z0-9_.-]+", word)
            assert name is not None and name[0].lower() in pins[number], f"{word} is not locked: see CONTRIBUTING.md"


def test_every_test_that_the_page_on_security_names_is_there() -> None:
    named = set(re.findall(r"`(test_\w+\.py)`", (ROOT / "docs" / "security.md").read_text(encoding="utf-8")))
    there = {path.name for path in (ROOT / "tests").rglob("test_*.py")}
    assert len(named) > 10 and named <= there
