"""Citation, versions and the page for trouble say what is so."""

from __future__ import annotations

import importlib
import re
import tomllib

import aerobe
from tests.house.test_docs import COMMANDS, GLOSSARY, ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def test_the_citation_names_this_version_and_licence() -> None:
    text = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    fields = dict(re.findall(r"^([a-z-]+): \"?([^\"\n]+)\"?$", text, flags=re.MULTILINE))
    assert fields["cff-version"] == "1.2.0" and fields["type"] == "software"
    assert fields["version"] == PROJECT["version"] == aerobe.__version__
    assert fields["license"] == PROJECT["license"] and fields["title"].startswith("Aerobe")
    assert "authors:" in text and "message:" in text


def test_every_command_of_the_page_for_trouble_is_there() -> None:
    text = (ROOT / "docs" / "guide" / "troubleshooting.md").read_text(encoding="utf-8")
    named = re.findall(r"`aerobe ((?:[a-z]+ ?)+)", text)
    assert len(named) >= 6
    for words in named:
        assert any(words.strip().startswith(name) or name.startswith(words.strip()) for name in COMMANDS), words


def test_faults_named_there_are_said_by_the_program() -> None:
    text = (ROOT / "docs" / "guide" / "troubleshooting.md").read_text(encoding="utf-8")
    starter = (ROOT / "run.py").read_text(encoding="utf-8")
    for sentence in ("This Python lacks the module that makes local environments", "The packages could not be installed"):
        assert sentence in text and sentence in starter
    assert "is in use by another program" in text and "is in use by another program" in starter


def test_each_word_of_the_screen_leads_to_a_name_in_the_code() -> None:
    part = GLOSSARY.split("## Words on the screen", 1)[1].split("\n## ", 1)[0]
    rows = re.findall(r"^\| ([^|]+) \| ([^|]+) \| `(\w+)\.(\w+)` \|$", part, flags=re.MULTILINE)
    assert len(rows) >= 20
    for word, term, room, name in rows:
        assert name in importlib.import_module(f"aerobe.{room}").__all__, f"{word} ({term}): {room}.{name}"
