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


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_guide(name: str) -> None:
    assert re.search(rf"aerobe {name}\b", GUIDE), f"no page of docs/guide shows `aerobe {name}`"


@pytest.mark.parametrize("name", [name for name in COMMANDS if name not in SILENT])
def test_every_command_that_answers_can_answer_as_json(name: str) -> None:
    app = COMMANDS[name]
    options = {option for argument in app.assemble_argument_collection() for option in argument.names}  # type: ignore[attr-defined]
    assert "--json" in options


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "completion"])
def test_every_command_says_what_it_does(name: str) -> None:
    assert (COMMANDS[name].default_command.__doc__ or "").strip()  # type: ignore[attr-defined]


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


@pytest.mark.parametrize("name", EXPORTED)
def test_everything_at_a_door_says_what_it_means_and_its_sources_exist(name: str) -> None:
    text = inspect.getdoc(EXPORTED[name]) or ""
    assert text and not text.startswith(f"{name.rpartition('.')[2]}("), f"{name} has no docstring of its own"
    section = re.search(r"\n(?:Source|Sources)\n-+\n(.*?)(?:\n\n|\Z)", text, flags=re.DOTALL)
    for key in re.findall(r"[a-z0-9][a-z0-9.-]+", section[1]) if section else []:
        if re.fullmatch(r"[a-z][a-z0-9.]*(-[a-z0-9.]+)+", key):
            assert key in all_sources(), f"{name} names a source that no file has: {key}"


def test_every_source_says_how_well_we_know_it() -> None:
    for source in all_sources().values():
        assert source.seen in SEEN and source.who and source.title and source.took, source.key


@pytest.mark.parametrize("name", sorted(KINDS))
def test_every_kind_of_quantity_is_in_the_glossary_with_its_house_unit(name: str) -> None:
    row = re.search(rf"^\| {re.escape(name)} \| (.*?) \|", GLOSSARY, flags=re.MULTILINE)
    assert row is not None, f"the glossary lacks '{name}'"
    assert row[1].strip() == KINDS[name].house


def test_glossary_tables_have_name_unit_and_meaning() -> None:
    for line in GLOSSARY.splitlines():
        if line.startswith("|"):
            assert len(re.split(r"(?<!\\)\|", line.strip().strip("|"))) == 3, line


@pytest.mark.parametrize("path", PAGES, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_between_pages_lead_somewhere(path: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8")):
        if "://" not in target and not target.startswith("mailto:"):
            assert (path.parent / target).exists(), f"{path.name} links to {target}"


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
